"""Pages in a second language: complete, with its own decimal sign; what is signed and printed stays the shop's."""

from __future__ import annotations

import gettext
import io
import re
import shutil
import subprocess
import sys
from decimal import Decimal
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection
from django.urls import reverse
from django.utils import translation
from hypothesis import given
from hypothesis import strategies as st

from inspection.queries import limits_words
from inspection.verdict import Limits
from shop.figures import recorded, spoken, spoken_drawing
from shop.finding import misfit
from shop.templatetags.shop import figure, spoken_figure
from shop.wording import worded

ROOT = Path(settings.BASE_DIR)
TEXTS = ROOT / "shop" / "locale" / "de" / "LC_MESSAGES"
HOLDERS = re.compile(r"\{\w*\}|%\(\w+\)[sd]|%[sd]\b")


def pairs(path):
    """(what stands in the code, its translation) of each text, a plural as its last form."""
    said = re.compile(r'^(msgid|msgid_plural|msgstr|msgstr\[1\]|msgstr\[0\]) ((?:"(?:[^"\\]|\\.)*"\n)+)', re.M)
    for block in path.read_text(encoding="utf-8").split("\n\n")[1:]:
        parts = {name: "".join(eval(line) for line in text.splitlines()) for name, text in said.findall(f"{block}\n")}  # noqa: S307  # our own file
        if "msgid" in parts and "#~" not in block:
            yield parts.get("msgid_plural", parts["msgid"]), parts.get("msgstr[1]", parts.get("msgstr", "")), parts.get("msgstr[0]", "-")


def test_every_text_is_translated_and_keeps_what_is_filled_in():
    found = list(pairs(TEXTS / "django.po"))
    assert len(found) > 5000
    assert [one for one in found if not (one[1] and one[2])] == []
    assert [
        (said, other) for said, other, _single in found if sorted(set(HOLDERS.findall(said))) != sorted(set(HOLDERS.findall(other)))
    ] == []


@pytest.mark.skipif(connection.vendor != "sqlite", reason="asks no database: once is enough")
@pytest.mark.skipif(shutil.which("xgettext") is None, reason="needs gettext's tools, which .ci/run installs")
def test_no_text_of_the_program_is_missing(tmp_path):
    for part in ("shop", "inspection", "records", "templates", "manage.py"):
        (shutil.copytree if (ROOT / part).is_dir() else shutil.copy)(ROOT / part, tmp_path / part)
    kept = tmp_path / "shop" / "locale" / "de" / "LC_MESSAGES"
    command = [sys.executable, "manage.py", "makemessages", "-l", "de", "--no-wrap", "--add-location", "file"]
    subprocess.run(
        command, cwd=tmp_path, check=True, capture_output=True, env={"PATH": "/usr/bin:/bin", "DATA_DIR": str(tmp_path / "data")}
    )

    counted = subprocess.run(
        ["msgfmt", "--statistics", "-o", str(kept / "now.mo"), str(kept / "django.po")], check=True, capture_output=True, text=True
    ).stderr

    assert re.fullmatch(r"\d+ translated messages\.\n", counted), f"run makemessages and translate: {counted}"
    now, compiled = (
        dict(gettext.GNUTranslations(io.BytesIO(path.read_bytes()))._catalog) for path in (kept / "now.mo", TEXTS / "django.mo")
    )
    for texts in (now, compiled):
        del texts[""]  # says when the texts were gathered
    assert now == compiled, "run msgfmt"


def test_browser_language_and_own_choice(client, cast):
    page = client.get(reverse("sign-in"), headers={"accept-language": "de"})
    assert "Benutzername" in page.content.decode()
    assert '<html lang="de"' in page.content.decode()

    client.force_login(cast.planner)
    client.post(reverse("account-display"), {"display": "metric", "language": "de"}, headers={"accept-language": "en"})
    assert "Aufträge" in client.get(reverse("plan:jobs"), headers={"accept-language": "en"}).content.decode()

    client.post(reverse("account-display"), {"display": "metric", "language": ""})
    assert "Jobs" in client.get(reverse("plan:jobs"), headers={"accept-language": "en"}).content.decode()


def test_tablet_is_set_to_a_language_before_anybody_signs_on(client, db):
    page = client.get(reverse("make:sign-on"))
    assert 'value="de"' in page.content.decode()

    client.post(reverse("set_language"), {"language": "de", "next": reverse("make:sign-on")})

    assert "Den Ausweis scannen" in client.get(reverse("make:sign-on")).content.decode()


def test_unknown_language_is_refused(client, cast):
    client.force_login(cast.planner)
    answer = client.post(reverse("account-display"), {"display": "metric", "language": "xx"})
    assert answer.status_code == 422
    cast.planner.refresh_from_db()
    assert cast.planner.language == ""


def test_figures_have_the_decimal_sign_of_the_reader():
    limits = Limits(low=Decimal("1.3500"), nominal=None, high=Decimal("1.4500"))
    refused = misfit("fit.tool.csa", tool="AP-1", wires_mm2=Decimal("0.7500"), low_mm2=Decimal(1), high_mm2=Decimal("2.5000"))
    assert limits_words(limits, "mm") == "1.35 to 1.45 mm"
    with translation.override("de"):
        assert limits_words(limits, "mm") == "1,35 bis 1,45 mm"
        assert spoken_figure(Decimal("1.4000"), 2) == "1,40"
        assert "0,75 mm²" in worded(refused).sentence
        assert figure(Decimal("1.4000"), 2) == "1.40"  # what is signed or sent keeps its point


@given(st.decimals(min_value="0.001", max_value="999", places=3))
def test_spoken_figure_is_recorded_as_the_same_figure(value):
    with translation.override("de"):
        assert recorded(spoken(f"{value:f} mm")) == f"{value:f} mm"
    assert recorded(f"{value:f}".replace(".", ",")) == f"{value:f}".replace(".", ",")  # to an English reader it may be a thousands mark


def test_comma_typed_in_german_is_the_decimal_sign_and_two_signs_are_refused():
    with translation.override("de"):
        assert recorded("1,402") == "1.402"
        for kept in ("1.402,5", "1,402,5", "1,402.5", "12", "", "eins"):
            assert recorded(kept) == kept


def test_drawing_speaks_and_keeps_its_coordinates():
    svg = '<svg aria-label="from 1.35"><title>1.40 mm</title><path d="M1.5 2.5"/><text x="1.5">upper limit 1.67</text></svg>'
    assert spoken_drawing(svg) == svg
    with translation.override("de"):
        expected = '<svg aria-label="from 1,35"><title>1,40 mm</title><path d="M1.5 2.5"/><text x="1.5">upper limit 1,67</text></svg>'
        assert spoken_drawing(svg) == expected


@pytest.mark.parametrize("text", ["J-1001.2", "127.0.0.1", "19.6.1", "2026-03-02", "TR-SH-26-001 issue 1"])
def test_numbers_of_things_are_no_figures(text):
    with translation.override("de"):
        assert spoken(text) == text
