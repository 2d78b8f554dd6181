"""What the demo shop keeps: a supplier certificate at a reel, a retention rule in force, a legal hold."""

from __future__ import annotations

from collections.abc import Callable

from django.utils.html import format_html

from records.acts.attachments import attach
from records.acts.keeping import HOLD_MEANING, RULE_MEANING, HoldInput, place_hold, set_rule
from records.attachables import thing_of
from records.demo.story import SHIPMENT, hand
from records.documents_html import asset_root
from records.keeping_models import HoldScope, RecordKind, RetentionRule
from records.pdf import draw_paper
from records.retention import PROPOSED
from shop.clock import now
from shop.materials import TerminalLot

REEL = "TL-26-1118"

PAPER = """<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Certificate</title>
<style>@page {{ size: A4; margin: 25mm }} body {{ font-size: 11pt; line-height: 1.5 }}</style></head>
<body><h1>Certificate of conformity {number}</h1>
<p>{supplier}</p>
<p>We certify that reel {reel}, part {part}, conforms to the order and to its data sheet. Plating thickness and retention were tested.</p>
<p>This supplier and this paper are invented for the demonstration.</p></body></html>"""


def prepare_keeping(tell: Callable[[str], None]) -> None:
    """Done already: nothing happens."""
    if RetentionRule.objects.exists():
        tell("keep: certificate, rule and legal hold are there already")
        return
    inspector, quality = hand("ines"), hand("quirin")
    reel = TerminalLot.objects.select_related("terminal").get(lot_number=REEL)
    number = reel.certificate or "CC-5521"
    html = format_html(PAPER, number=number, supplier=reel.supplier or "Supplier", reel=reel.lot_number, part=reel.terminal.part_number)
    data = draw_paper(html, asset_root=asset_root())
    stated = {"title": f"Supplier certificate {number}", "name": f"{number}.pdf"}
    attach(thing=thing_of(reel), data=data, by=inspector.person, at=now(), **stated)
    tell(f"keep: supplier certificate {number} attached to reel {reel.lot_number}")
    for kind in (RecordKind.BATCH_RECORDS, RecordKind.MATERIAL_PAPERS):
        proposed, at = PROPOSED[kind], now()
        rule = set_rule(
            kind=kind,
            years=proposed.years,
            after=proposed.after,
            reason=proposed.reason,
            by=quality.person,
            at=at,
            signing=quality.sign(RULE_MEANING, at),
        )
        tell(f"keep: rule {rule}: {kind}, {rule.years} years")
    at = now()
    hold = place_hold(
        stated=HoldInput(HoldScope.SHIPMENT, SHIPMENT),
        reason="the customer looks into a field failure",
        reference="letter of the customer, file 26-114",
        by=quality.person,
        at=at,
        signing=quality.sign(HOLD_MEANING, at),
    )
    tell(f"keep: {hold.number} holds shipment {SHIPMENT}")
