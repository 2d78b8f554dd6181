"""The handbook: no dead links, every rule explained, every setting documented, and the README's commands are the real ones."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import get_commands, load_command_class
from django.urls import reverse

from records.pages.handbook import CHAPTERS
from shop.setting_names import SETTINGS
from shop.wording import RULES

ROOT = Path(settings.BASE_DIR)


class Links(HTMLParser):
    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if tag == "a" and name == "href" and value and value.startswith("/"):
                self.found.add(value)


def pages() -> list[str]:
    return [
        reverse("help:index"),
        reverse("help:rules"),
        reverse("help:look"),
        *(reverse("help:chapter", args=[slug]) for slug, _ in CHAPTERS),
    ]


@pytest.mark.parametrize("page", pages())
def test_handbook_page_opens_and_none_of_its_links_is_dead(signed_in, cast, page):
    client = signed_in(cast.planner)

    answer = client.get(page)

    assert answer.status_code == 200
    links = Links(answer.content.decode()).found
    assert links
    for link in links:
        assert client.get(link).status_code < 400, f"{page} leads to {link}"


def test_handbook_opens_without_signing_in(client, db):
    assert client.get(reverse("help:index")).status_code == 200


def test_every_rule_has_an_entry_in_the_handbook(client, db):
    page = client.get(reverse("help:rules")).content.decode()

    assert {code for code in RULES if f'id="{code}"' not in page} == set()


A_RULE_ANSWERS = re.compile(r'(?:misfit|answer|_answer|_od_answer|_accepted)\(\s*"([a-z]+(?:\.[a-z_]+)+)"')


def codes_in_the_code() -> set[str]:
    """Rule codes as they stand in the sources: the first argument of whatever makes a finding."""
    families = {code.split(".")[0] for code in RULES}
    sources = [path for app in ("shop", "inspection", "records") for path in (ROOT / app).rglob("*.py")]
    found = {code for path in sources for code in A_RULE_ANSWERS.findall(path.read_text(encoding="utf-8"))}
    return {code for code in found if code.split(".")[0] in families}


def test_every_code_a_rule_can_give_is_worded():
    found = codes_in_the_code()

    assert len(found) > 60  # the search itself works
    assert found - set(RULES) == set()


def test_settings_and_handbook_name_the_same_settings():
    source = (ROOT / "shop" / "settings.py").read_text(encoding="utf-8")
    read = set(re.findall(r'env\.\w+\(\s*"([A-Z0-9_]+)"', source)) | set(re.findall(r'secret\("([A-Z0-9_]+)"\)', source))

    assert {s.name for s in SETTINGS} == read


def readme_blocks() -> list[str]:
    return re.findall(r"^```sh\n(.*?)^```", (ROOT / "README.md").read_text(encoding="utf-8"), re.DOTALL | re.MULTILINE)


def test_first_two_commands_of_the_readme_are_one_line_each():
    demo, tests = readme_blocks()[:2]

    assert demo.count("\n") == 1
    assert demo.rstrip().endswith("manage.py demo")
    assert tests.count("\n") == 1
    assert tests.rstrip().endswith("pytest")


def test_readme_and_developers_name_commands_that_exist():
    text = "".join((ROOT / name).read_text(encoding="utf-8") for name in ("README.md", "DEVELOPERS.md"))
    named = set(re.findall(r"manage\.py (\w+)", text))
    commands = get_commands()

    assert named - set(commands) == set()


@pytest.mark.parametrize("name", ["demo", "import", "shop_key", "verify_ledger", "verify_pdf"])
def test_command_says_what_it_does_and_how_it_ends(name):
    command = load_command_class(get_commands()[name], name)

    assert "xit" in command.help or name == "shop_key"  # its exit codes
    assert command.create_parser("manage.py", name).format_help()


def test_pinned_requirements_carry_hashes_and_no_address():
    for name in ("run.txt", "test.txt"):
        text = (ROOT / ".requirements" / name).read_text(encoding="utf-8")
        pins = re.findall(r"^[a-z0-9][\w.\-]*==", text, re.MULTILINE)
        assert len(pins) > 20
        assert text.count("--hash=sha256:") >= len(pins)
        assert "://" not in text
