"""Every kind of entry has a sentence of its own, and each says what was, what is, and why. That the contents are those which the acts
write is held by the fixture `_entries_are_told` in every test of an act."""

from __future__ import annotations

import pytest

from records.audit_trail import READINGS, told
from records.models import LedgerEntry
from records.trails import entries_about, in_words, subject_of, trail
from shop.acts.concessions import GRANTED_MEANING, WITHDRAWN_MEANING, Scope, grant_concession, withdraw_concession
from shop.acts.sheets import revise_sheet, submit_sheet
from shop.clock import now
from shop.events import RECORDED
from shop.models import CrimpSpecification
from shop.sign_on import sign
from tests import factories

# A kind that is told field by field on purpose, and why.
WITHOUT_A_SENTENCE: dict[str, str] = {}

CASES = {
    "lot.split": (
        {"lot": "HL-1", "parts": [{"lot": "HL-1A", "quantity": 40, "serials": ["S-1", "S-2"]}], "left": 60},
        "Lot HL-1 split",
        ("harnesses left in it: 100 → 60", "40 to HL-1A", "serial numbers: S-1, S-2"),
        "",
    ),
    "lot.merged": (
        {"lot": "HL-9", "harnesses": 70, "lots": [{"lot": "HL-1", "quantity": 40}, {"lot": "HL-2", "quantity": 30}]},
        "Lot HL-9 made of 2 lots: 70 harnesses",
        ("40 of HL-1", "30 of HL-2"),
        "",
    ),
    "lot.returned": (
        {"shipment": "SH-1", "customer": "BRUNNEN", "lot": "HL-1", "into": "HL-1R", "quantity": 3, "reason": "seal torn", "serials": []},
        "3 harnesses of lot HL-1 came back from BRUNNEN, shipment SH-1; they wait as HL-1R",
        (),
        "seal torn",
    ),
    "lot.scrapped": (
        {"lot": "HL-1", "quantity": 2, "reason": "crushed", "left": 98},
        "2 harnesses of lot HL-1 scrapped",
        ("harnesses left in it: 100 → 98",),
        "crushed",
    ),
    "containment.decided": (
        {
            "case": "CC-0001",
            "place": "lot in stock",
            "thing": "HL-1",
            "shipment": "",
            "kind": "scrap",
            "quantity": 5,
            "note": "plating",
            "concession": "",
            "open": 15,
        },
        "5 of HL-1: scrap",
        ("still open: 20 → 15",),
        "plating",
    ),
    "control.limits_frozen": (
        {
            "tool": "AP-031",
            "terminal": "T-250-F",
            "csa_mm2": "0.754",
            "characteristic": "crimp height",
            "chart": "individuals",
            "limits": {"kind": "individuals", "center": "1.402", "sigma": "0.004"},
            "rules": ["nelson.1 1/1"],
            "samples": [{}] * 25,
            "reason": "quiet for a month",
        },
        "Control limits put in force for crimp height on tool AP-031, terminal T-250-F, 0.754 mm²: individuals from 25 samples",
        ("kind: individuals", "center: 1.402", "sigma: 0.004", "rules: nelson.1 1/1"),
        "quiet for a month",
    ),
    "person.stand_in_named": (
        {"person": "quality", "deputy": "ines", "role": "quality", "since": "2026-03-02", "until": "2026-03-06", "reason": "leave"},
        "ines stands in for quality as quality, 2026-03-02 to 2026-03-06",
        (),
        "leave",
    ),
    "ledger.checkpointed": (
        {"entries": 41, "root": "ab", "head": "cd", "sha256": "ef"},
        "Checkpoint signed over the first 41 entries of the ledger",
        ("root of their tree: ab", "hash of the last of them: cd"),
        "",
    ),
}


def test_every_kind_has_a_sentence():
    assert set(RECORDED) - set(READINGS) == set(WITHOUT_A_SENTENCE)


@pytest.mark.parametrize("kind", CASES)
def test_sentence_says_what_was_what_is_and_why(kind):
    content, what, changes, reason = CASES[kind]

    answer = told(kind, content)

    assert (answer.what, answer.changes, answer.reason) == (what, changes, reason)


def test_inspection_of_a_lot_tells_the_switch():
    content = {"lot": "TL-2001", "lot_size": 1000, "criterion": "burr", "found": 3, "accepted": False, "n": 80, "ac": 2}
    switched = {"severity": "normal", "severity_after": "tightened", "defects": "", "irregular": "", "resubmitted": False}

    answer = told("sampling.lot_inspected", content | switched)

    assert answer.what == "Lot TL-2001 of 1000 looked at for burr: 3 found, not accepted and put on hold"
    assert answer.changes == ("sample of 80, accepted up to 2 (normal inspection)", "inspection: normal → tightened")


def test_revision_tells_height_and_limits_with_person_and_reason(cast, catalogue):
    """As an auditor asks for it: target crimp height 1.40 → 1.42 mm, by whom, because."""
    first = factories.released(cast, catalogue)
    CrimpSpecification.objects.update(crimp_height_nominal_mm="1.42", crimp_height_min_mm="1.37", crimp_height_max_mm="1.47")
    draft = revise_sheet(sheet=first, reason="pull force too low at 1.40", by=cast.planner, at=now())
    submit_sheet(sheet=draft, by=cast.planner, at=now())
    factories.release(draft, cast.approver)

    subject = subject_of("setup-sheet", first.pk)
    line = trail(subject, entries_about(subject))[-1]

    assert "termination L1 A: target crimp height 1.40 → 1.42 mm, limits 1.35 to 1.45 → 1.37 to 1.47 mm" in line.told.changes
    assert (line.by, line.told.reason) == (cast.approver.name, "pull force too low at 1.40")


def test_concession_tells_rule_scope_limit_and_both_reasons(cast, catalogue):
    at = now()

    def signing(meaning):
        return sign(identifier="quality", secret=factories.PIN, meaning=meaning, at=at)

    scope = Scope(terminal_lot=catalogue.terminal_lot_held)
    granted = grant_concession(
        rule="use.lot.state",
        scope=scope,
        reason="flakes are cosmetic",
        quantity_limit=200,
        by=cast.quality,
        at=at,
        signing=signing(GRANTED_MEANING),
    )
    withdraw_concession(concession=granted, reason="lot sent back", by=cast.quality, at=at, signing=signing(WITHDRAWN_MEANING))

    first, last = (in_words(entry) for entry in LedgerEntry.objects.filter(subject_kind="concession"))

    assert first.what == f"Concession {granted.number} granted: rule use.lot.state is let through for terminal lot TL-2002, for 200 pieces"
    assert first.reason == "flakes are cosmetic"
    assert last.what == f"Concession {granted.number} withdrawn: rule use.lot.state holds again for terminal lot TL-2002"
    assert last.changes == ("it was granted for 200 pieces, because: flakes are cosmetic",)
    assert last.reason == "lot sent back"


def test_concession_page_leads_to_its_trail(signed_in, cast, catalogue):
    at = now()
    granted = grant_concession(
        rule="use.lot.state",
        scope=Scope(terminal_lot=catalogue.terminal_lot_held),
        reason="flakes are cosmetic",
        quantity_limit=200,
        by=cast.quality,
        at=at,
        signing=sign(identifier="quality", secret=factories.PIN, meaning=GRANTED_MEANING, at=at),
    )
    client = signed_in(cast.auditor)
    page = client.get(f"/plan/concessions/{granted.pk}/").content.decode()
    url = f"/prove/trail/concession/{granted.pk}/"

    assert url in page
    assert "flakes are cosmetic" in client.get(url).content.decode()
