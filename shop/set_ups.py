"""Terminations that need the same set-up: the same tool, row or setting, press, terminal, wires and specification. Pure.

A tool that is set once for several leads saves a change and its first piece; a sheet in this order is run from top to bottom.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class SetUpKey:
    """Everything that has to be the same for one set-up to serve two terminations. wires: part numbers, in sorted order."""

    tool: str
    setting: str
    press: str
    terminal: str
    wires: tuple[str, ...]
    specification: str


@dataclass(frozen=True, slots=True)
class SetUp:
    """One set-up. number: counted from 1. members: places of its terminations in the sequence given, in that order."""

    number: int
    key: SetUpKey
    members: tuple[int, ...]


def set_ups(keys: Sequence[SetUpKey | None]) -> list[SetUp]:
    """The set-ups that serve these terminations, in an order that changes as little as can be from one to the next.

    keys: one for each termination in the order of the sheet; None where no tool is picked yet, which belongs to no set-up.
    Tools come in the order in which the sheet first names them; with one tool, settings and terminals stay together, then wires.
    """
    members: dict[SetUpKey, list[int]] = {}
    first: dict[tuple[str, ...], int] = {}
    for place, key in enumerate(keys):
        if key is None:
            continue
        members.setdefault(key, []).append(place)
        for part in _steps(key):
            first.setdefault(part, place)
    ordered = sorted(members, key=lambda key: [first[part] for part in _steps(key)])
    return [SetUp(number, key, tuple(members[key])) for number, key in enumerate(ordered, start=1)]


def _steps(key: SetUpKey) -> list[tuple[str, ...]]:
    """From what is dearest to change to what is cheapest: the tool and its press, the reel of terminals, the setting, the wire."""
    press = (key.tool, key.press)
    terminal = (*press, key.terminal)
    setting = (*terminal, key.setting)
    return [(key.tool,), press, terminal, setting, (*setting, key.specification, *key.wires)]


def arranged(keys: Sequence[SetUpKey | None]) -> list[int]:
    """The places of all terminations in the order of their set-ups; those without a tool last, as they stand."""
    together = [place for set_up in set_ups(keys) for place in set_up.members]
    return together + [place for place, key in enumerate(keys) if key is None]


def key_of(content: Mapping[str, Any]) -> SetUpKey | None:
    """The key of a termination as `shop.sheet_content.termination_content` says it."""
    tool, specification = content["tool"], content["specification"]
    if not tool:
        return None
    return SetUpKey(
        tool=tool["asset_number"],
        setting=tool["setting"],
        press=content.get("press", ""),
        terminal=content["terminal"]["part_number"],
        wires=tuple(sorted(wire["part_number"] for wire in content["wires"])),
        specification=f"{specification['number']} rev {specification['revision']}" if specification else "",
    )
