"""Labels at the press: the shop's own, the supplier's, the wrong ones, and those that do not say for certain."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse

from inspection.acts.batches import open_batch, scan
from inspection.models import SetupScan
from inspection.scanning import found_for
from shop.catalogue import KINDS
from shop.clock import now
from tests import factories

GS = "\x1d"
GTIN = "09506000134352"


@pytest.fixture
def batch(cast, termination):
    return open_batch(termination=termination, quantity=50, by=cast.operator, at=now())


@pytest.fixture
def reel(catalogue):
    """The reel as it came: its supplier's label says item and lot."""
    lot = catalogue.terminal.lots.get(lot_number="TL-2001")
    lot.supplier_lot, lot.supplier_serial = "7Q41", ""
    lot.save()
    catalogue.terminal.gtin = GTIN
    catalogue.terminal.save()
    return lot


@pytest.fixture
def screen(client, cast, batch):
    client.force_login(cast.operator)
    address = reverse("make:set-up", args=[batch.number])

    def send(code):
        key = re.search(r'name="act_key" value="([^"]+)"', client.get(address).content.decode())[1]
        page = client.post(address, {"act_key": key, "code": code}, follow=True).content.decode()
        return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))

    return send


def scan_as(batch, cast, code):
    return scan(batch=batch, code=code, by=cast.operator, at=now())


@pytest.mark.parametrize(
    "label",
    [
        f"]d201{GTIN}107Q41",
        f"01{GTIN}107Q41",
        f"{GS}01{GTIN}107Q41{GS}3025",
        f"(01){GTIN}(10)7Q41",
        f"https://id.example/01/{GTIN}/10/7Q41",
        "]C1107Q41",
        "7Q41",
        "]C0TL-2001",
        "]d210TL-2001",
    ],
)
def test_supplier_label_finds_its_reel(batch, cast, reel, label):
    answer = scan_as(batch, cast, label)

    assert (answer.accepted, answer.code, answer.part) == (True, "TL-2001", "terminal")
    row = SetupScan.objects.get(code="TL-2001")
    assert row.terminal_lot == reel
    assert GS not in row.scanned


def on_label(day):
    return f"(01){GTIN}(17){day:%y%m%d}(10)7Q41"


def test_reel_past_the_expiry_on_its_label_is_refused(batch, cast, reel):
    ended = factories.days(-1)

    answer = scan_as(batch, cast, on_label(ended))

    assert (answer.accepted, answer.code) == (False, "TL-2001")
    (finding,) = [f for f in answer.findings if f.rule == "use.lot.shelf_life"]
    assert finding.compared["until"] == str(ended)
    assert SetupScan.objects.get(code="TL-2001").scanned == on_label(ended)


def test_label_past_its_expiry_offers_no_choice(batch, cast, catalogue, reel):
    factories.make_terminal_lot("TL-2099", catalogue.terminal, supplier_lot="7Q41")

    answer = scan_as(batch, cast, on_label(factories.days(-1)))

    assert (answer.accepted, answer.choices, [f.rule for f in answer.findings]) == (False, (), ["use.lot.shelf_life"])
    assert scan_as(batch, cast, on_label(factories.days(1))).choices == ("TL-2001", "TL-2099")


def test_earlier_of_label_and_lot_counts(batch, cast, reel):
    reel.usable_until = factories.days(-5)
    reel.save()
    assert not scan_as(batch, cast, on_label(factories.days(300))).accepted

    reel.usable_until = None
    reel.save()
    assert scan_as(batch, cast, on_label(factories.today())).accepted  # its last day


def test_label_of_two_reels_is_asked_not_guessed(batch, cast, catalogue, reel):
    factories.make_terminal_lot("TL-2099", catalogue.terminal, supplier_lot="7Q41")

    answer = scan_as(batch, cast, f"(01){GTIN}(10)7Q41")

    assert (answer.accepted, answer.choices) == (False, ("TL-2001", "TL-2099"))
    assert [f.rule for f in answer.findings] == ["scan.which"]
    assert not SetupScan.objects.filter(part="terminal").exists()


def test_serial_number_says_which_of_two_spools(batch, cast, catalogue):
    for number, serial in (("WL-31", "S1"), ("WL-32", "S2")):
        factories.make_wire_lot(number, catalogue.wire, supplier_lot="D9", supplier_serial=serial)
    catalogue.wire.gtin = GTIN
    catalogue.wire.save()

    assert scan_as(batch, cast, f"]d201{GTIN}10D9{GS}21S2").code == "WL-32"
    assert found_for(f"]d201{GTIN}10D9{GS}21S3").thing is None  # another spool of the lot, not entered yet


def test_label_whose_item_cannot_be_compared_is_asked(batch, cast, catalogue, reel):
    catalogue.terminal.gtin = ""
    catalogue.terminal.save()

    assert scan_as(batch, cast, f"(01){GTIN}(10)7Q41").choices == ("TL-2001",)


def test_label_of_another_item_with_the_same_lot_is_not_taken(batch, cast, reel):
    assert [f.rule for f in scan_as(batch, cast, "(01)06291041500213(10)7Q41").findings] == ["scan.label"]


def test_label_with_the_item_only_offers_its_lots_in_the_shop(catalogue, reel):
    factories.make_terminal_lot("TL-2098", catalogue.terminal, state="used up")

    offered = [str(lot) for lot in found_for(f"]d201{GTIN}").choices]

    assert "TL-2001" in offered
    assert "TL-2098" not in offered


@pytest.mark.parametrize(
    ("label", "words"),
    [
        ("(01)09506000134353(10)7Q41", "the last figure is 3 and would have to be 2"),
        ("B-operator", "is a person&#x27;s badge"),
        ("J-1001-S1", "is a setup sheet"),
        ("J-1001-S1 rev 1 L1/A", "is a traveller"),
        ("NOTHING-1", "is not a tool, a reel, a spool or a gauge"),
        ("(10)NOPE", "No reel or spool of this shop carries the label (10)NOPE"),
    ],
)
def test_screen_says_what_a_wrong_label_is(screen, batch, reel, label, words):
    label = label.replace("J-1001-S1", batch.termination.sheet.number)

    assert words in screen(label)


def test_part_number_is_named_as_what_it_is(screen, catalogue):
    assert "part number, on every reel of it" in screen(catalogue.terminal.part_number)


def test_reel_before_the_tool_is_taken_and_the_tool_is_named(screen):
    said = screen("TL-2001")

    assert "That is a reel of terminals, and it is taken. The tool is still to come" in said


def test_wrong_reel_before_the_tool_is_refused_kindly(screen, catalogue):
    factories.make_terminal_lot("TL-77", catalogue.ring)

    said = screen("TL-77")

    assert "That is a reel of terminals. The tool comes first" in said


def test_same_label_again_is_already_proven(screen):
    screen("AP-031")

    assert "Yes, already proven" in screen("AP-031")


def test_choice_on_the_screen_takes_the_reel(screen, catalogue, reel):
    factories.make_terminal_lot("TL-2099", catalogue.terminal, supplier_lot="7Q41")
    assert "Which one is it?" in screen(f"(01){GTIN}(10)7Q41")

    assert "Yes" in screen("TL-2099")
    assert SetupScan.objects.get(part="terminal").code == "TL-2099"


def test_station_names_what_opens_nothing(client, cast, batch):
    client.force_login(cast.operator)

    page = client.get(reverse("make:find"), {"code": "]C0TL-2001"}).content.decode()

    assert "TL-2001 is a reel of terminals" in page


@pytest.mark.parametrize("label", ["{sheet} rev 1 L1/A", "]d1{sheet} rev 1 L1/A", "{sheet} rev 1 L1 bag 2"])
def test_traveller_and_bag_tag_open_their_termination(client, cast, termination, label):
    client.force_login(cast.operator)

    answer = client.get(reverse("make:find"), {"code": label.format(sheet=termination.sheet.number)})

    assert answer["Location"] == reverse("make:start", args=[termination.pk])


def test_item_number_of_the_catalogue_is_checked_and_padded(catalogue):
    stated = KINDS["terminals"].stated(catalogue.terminal)
    good = KINDS["terminals"].form(stated | {"gtin": "6291041500213"}, instance=catalogue.terminal)
    bad = KINDS["terminals"].form(stated | {"gtin": "6291041500214"}, instance=catalogue.terminal)

    assert good.is_valid()
    assert good.cleaned_data["gtin"] == "06291041500213"
    assert "would have to be 3" in str(bad.errors["gtin"])
