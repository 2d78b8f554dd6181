"""The address a template asks for is the one Django gives, remembered or not."""

from __future__ import annotations

import pytest
from django.template import Context, Template
from django.test import override_settings
from django.urls import NoReverseMatch, reverse, set_script_prefix
from django.utils.safestring import SafeString


def drawn(text, **given):
    return Template(text).render(Context(given))


@pytest.mark.parametrize(
    ("text", "name", "args"),
    [
        ("{% url 'plan:jobs' %}", "plan:jobs", []),
        ("{% url 'prove:lot' number %}", "prove:lot", ["HL 7 ä"]),
        ("{% url 'prove:lot' number|safe %}", "prove:lot", ["HL 7 ä"]),
        ("{% url name number %}", "prove:lot", ["HL-1"]),
        ("{% url 'prove:document' number 2 %}", "prove:document", ["FA-9", 2]),
        ("{% url 'prove:lot' number=number %}", "prove:lot", ["HL-1"]),
        ("{% url 'prove:lot' number as there %}{{ there }}", "prove:lot", ["HL-1"]),
    ],
)
def test_template_and_program_name_the_same_address(text, name, args):
    given = {"name": name, "number": args[0] if args else ""}

    for _turn in range(2):
        assert drawn(text, **given) == reverse(name, args=args)


def test_sign_of_markup_in_a_number_stays_text():
    assert drawn("{% url 'prove:lot' number %}", number="a&b") == reverse("prove:lot", args=["a&b"]).replace("&", "&amp;")
    assert drawn("{% url 'prove:lot' number %}", number=SafeString("a&b")) == reverse("prove:lot", args=["a&b"]).replace("&", "&amp;")
    assert drawn("{% autoescape off %}{% url 'prove:lot' number %}{% endautoescape %}", number="a&b") == reverse("prove:lot", args=["a&b"])


def test_no_such_page_is_an_error_and_none_with_as():
    for _turn in range(2):
        with pytest.raises(NoReverseMatch):
            drawn("{% url 'prove:nowhere' %}")
    assert drawn("{% url 'prove:nowhere' as there %}[{{ there }}]") == "[]"


def test_truth_is_no_number():
    assert drawn("{% url 'plan:sheet' pk %}", pk=1) == reverse("plan:sheet", args=[1])
    with pytest.raises(NoReverseMatch):
        drawn("{% url 'plan:sheet' pk %}", pk=True)


def test_program_under_a_path_of_its_own_names_its_addresses_there():
    before = drawn("{% url 'plan:jobs' %}")
    with override_settings(FORCE_SCRIPT_NAME="/quality"):
        set_script_prefix("/quality/")
        try:
            assert drawn("{% url 'plan:jobs' %}") == f"/quality{before}"
        finally:
            set_script_prefix("/")
    assert drawn("{% url 'plan:jobs' %}") == before
