"""How numbers and words are taken apart for searching, the same way when written and when asked. Pure.

A number is known by its runs of letters and digits: SH-26-001 is "sh", "26", "1". Case, marks over letters, separators and zeros in front
do not count, so that whoever reads a number off a label finds it however they write it.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

# Letters whose mark is part of them and that no decomposition takes apart (Unicode 15, decomposition mappings).
PLAIN = str.maketrans({"ø": "o", "ł": "l", "đ": "d", "ð": "d", "ħ": "h", "ı": "i", "æ": "ae", "œ": "oe", "þ": "th"})
RUN = re.compile(r"[^\W\d_]+|\d+")
MOST_ASKED = 8
"""How many runs of a question are looked for; further ones would not find less, and each costs."""
MOST_PARTS = 10
MOST_LEXEMES = 120
LEAST_LETTERS, LEAST_DIGITS = 2, 2
"""From how many characters on a run may be the beginning of a longer one. A single letter or digit begins nearly everything."""


def plain(text: str) -> str:
    """In small letters without marks: "Vík" is "vik"."""
    taken_apart = unicodedata.normalize("NFKD", text.casefold().translate(PLAIN))
    return "".join(one for one in taken_apart if not unicodedata.combining(one))


def raw_runs(text: str) -> list[str]:
    """The runs of letters and digits, in order."""
    return RUN.findall(plain(text))


def runs(text: str) -> list[str]:
    """The same, numbers without zeros in front."""
    return [run.lstrip("0") or "0" if run.isdecimal() else run for run in raw_runs(text)]


def compact(text: str) -> str:
    """Without any separator: "SH-26-001" is "sh26001". Zeros stay, they are part of what is printed."""
    return "".join(raw_runs(text))


def spelled(text: str) -> str:
    """The runs with one space between: "SH-26-001" and "sh 26 1" are both "sh 26 1"."""
    return " ".join(runs(text))


def lexemes(texts: Iterable[str]) -> list[str]:
    """All by which something with these numbers and words is found: each run, and each number from each of its runs to its end.

    "SH-26-001" gives sh, 26, 1, and sh26001, 26001, 001: so "26-001" and "26001" find it, too.
    """
    found: dict[str, None] = {}
    for text in texts:
        for word in text.split():
            parts = raw_runs(word)[:MOST_PARTS]
            found |= dict.fromkeys(runs(word)[:MOST_PARTS])
            if len(parts) > 1:
                found |= dict.fromkeys("".join(parts[begin:]) for begin in range(len(parts)))
    return [one for one in found if len(one) <= 60][:MOST_LEXEMES]


@dataclass(frozen=True, slots=True)
class Asked:
    """What a person searches. compact, spelled: as one number; whole: runs that have to be there; last: one that may go on, or ""."""

    compact: str
    spelled: str
    whole: tuple[str, ...]
    last: str

    @property
    def is_empty(self) -> bool:
        return not self.compact


def asked_in(text: str) -> Asked:
    """The question in a text. Somebody may still be typing the last run: it may be the beginning of a longer one.

    Zeros alone at the end ("26-0") are the beginning of a number whose zeros do not count: they ask for nothing yet.
    """
    found = runs(text)[:MOST_ASKED]
    if len(found) > 1 and found[-1] == "0":
        found.pop()
    whole = tuple(dict.fromkeys(found))
    last = whole[-1] if whole else ""
    least = LEAST_DIGITS if last.isdecimal() else LEAST_LETTERS
    return Asked(compact(text)[:160], spelled(text)[:160], whole, last if len(last) >= least else "")
