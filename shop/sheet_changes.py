"""What differs between two revisions of a setup sheet: computed from what each says (`shop.sheet_content.sheet_content`). Pure.

Both revisions are read as their signatures cover them, so the difference is between what was signed and what would be.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

Kind = Literal["added", "removed", "changed"]
Content = Mapping[str, Any]

UNITS: Mapping[str, str] = {
    "csa_mm2": "mm²",
    "wire_length_mm": "mm",
    "targets.crimp_height_mm": "mm",
    "targets.crimp_width_mm": "mm",
    "targets.insulation_height_mm": "mm",
    "targets.strip_length_mm": "mm",
    "targets.bell_mouth_mm": "mm",
    "targets.brush_mm": "mm",
    "targets.cut_off_tab_max_mm": "mm",
    "targets.resistance_max_mohm": "mΩ",
    "targets.compaction_pct": "%",
    "targets.pull_force_min_n": "N",
    "plan.sample_every_minutes": "min",
    "required_current_a": "A",
}
"""The unit of a field whose value is a figure or limits; it stands in the field's name too."""

LEFT_OUT = frozenset({"lead", "end"})
"""They say which termination it is; another lead or end is another termination."""


@dataclass(frozen=True, slots=True)
class Change:
    """One difference. termination: "1 A", or "" for the sheet itself. field: dotted, as in the content; "" for a whole termination.

    old, new: in words with their unit; "" where there was, or is, nothing.
    """

    kind: Kind
    termination: str
    field: str
    old: str
    new: str


def changes(old: Content, new: Content) -> list[Change]:
    """Everything that the newer revision says otherwise, in the order of the newer sheet, removed terminations last.

    A termination is the same one if lead and end are; where several share both, in their order. Its position counts as changed only
    where the terminations that both sheets have stand in another order: a removed neighbour moves nobody. Number, revision, author and
    reason of the sheet are what makes it another revision and are left out.
    """
    found = [
        Change("changed", "", f"job.{name}", str(old["job"].get(name, "")), str(value))
        for name, value in new["job"].items()
        if old["job"].get(name, "") != value
    ]
    before, after = _named(old["terminations"]), _named(new["terminations"])
    kept = [key for key in after if key in before]
    moved = _moved([key for key in before if key in after], kept)
    for key, termination in after.items():
        if key not in before:
            found.append(Change("added", _name(key), "", "", summary(termination)))
            continue
        found += _fields(_name(key), before[key], termination)
        if key in moved:
            found.append(Change("changed", _name(key), "position", str(before[key]["position"]), str(termination["position"])))
    found += [Change("removed", _name(key), "", summary(before[key]), "") for key in before if key not in after]
    return found


Key = tuple[str, str, int]


def _named(terminations: Iterable[Content]) -> dict[Key, Content]:
    named: dict[Key, Content] = {}
    for termination in terminations:
        lead, end = termination["lead"], termination["end"]
        nth = sum(key[:2] == (lead, end) for key in named)
        named[lead, end, nth] = termination
    return named


def _name(key: Key) -> str:
    lead, end, nth = key
    return f"{lead} {end}" + (f" ({nth + 1})" if nth else "")


def _moved(before: Sequence[Key], after: Sequence[Key]) -> set[Key]:
    """The fewest that changed places: those outside the longest run that both orders share."""
    place = {key: i for i, key in enumerate(before)}
    # Longest increasing subsequence by patience sorting: tails hold the last key of the best run of each length.
    tails: list[Key] = []
    previous: dict[Key, Key | None] = {}
    for key in after:
        low, high = 0, len(tails)
        while low < high:
            middle = (low + high) // 2
            low, high = (middle + 1, high) if place[tails[middle]] < place[key] else (low, middle)
        previous[key] = tails[low - 1] if low else None
        tails[low : low + 1] = [key]
    stays: set[Key] = set()
    key_or_none = tails[-1] if tails else None
    while key_or_none is not None:
        stays.add(key_or_none)
        key_or_none = previous[key_or_none]
    return set(after) - stays


def _fields(name: str, old: Content, new: Content) -> list[Change]:
    before, after = _flat(old), _flat(new)
    order = [*after, *(field for field in before if field not in after)]
    return [
        Change("changed", name, field, before.get(field, ""), after.get(field, ""))
        for field in order
        if before.get(field, "") != after.get(field, "")
    ]


def _flat(termination: Content) -> dict[str, str]:
    """Field -> words. Targets and inspection plan are gone through one by one; wires, terminal and tool are one thing each."""
    words: dict[str, str] = {}
    for name, value in termination.items():
        if name in LEFT_OUT or name == "position":
            continue
        if name in ("targets", "plan"):
            words |= {f"{name}.{inner}": _worded(f"{name}.{inner}", one) for inner, one in value.items() if inner != "lines"}
            words |= {f"plan.lines.{line['characteristic']}": _line(line) for line in value.get("lines", ())}
        else:
            words[name] = _worded(name, value)
    return {name: word for name, word in words.items() if word}


def _worded(name: str, value: Any) -> str:
    if value is None or value == "" or value == []:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if name == "wires":
        return " + ".join(_wire(wire) for wire in value)
    if isinstance(value, list):
        return "; ".join(value)
    if name == "terminal":
        support = "" if value["has_support"] else ", without support"
        return " ".join(part for part in (value["part_number"], value["description"]) if part) + f", {value['barrel']} barrel{support}"
    if name == "tool":
        return " ".join(part for part in (value["asset_number"], value["kind"], value["setting"]) if part)
    if name == "specification":
        return f"{value['number']} rev {value['revision']} ({value['document']} rev {value['document_revision']})"
    unit = f" {UNITS[name]}" if name in UNITS else ""
    if isinstance(value, Mapping):
        return _limits(value) + unit
    return f"{value}{unit}"


def _wire(wire: Mapping[str, str]) -> str:
    described = ", ".join(part for part in (wire["size"], f"{wire['od_mm']} mm", wire["colour"]) if part)
    return f"{wire['part_number']} ({described})"


def _line(line: Mapping[str, Any]) -> str:
    nth = f" (in every {line['every_nth_sample']}. sample)" if line["every_nth_sample"] > 1 and line["in_process"] else ""
    counts = f"first piece {line['first_piece']}, in process {line['in_process']}{nth}, last piece {line['last_piece']}"
    return f"{counts}; {line['gauge']}; chart: {line['chart']}"


def _limits(value: Mapping[str, str]) -> str:
    span = " to ".join(part for part in (value.get("low", ""), value.get("high", "")) if part)
    nominal = value.get("nominal", "")
    return f"{nominal} ({span})" if nominal and span else nominal or span


def summary(termination: Content) -> str:
    """A termination in a line: wires, terminal, tool with its setting, pieces."""
    wires = " + ".join(wire["part_number"] for wire in termination["wires"])
    tool = termination["tool"]
    on = f" on {tool['asset_number']}{' ' + tool['setting'] if tool['setting'] else ''}" if tool else ""
    return f"{wires} in {termination['terminal']['part_number']}{on}, {termination['quantity']} pieces"
