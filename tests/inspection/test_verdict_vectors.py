"""The vectors that bind the tablet's verdict to the server's: here the server answers them, in tests/browser the tablet."""

from __future__ import annotations

import json

from tests.inspection.verdict_vectors import FILE, made, server_answer


def test_server_answers_the_vectors_as_they_stand():
    listed = json.loads(FILE.read_text())

    wrong = [one for one in listed if server_answer({k: v for k, v in one.items() if k != "answer"}) != one["answer"]]

    assert wrong == []


def test_vectors_are_the_ones_that_are_made_here():
    assert [{k: v for k, v in one.items() if k != "answer"} for one in json.loads(FILE.read_text())] == made()


def test_vectors_cover_every_kind_of_answer():
    answers = [one["answer"] for one in json.loads(FILE.read_text())]

    assert {a.get("outcome") or a.get("seems") or a["rule"] for a in answers} >= {
        "conforms",
        "does not conform",
        "undecided",
        "decimal point",
        "unit",
        "far",
        "reading.not_a_number",
        "reading.ambiguous",
        "reading.wrong_unit",
        "reading.impossible",
    }
