"""The table of controls names tests that exist, and each paragraph once."""

import ast
from pathlib import Path

import pytest
from django.urls import reverse

from records.controls import CONTROLS

TESTS = Path(__file__).parents[1]


@pytest.mark.parametrize("named", sorted({test for control in CONTROLS for test in control.tests}))
def test_named_test_exists(named):
    path, _, name = named.partition("::")
    tree = ast.parse((TESTS / path).read_text())
    assert name in {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}


def test_controls_cover_the_paragraphs_of_subparts_b_and_c():
    # 21 CFR 11.10(a) to (k), 11.30, 11.50, 11.70, 11.100(a) to (c), 11.200(a) and (b), 11.300(a) to (e).
    wanted = [f"11.10({letter})" for letter in "abcdefghijk"] + ["11.30", "11.50", "11.70"]
    wanted += [f"11.100({letter})" for letter in "abc"] + ["11.200(a)", "11.200(b)"] + [f"11.300({letter})" for letter in "abcde"]
    assert [control.paragraph for control in CONTROLS] == wanted


def test_handbook_shows_every_control(client, db):
    page = client.get(reverse("help:chapter", args=["controls"])).content.decode()
    for control in CONTROLS:
        assert control.paragraph in page
        assert all(test in page for test in control.tests)
