"""What the demo's tool crib did before today: wear parts fitted and replaced, service and verification recorded, through the acts."""

from __future__ import annotations

from datetime import datetime, timedelta

from shop.acts.crib import fit_wear_part, record_care
from shop.clock import shop_day
from shop.people import Person
from shop.tools import Tool

# tool, kind, part number, expected life, days ago, count, why the one before came out
_PARTS = (
    ("AP-101", "conductor crimper", "CC-115", 200_000, 260, 96_000, ""),
    ("AP-101", "anvil", "AN-115", 200_000, 260, 96_000, ""),
    ("AP-101", "cut-off", "CO-115", 80_000, 260, 96_000, ""),
    ("AP-101", "cut-off", "CO-115", 80_000, 50, 171_500, "burr on the tab"),
    ("AP-102", "conductor crimper", "CC-148", 200_000, 300, 21_000, ""),
    ("AP-102", "anvil", "AN-148", 70_000, 300, 21_000, ""),
    ("AP-103", "conductor crimper", "CC-163", 200_000, 210, 120_400, ""),
)
# tool, kind, result, days ago, count, what was done
_CARES = (
    ("AP-101", "verification", "passed", 50, 180_000, "Five crimps of W050, heights 1.04 to 1.06, pull 68 N at least"),
    ("AP-103", "verification", "passed", 62, 195_000, "Five crimps of each row, heights in limits"),
    ("AP-104", "verification", "failed", 4, 250_350, "Crimp height 0.06 above the limit, crimper worn"),
)


def look_after_tools(at: datetime) -> None:
    """Record the crib's past as the demo's tool crib person. The dues of the catalogue follow from it."""
    by, today = Person.objects.get(username="kari"), shop_day(at)
    tools = {tool.asset_number: tool for tool in Tool.objects.all()}
    for asset, kind, part_number, life, ago, count, reason in _PARTS:
        day = today - timedelta(days=ago)
        stated = {"kind": kind, "part_number": part_number, "reason": reason}
        fit_wear_part(tool=tools[asset], life_crimps=life, fitted_on=day, at_count=count, by=by, at=at, **stated)
    for asset, kind, result, ago, count, note in _CARES:
        day = today - timedelta(days=ago)
        record_care(tool=tools[asset], kind=kind, result=result, note=note, done_on=day, at_count=count, by=by, at=at)
