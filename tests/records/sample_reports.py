"""One certificate, one calibration status and one audit trail from an invented shop, and odd ones of each."""

from records.content import PART_NAMES
from records.qr import qr_svg
from shop.canonical import content_sha256
from tests.records.sample_records import DOCUMENTS, SHOP

LONG = "Unbroken-" + "X" * 60
SIGNATURE = {
    "printed_name": "Quirin Aspeland",
    "meaning": "conformity certified",
    "at": "2026-03-20 11:02 CET",
    "content_sha256": "ab" * 32,
    "entry": "4711",
}


def certificate(lots=2, batches=3, word=""):
    name = word or "Pump controller harness"
    return {
        "kind": "certificate",
        "version": "1",
        "number": "SH-26-014",
        "shop": SHOP,
        "customer": word or "Fenwater Pumps (invented)",
        "delivery_note": "DN-881",
        "shipped_at": "2026-03-20 10:40 CET",
        "shipped_by": "Pavel Kessel",
        "parts": [{"part": part, "state": "proven", "evidence": [f"{batches} of {batches} batches proven"]} for part in PART_NAMES],
        "lots": [
            {
                "lot": f"HL-{n:03}",
                "job": "J-2041",
                "purchase_order": "PO 77120",
                "part_number": word or "HX-310-02",
                "part_name": name,
                "drawing": "DRW-310",
                "drawing_revision": "D",
                "quantity": str(40 + n),
            }
            for n in range(1, lots + 1)
        ],
        "inspected": [
            {
                "lot": "HL-001",
                "batch": f"{word or 'J-2041-S1'}-B{n:02}",
                "lead": str(n),
                "end": "A",
                "sheet": "J-2041-S1 rev 2",
                "specification": "CS-104-07 rev 1",
                "samples": "4",
                "measured": "17",
                "pulled": "7",
                "criteria": "36",
                "answer": "accepted" if n % 7 else "accepted; 1 rejected on the way, its pieces held and decided on",
            }
            for n in range(1, batches + 1)
        ],
        "materials": [
            {
                "kind": "wire",
                "lot": word or "WL-26-0411",
                "part_number": "W-075-BU",
                "supplier": "Harrow Wire (invented)",
                "certificate": "HC-9",
            },
            {"kind": "terminal", "lot": "TL-26-1107", "part_number": "TR-63-08", "supplier": "", "certificate": ""},
        ],
        "documents": DOCUMENTS,
        "concessions": [
            {
                "number": "C-0003",
                "rule": "fit.insulation.od",
                "title": "Insulation in the support",
                "reason": word or "support closes fully; customer informed",
                "limit": "200 pieces",
                "granted_by": "Quirin Aspeland",
                "granted_at": "2026-03-12 08:15 CET",
            }
        ],
        "statement": "The harnesses listed here were made and inspected to the documents named in this certificate.",
        "signatures": [SIGNATURE],
    }


def calibration_status(gauges=6, word=""):
    stands = [
        ("overdue", "does not conform", "-12"),
        ("out of tolerance", "does not conform", "90"),
        ("due soon", "waiting", "9"),
        ("in calibration", "conforms", "211"),
    ]
    rows = []
    for n in range(gauges):
        standing, outcome, left = stands[n % 4]
        rows.append(
            {
                "asset_number": f"MIC-{n:03}",
                "kind": "crimp-height micrometer",
                "description": word or "blade and point, 0 to 25 mm",
                "state": "available",
                "resolution": "0.001 mm",
                "calibrated": "2025-03-18",
                "result": "adjusted, then in tolerance",
                "due": "2026-03-17",
                "days_left": left,
                "certificate": word or f"RC-26-{n:04}",
                "laboratory": "Ridge Calibration (invented)",
                "uncertainty": "0.0018 mm",
                "standing": standing,
                "outcome": outcome,
            }
        )
    blank = dict.fromkeys(("calibrated", "result", "due", "days_left", "certificate", "laboratory", "uncertainty", "description"), "")
    if gauges:
        rows[-1] |= blank | {"standing": "never calibrated", "outcome": "cannot be decided"}
    return {
        "kind": "calibration status",
        "version": "1",
        "number": "CS-2026-03-18",
        "as_of": "2026-03-18",
        "only": "",
        "asked_by": "Ada Søreth",
        "asked_at": "2026-03-18 09:00 CET",
        "shop": SHOP,
        "counts": ["2 overdue", "1 out of tolerance", "1 never calibrated"] if gauges else [],
        "gauges": rows,
        "signatures": [],
    }


def audit_trail(entries=5, word=""):
    return {
        "kind": "audit trail",
        "version": "1",
        "number": "AT-specifications-12",
        "subject_kind": "specifications",
        "subject": word or "CS-104-07 rev 1",
        "since": "",
        "until": "2026-03-18",
        "only_by": "",
        "asked_by": "Ada Søreth",
        "asked_at": "2026-03-18 09:00 CET",
        "shop": SHOP,
        "entries": [
            {
                "entry": str(100 + n),
                "at": "2026-03-02 14:05 CET",
                "by": "Mira Solheim",
                "about": "" if n % 3 else "sample J-2041-S1-B01 sample 1",
                "what": "Changed in the catalogue",
                "changes": ["crimp height nominal: 1.40 → 1.42 mm", f"note: {word or 'after the study of March'}"],
                "reason": word or "the window moved",
                "signed_as": "" if n % 4 else "setup sheet released",
            }
            for n in range(entries)
        ],
        "ledger": {"entries": "5120", "hash": "cd" * 32},
        "signatures": [],
    }


def disposal(files=3, word=""):
    return {
        "kind": "disposal",
        "version": "1",
        "number": "DP-0007",
        "shop": SHOP,
        "records": "Batch records and first-article reports",
        "rule": "R-0003",
        "rule_says": "10 calendar years after the year in which the harness part was last ordered, made or shipped",
        "rule_reason": word or "contract of the customer; ten years: common practice, no source",
        "rule_set": "Quirin Aspeland, 2026-03-01 09:00 CET",
        "note": word or "list of January",
        "disposed_by": "Quirin Aspeland",
        "disposed_at": "2037-01-12 10:40 CET",
        "files": [
            {
                "record": f"BR-{word or 'J-2041-S1'}-B{n:03} issue 1",
                "kept_as": "issued document",
                "made": "2026-03-02",
                "due": "2037-01-01",
                "size": str(48_211 + n),
                "sha256": f"{n:064x}",
            }
            for n in range(1, files + 1)
        ],
        "signatures": [SIGNATURE | {"meaning": "disposal of records"}],
    }


def nonconformance(actions=2, word=""):
    def action(n):
        open_one = n == actions
        return {
            "number": str(n),
            "kind": "so that it does not happen again",
            "what": word or f"Blow out behind the anvil, step {n}",
            "responsible": "Kari Mosbekk",
            "due": "2026-03-29",
            "result": "overdue" if open_one else "done",
            "outcome": "does not conform" if open_one else "conforms",
            "evidence": "" if open_one else "card of the tool, line 6",
            "ended_by": "" if open_one else "Kari Mosbekk",
            "ended_at": "" if open_one else "2026-03-20 11:00 CET",
        }

    cause = {
        "parts": "tool, inspection",
        "occurred": word or "insulation caught under the crimper",
        "undetected": "the sample before was 25 pieces back",
        "because": [word or "strips collect behind the anvil", "blown out at the service only"],
        "by": "Ines Falkvik",
        "at": "2026-03-19 09:00 CET",
    }
    proof = {
        "measure": word or "No finding “crimp height out of limits” with the tool AP-102 in the next 50 pieces.",
        "stated_by": "Quirin Aspeland",
        "stated_at": "2026-03-19 10:00 CET",
        "counted_from": "2026-03-20 11:00 CET",
        "result": "it worked",
        "outcome": "conforms",
        "figures": "55 pieces in 1 batch, looked at 3 times; no finding.",
        "seen": word or "every sample within limits",
        "verified_by": "Ines Falkvik",
        "verified_at": "2026-03-21 10:00 CET",
    }
    return {
        "kind": "nonconformance",
        "version": "1",
        "number": "NC-26-0004",
        "shop": SHOP,
        "state": "open",
        "standing": "1 action overdue",
        "outcome": "does not conform",
        "what": word or "in process: crimp height 1.352 mm",
        "requirement": word or "setup sheet J-2041-S1 rev 2, CS-104-07 rev 1",
        "defect": "crimp height out of limits",
        "quantity": "25",
        "origin": "a hold on a batch",
        "found_at": "in process",
        "customer": "Fenwater Pumps (invented)",
        "customer_reference": word or "Q-118",
        "opened_by": "Ines Falkvik",
        "opened_at": "2026-03-18 09:00 CET",
        "about": [{"what": "Tool", "name": word or "AP-102"}, {"what": "Harness lot", "name": "HL-001"}],
        "parts": [
            {
                "part": part,
                "state": "failed" if part == "tool" else "open",
                "word": "failed" if part == "tool" else "not named",
                "evidence": ["AP-102"],
            }
            for part in PART_NAMES
        ],
        "corrections": [
            {
                "what": "hold: resume with a new first piece",
                "of": "J-2041-S1-B01",
                "quantity": "25 suspect; 25 scrapped, 0 kept on hold",
                "why": word or "cleaned; suspect pieces scrapped",
                "by": "Quirin Aspeland",
                "at": "2026-03-18 09:30 CET",
            }
        ],
        "causes": [cause],
        "actions": [action(n) for n in range(1, actions + 1)],
        "proofs": [proof],
        "closings": [
            {
                "conclusion": word or "the card is followed",
                "without_action_because": "",
                "by": "Quirin Aspeland",
                "at": "2026-03-22 08:00 CET",
                "reopened_because": "came back on another shift",
                "reopened_by": "Quirin Aspeland",
                "reopened_at": "2026-04-02 08:00 CET",
            }
        ],
        "signatures": [SIGNATURE],
    }


REPORTS = {
    "certificate": certificate,
    "calibration status": calibration_status,
    "audit trail": audit_trail,
    "disposal": disposal,
    "nonconformance": nonconformance,
}


def report_frame(record, paper="A4"):
    number = {"certificate": "CC-"}.get(record["kind"], "") + record["number"]
    url = f"https://records.alder.example/verify/{number}/1"
    return {
        "number": number,
        "revision": "1",
        "title": f"{record['kind'].capitalize()} {number}",
        "issued_at": "2026-03-20 11:03 CET",
        "sha256": content_sha256(record),
        "verify_url": url,
        "qr_svg": qr_svg(url, size_mm=17),
        "paper": paper,
        "language": "en",
        "places": [{"word": "Approved", "anchor": "sign-1"}],
    }
