"""The words of which the audit trail's sentences are made: fields with their units, old and new values, details. Pure."""

from __future__ import annotations

import string
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

Content = Mapping[str, Any]

SHOWN = 40
"""How many details of one entry are told one by one; a sheet or a list of hundreds of rows is counted beyond that."""

UNITS = {
    "_mm2": "mm²",
    "_mm": "mm",
    "_n": "N",
    "_c": "°C",
    "_v": "V",
    "_a": "A",
    "_mohm": "mΩ",
    "_pct": "%",
    "_percent": "%",
    "_minutes": "min",
}
"""A field whose name ends so is measured in that unit."""

LEFT_OUT = frozenset({"reason", "sha256", "record_sha256", "content_sha256"})
"""Told elsewhere, or of use to a program only; the entry itself shows them."""


@dataclass(frozen=True, slots=True)
class Told:
    """One entry in words. changes: each "field old → new unit", or a detail; reason: "" where nobody stated one."""

    what: str
    changes: tuple[str, ...]
    reason: str


def field_words(name: str) -> tuple[str, str]:
    """A field's name in words and its unit: "crimp_height_min_mm" is ("crimp height min", "mm")."""
    for ending, unit in UNITS.items():
        if name.endswith(ending) and name != ending.removeprefix("_"):
            return name.removesuffix(ending).replace("_", " ").replace(".", ", "), unit
    return name.replace("_", " ").replace(".", ", "), ""


def value_words(value: Any) -> str:
    """A value on one line; nothing is "–"."""
    if value is None or value == "" or value == [] or value == {}:
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):
        return ", ".join(f"{field_words(str(name))[0]} {with_unit(str(name), one)}" for name, one in value.items())
    if isinstance(value, list | tuple):
        return "; ".join(value_words(one) for one in value)
    return str(value)


def with_unit(name: str, value: Any) -> str:
    words, unit = value_words(value), field_words(name)[1]
    return f"{words} {unit}" if unit and words != "–" and not isinstance(value, Mapping | list) else words


def changed(name: str, old: Any, new: Any) -> str:
    """ "crimp height nominal 1.40 → 1.42 mm"."""
    words, unit = field_words(name)
    both = f"{words}: {value_words(old)} → {value_words(new)}"
    return f"{both} {unit}" if unit and not isinstance(new, Mapping | list) and value_words(new) != "–" else both


def differences(before: Content, after: Content) -> tuple[str, ...]:
    """What the two say otherwise, in the order of the later one; what only the earlier one had comes last."""
    names = [*after, *(name for name in before if name not in after)]
    return tuple(changed(name, before.get(name), after.get(name)) for name in names if before.get(name) != after.get(name))


def details(content: Content, *, without: Iterable[str] = ()) -> tuple[str, ...]:
    """Every field as "name: value", nothing empty, lists of things line by line."""
    lines: list[str] = []
    leave = LEFT_OUT | set(without)
    for name, value in content.items():
        if name in leave or value_words(value) == "–":
            continue
        words = field_words(name)[0]
        if isinstance(value, list | tuple) and any(isinstance(one, Mapping) for one in value):
            lines += [f"{words} {nth}: {value_words(one)}" for nth, one in enumerate(value, start=1)]
        else:
            lines.append(f"{words}: {with_unit(name, value)}")
    return shortened(lines)


def shortened(lines: Sequence[str]) -> tuple[str, ...]:
    """The first `SHOWN` lines, and how many more the entry has."""
    return tuple(lines) if len(lines) <= SHOWN else (*lines[:SHOWN], f"and {len(lines) - SHOWN} more in the entry itself")


def kind_words(kind: str) -> str:
    """ "lot.built" is "Lot built"."""
    return kind.replace(".", " ").replace("_", " ").capitalize()


def plainly(kind: str, content: Content) -> Told:
    """An entry of a kind that has no sentence of its own: before and after where it has them, else its fields."""
    before, after = content.get("before"), content.get("after")
    rest = details(content, without=("before", "after"))
    if isinstance(before, Mapping) and isinstance(after, Mapping):
        return Told(kind_words(kind), shortened((*differences(before, after), *rest)), reason_in(content))
    if "before" in content and "after" in content:
        rest = (*rest, f"{value_words(before)} → {value_words(after)}")
    return Told(kind_words(kind), rest, reason_in(content))


def reason_in(content: Content) -> str:
    for name in ("withdrawn_because", "decision_reason", "change_reason", "reason"):
        if isinstance(content.get(name), str) and content[name]:
            return str(content[name])
    return ""


Reading = Callable[[Content, Content | None], Told]


def says(sentence: str, *, more: Sequence[str] = (), reason: str = "reason") -> Reading:
    """A reading that fills `sentence` from the content. more: fields told as details where they say something."""
    used = {name for _text, name, _spec, _conversion in string.Formatter().parse(sentence) if name}

    def read(content: Content, before: Content | None) -> Told:
        filled = sentence.format(**{name: with_unit(name, content[name]) for name in used})
        lines = details({name: content[name] for name in more if name in content})
        return Told(filled, lines, str(content.get(reason) or ""))

    return read
