"""One record of each kind from an invented shop, complete enough to show every part of a printed document."""

from records.qr import qr_svg
from shop.canonical import content_sha256, sha256_hex

SHOP = {"name": "Alder Harness Works", "address": "12 Mill Lane, Hall 2, Rivertown"}
JOB = {
    "number": "J-2041",
    "customer": "Fenwater Pumps (invented)",
    "part_number": "HX-310-02",
    "part_name": "Pump controller harness",
    "drawing": "DRW-310",
    "drawing_revision": "D",
    "purchase_order": "PO 77120",
    "quantity": "400",
    "due": "2026-03-20",
}
WIRE_BLUE = {
    "part_number": "W-075-BU",
    "description": "blue, tin-plated, PVC, 105 °C, 600 V",
    "size": "0.75 mm², 24x0.20",
    "csa_mm2": "0.754",
    "insulation_od_mm": "1.90",
}
WIRE_GREEN = WIRE_BLUE | {
    "part_number": "W-150-GNYE",
    "description": "green-yellow, PVC, 105 °C",
    "size": "1.5 mm², 30x0.25",
    "csa_mm2": "1.473",
    "insulation_od_mm": "2.60",
}
RECEPTACLE = {
    "part_number": "TR-63-08",
    "description": "receptacle 6.3 x 0.8, tin-plated brass, strip form",
    "conductor_range_mm2": "0.50 to 1.00",
    "insulation_range_mm": "1.60 to 2.40",
}
RING = {
    "part_number": "TN-M4-25",
    "description": "ring tongue M4, tin-plated copper, loose piece",
    "conductor_range_mm2": "1.00 to 2.50",
    "insulation_range_mm": "2.20 to 3.60",
}
APPLICATOR = {
    "asset_number": "AP-112",
    "kind": "applicator",
    "description": "press PR-03, 20 kN",
    "cavity": "",
    "setting": "dial C, 1.40 mm",
}
HAND_TOOL = {"asset_number": "HT-027", "kind": "hand tool", "description": "ratchet", "cavity": "1.5", "setting": ""}
DOCUMENTS = [
    {
        "number": "AS-104",
        "revision": "C",
        "title": "Receptacles 6.3: crimping",
        "kind": "application specification",
        "in_force_from": "2025-09-01",
    },
    {
        "number": "AS-088",
        "revision": "B",
        "title": "Ring tongues M3 to M6: crimping",
        "kind": "application specification",
        "in_force_from": "2024-02-15",
    },
    {
        "number": "WI-12",
        "revision": "5",
        "title": "First piece, samples and last piece",
        "kind": "work instruction",
        "in_force_from": "2025-11-10",
    },
    {"number": "DRW-310", "revision": "D", "title": "Pump controller harness", "kind": "drawing", "in_force_from": "2026-01-08"},
]
CONCESSION = {
    "number": "CN-0031",
    "rule": "fit.insulation.od",
    "title": "Insulation in the support",
    "reason": "Wire OD 1.55 mm against 1.60 mm; the support was verified to hold on 20 pieces (report LR-219).",
    "limit": "batch B-3107, at most 800 pieces",
    "granted_by": "Ines Quandt, quality",
    "granted_at": "2026-03-01 16:40 CET",
}


def signature(name, meaning, at, entry):
    return {"printed_name": name, "meaning": meaning, "at": at, "content_sha256": sha256_hex(f"{name} {meaning}"), "entry": entry}


def target(characteristic, unit, low, nominal, high, source="AS-104 rev C"):
    return {"characteristic": characteristic, "unit": unit, "low": low, "nominal": nominal, "high": high, "source": source}


RECEPTACLE_TARGETS = [
    target("crimp height", "mm", "1.35", "1.40", "1.45"),
    target("crimp width", "mm", "2.00", "", "2.20"),
    target("insulation crimp height", "mm", "2.30", "", "2.60"),
    target("strip length", "mm", "4.0", "", "5.0"),
    target("pull force", "N", "89", "", "", "AS-104 rev C, table 4"),
]
RING_TARGETS = [
    target("crimp height", "mm", "1.95", "2.00", "2.05", "AS-088 rev B"),
    target("strip length", "mm", "5.5", "", "6.5", "AS-088 rev B"),
    target("pull force", "N", "178", "", "", "AS-088 rev B, table 2"),
]


def parts(state="proven", **evidence):
    names = ("people", "wire", "terminal", "tool", "documents", "inspection")
    return [{"part": name, "state": state, "evidence": evidence.get(name, [])} for name in names]


def termination(position, lead, end, wires, csa_mm2, terminal, tool, targets, specification):
    return {
        "position": position,
        "lead": lead,
        "end": end,
        "circuit": f"C{position}",
        "quantity": "800",
        "wire_length_mm": "420.0",
        "wires": wires,
        "csa_mm2": csa_mm2,
        "terminal": terminal,
        "tool": tool,
        "specification": specification,
        "targets": targets,
        "plan": [
            {"when": "First piece", "what": "5 crimp heights, 3 pull tests, visual criteria", "signs": "operator, inspector"},
            {"when": "Every 250 pieces", "what": "1 crimp height, visual criteria", "signs": "operator"},
            {"when": "Last piece", "what": "1 crimp height, 1 pull test, visual criteria", "signs": "operator"},
        ],
        "findings": [
            {
                "rule": "fit.conductor.csa",
                "title": "Conductor size in the terminal",
                "outcome": "conforms",
                "sentence": f"{csa_mm2} mm² lies within {terminal['conductor_range_mm2']} mm².",
            },
            {
                "rule": "fit.tool.listed",
                "title": "Terminal on the tool's list",
                "outcome": "conforms",
                "sentence": f"{tool['asset_number']} is approved for {terminal['part_number']}.",
            },
        ],
    }


def setup_sheet():
    conceded = termination(
        "30",
        "L-103",
        "A",
        [WIRE_BLUE | {"part_number": "W-075-BU-TW", "description": "blue, thin wall", "insulation_od_mm": "1.55"}],
        "0.754",
        RECEPTACLE,
        APPLICATOR,
        RECEPTACLE_TARGETS,
        "CS-41 rev 2 (AS-104 rev C)",
    )
    conceded["findings"].append(
        {
            "rule": "fit.insulation.od",
            "title": "Insulation in the support",
            "outcome": "conceded",
            "sentence": "Wire OD 1.55 mm is below the support's range 1.60 to 2.40 mm. Let through by CN-0031.",
        }
    )
    planned = parts(
        people=["Operator qualified for applicator and hand tool", "First piece countersigned by an inspector"],
        wire=["W-075-BU, W-150-GNYE", "W-075-BU-TW: OD conceded, CN-0031"],
        terminal=["TR-63-08, TN-M4-25"],
        tool=["AP-112 and HT-027 approved for terminal, area and OD"],
        documents=["AS-104 rev C and AS-088 rev B in force", "Drawing DRW-310 rev D"],
        inspection=["Plan set for all 3 terminations", "Pull force from AS-104 and AS-088"],
    )
    planned[1]["state"] = "conceded"
    return {
        "kind": "setup sheet",
        "version": "1",
        "number": "SS-2041",
        "revision": "3",
        "status": "released",
        "supersedes": "SS-2041 revision 2",
        "change_reason": "Drawing DRW-310 raised from C to D: ring tongue on lead L-102.",
        "shop": SHOP,
        "job": JOB,
        "parts": planned,
        "set_ups": [
            {
                "number": "1",
                "tool": "AP-112",
                "setting": "C3 I2",
                "press": "PR-05",
                "terminal": "TR-63-08",
                "wires": "W-075-BU",
                "specification": "CS-41 rev 2",
                "leads": ["L-101/A", "L-104/A"],
                "quantity": "400",
            },
        ],
        "terminations": [
            termination("10", "L-101", "A", [WIRE_BLUE], "0.754", RECEPTACLE, APPLICATOR, RECEPTACLE_TARGETS, "CS-41 rev 2 (AS-104 rev C)"),
            termination("20", "L-102", "B", [WIRE_GREEN, WIRE_BLUE], "2.227", RING, HAND_TOOL, RING_TARGETS, "CS-17 rev 4 (AS-088 rev B)"),
            conceded,
        ],
        "documents": DOCUMENTS,
        "concessions": [CONCESSION],
        "signatures": [
            signature("Mira Holt", "drafted", "2026-02-27 14:02 CET", "1180"),
            signature("Ines Quandt", "reviewed and released", "2026-03-01 17:05 CET", "1184"),
        ],
    }


def reading(
    piece,
    value,
    *,
    characteristic="crimp height",
    low="1.35",
    high="1.45",
    outcome="conforms",
    gauge="G-014",
    at="2026-03-02 07:12 CET",
    corrects="",
    by="Jonas Birk",
):
    return {
        "characteristic": characteristic,
        "piece": piece,
        "value": value,
        "unit": "mm",
        "low": low,
        "high": high,
        "limits_unit": "mm",
        "outcome": outcome,
        "gauge": gauge,
        "by": by,
        "at": at,
        "corrects": corrects,
    }


def pull(piece, value, mode="wire broke at the crimp", at="2026-03-02 07:20 CET"):
    return {
        "piece": piece,
        "value": value,
        "unit": "N",
        "minimum": "89",
        "mode": mode,
        "outcome": "conforms",
        "gauge": "G-031",
        "by": "Jonas Birk",
        "at": at,
        "corrects": "",
    }


CRITERIA = (
    "all strands inside the barrel",
    "no cut, nicked or missing strands",
    "conductor and insulation visible in the window",
    "bell mouth present at the wire end",
    "brush visible, not in the mating area",
    "insulation support grips without piercing",
    "terminal not bent, twisted, rolled or crushed",
    "seam closed",
    "cut-off tab and burr within limit",
    "right terminal, right wire, right colour",
    "plating not flaked",
    "locking tang undamaged",
)


def visual(at, rejected=""):
    return [
        {
            "criterion": criterion,
            "answer": "rejected" if criterion == rejected else "accepted",
            "note": "burr 0.3 mm, photo 2" if criterion == rejected else "",
            "by": "Jonas Birk",
            "at": at,
        }
        for criterion in CRITERIA
    ]


def sample(number, kind, at_count, answer, taken_at, readings, pull_tests=(), seen=()):
    return {
        "number": number,
        "kind": kind,
        "at_count": at_count,
        "answer": answer,
        "taken_by": "Jonas Birk",
        "taken_at": taken_at,
        "readings": list(readings),
        "pull_tests": list(pull_tests),
        "visual": list(seen),
    }


def chart(values):
    """A plain individuals chart: limits as thin lines, labelled at their end."""

    def y(value):
        return 150 - (value - 1.34) / 0.12 * 130

    points = [(40 + i * 46, y(value)) for i, value in enumerate(values)]
    lines = "".join(
        f'<line x1="30" x2="560" y1="{y(v):.1f}" y2="{y(v):.1f}" stroke="#18211f" stroke-width="0.7" {dash}/>'
        f'<text x="565" y="{y(v) + 3:.1f}" font-size="9">{name} {v:.2f}</text>'
        for v, name, dash in ((1.45, "high", ""), (1.40, "nominal", 'stroke-dasharray="3 3"'), (1.35, "low", ""))
    )
    path = "M" + "L".join(f"{px:.1f} {py:.1f}" for px, py in points)
    dots = "".join(f'<circle cx="{px:.1f}" cy="{py:.1f}" r="2.6" fill="#18211f"/>' for px, py in points)
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 640 165" width="640" height="165" role="img" font-family="Proof Text">'
        "<title>Crimp height of each sample against its limits, in mm</title>"
        f'{lines}<path d="{path}" fill="none" stroke="#18211f" stroke-width="1.2"/>{dots}</svg>'
    )


def batch_record():
    heights = [1.398, 1.402, 1.405, 1.399, 1.401, 1.404, 1.409, 1.413, 1.462, 1.400, 1.403]
    first = [reading(str(i), value) for i, value in enumerate(("1.398", "1.402", "1.405", "1.399", "1.401"), start=1)]
    first[1] = reading("2", "1.402", corrects="14.02 mm: decimal point")
    return {
        "kind": "batch record",
        "version": "1",
        "number": "B-3107",
        "status": "closed",
        "opened_at": "2026-03-02 06:55 CET",
        "closed_at": "2026-03-02 11:48 CET",
        "shop": SHOP,
        "job": JOB,
        "termination": {
            "sheet": "SS-2041 revision 3",
            "sheet_sha256": sha256_hex("sheet"),
            "position": "10",
            "lead": "L-101",
            "end": "A",
            "wires": [WIRE_BLUE],
            "csa_mm2": "0.754",
            "terminal": RECEPTACLE,
            "tool": APPLICATOR,
            "specification": "CS-41 rev 2 (AS-104 rev C)",
            "targets": RECEPTACLE_TARGETS,
        },
        "parts": parts(
            people=["Jonas Birk: crimping, applicator, until 2026-11-30", "Ines Quandt: inspection, until 2027-01-31"],
            wire=["WL-5521, certificate C-90233", "W-075-BU as on the sheet"],
            terminal=["TL-0871, TL-0872", "TR-63-08 as on the sheet"],
            tool=["AP-112, dial C", "Verified until 2026-06-30; 41 200 of 250 000 crimps"],
            documents=["SS-2041 revision 3", "AS-104 rev C"],
            inspection=["2 first pieces accepted, 1 rejected", "4 of 4 samples, last piece accepted"],
        ),
        "counts": {"planned": "800", "made": "812", "good": "741", "scrap": "58", "destroyed": "13", "held": "0"},
        "people": [
            {"name": "Jonas Birk", "role": "operator", "qualification": "crimping with applicators", "valid_until": "2026-11-30"},
            {"name": "Ines Quandt", "role": "inspector", "qualification": "inspection of crimps", "valid_until": "2027-01-31"},
        ],
        "loaded_lots": [
            {
                "kind": "wire",
                "lot": "WL-5521",
                "part_number": "W-075-BU",
                "certificate": "C-90233",
                "from_count": "0",
                "to_count": "812",
                "by": "Jonas Birk",
                "at": "2026-03-02 06:58 CET",
            },
            {
                "kind": "terminal",
                "lot": "TL-0871",
                "part_number": "TR-63-08",
                "certificate": "C-88120",
                "from_count": "0",
                "to_count": "505",
                "by": "Jonas Birk",
                "at": "2026-03-02 06:59 CET",
            },
            {
                "kind": "terminal",
                "lot": "TL-0872",
                "part_number": "TR-63-08",
                "certificate": "C-88121",
                "from_count": "505",
                "to_count": "812",
                "by": "Jonas Birk",
                "at": "2026-03-02 09:31 CET",
            },
        ],
        "gauges": [
            {
                "asset_number": "G-014",
                "kind": "crimp-height micrometer",
                "resolution": "0.001 mm",
                "calibrated": "2026-01-12",
                "due": "2027-01-12",
                "certificate": "K-4471",
            },
            {
                "asset_number": "G-031",
                "kind": "pull tester",
                "resolution": "0.1 N",
                "calibrated": "2025-10-05",
                "due": "2026-10-05",
                "certificate": "K-4390",
            },
        ],
        "scans": [
            {"part": "tool", "code": "AP-112", "answer": "accepted", "why": "", "by": "Jonas Birk", "at": "2026-03-02 06:57 CET"},
            {
                "part": "wire",
                "code": "WL-5498",
                "answer": "rejected",
                "why": "WL-5498 is W-075-RD; the sheet asks for W-075-BU.",
                "by": "Jonas Birk",
                "at": "2026-03-02 06:57 CET",
            },
            {"part": "wire", "code": "WL-5521", "answer": "accepted", "why": "", "by": "Jonas Birk", "at": "2026-03-02 06:58 CET"},
            {"part": "terminal", "code": "TL-0871", "answer": "accepted", "why": "", "by": "Jonas Birk", "at": "2026-03-02 06:59 CET"},
            {"part": "inspection", "code": "G-014", "answer": "accepted", "why": "", "by": "Jonas Birk", "at": "2026-03-02 07:00 CET"},
        ],
        "samples": [
            sample(
                "1",
                "first piece",
                "0",
                "accepted",
                "2026-03-02 07:08 CET",
                [
                    *first,
                    reading("1", "2.08", characteristic="crimp width", low="2.00", high="2.20", gauge="G-014"),
                    reading("1", "4.5", characteristic="strip length", low="4.0", high="5.0", gauge="G-014"),
                ],
                [pull("3", "131"), pull("4", "127"), pull("5", "129", "wire broke away from the crimp")],
                visual("2026-03-02 07:22 CET"),
            ),
            sample(
                "2",
                "in process",
                "250",
                "accepted",
                "2026-03-02 08:20 CET",
                [reading("1", "1.404", at="2026-03-02 08:21 CET")],
                seen=visual("2026-03-02 08:21 CET"),
            ),
            sample(
                "3",
                "in process",
                "500",
                "rejected",
                "2026-03-02 09:18 CET",
                [reading("1", "1.462", outcome="does not conform", at="2026-03-02 09:19 CET")],
                seen=visual("2026-03-02 09:19 CET", "cut-off tab and burr within limit"),
            ),
            sample(
                "4",
                "after change",
                "505",
                "accepted",
                "2026-03-02 09:40 CET",
                [
                    reading(str(i), v, at="2026-03-02 09:42 CET")
                    for i, v in enumerate(("1.400", "1.403", "1.401", "1.399", "1.402"), start=1)
                ],
                [
                    pull("3", "128", at="2026-03-02 09:50 CET"),
                    pull("4", "130", at="2026-03-02 09:51 CET"),
                    pull("5", "126", at="2026-03-02 09:52 CET"),
                ],
                visual("2026-03-02 09:53 CET"),
            ),
            sample(
                "5",
                "in process",
                "750",
                "accepted",
                "2026-03-02 11:02 CET",
                [reading("1", "1.400", at="2026-03-02 11:03 CET")],
                seen=visual("2026-03-02 11:03 CET"),
            ),
            sample(
                "6",
                "last piece",
                "812",
                "accepted",
                "2026-03-02 11:40 CET",
                [reading("1", "1.403", at="2026-03-02 11:41 CET")],
                [pull("1", "129", at="2026-03-02 11:43 CET")],
                visual("2026-03-02 11:44 CET"),
            ),
        ],
        "decision_rules": ["simple acceptance (ILAC-G8:09/2019)"],
        "charts": [
            {
                "title": "Crimp height, mm",
                "svg": chart(heights),
                "note": "Sample 3 lies above the upper limit 1.45 mm; the run was held there and set up again.",
            }
        ],
        "dispositions": [
            {
                "kind": "scrap",
                "quantity": "12",
                "note": "burr beyond the limit",
                "concession": "",
                "by": "Quirin Moss",
                "at": "2026-03-02 15:20 CET",
            }
        ],
        "holds": [
            {
                "reason": "Crimp height 1.462 mm above 1.45 mm on sample 3",
                "suspect": "251 to 500 (250 pieces)",
                "raised_by": "Jonas Birk",
                "raised_at": "2026-03-02 09:19 CET",
                "decision": "resume with a new first piece",
                "decision_reason": "All 250 measured: 58 scrapped, 192 conform. Crimper changed.",
                "decided_by": "Ines Quandt",
                "decided_at": "2026-03-02 09:35 CET",
            }
        ],
        "documents": DOCUMENTS[:1] + DOCUMENTS[2:3],
        "concessions": [],
        "signatures": [
            signature("Jonas Birk", "measured", "2026-03-02 07:24 CET", "1191"),
            signature("Ines Quandt", "approved first piece", "2026-03-02 07:31 CET", "1192"),
            signature("Ines Quandt", "decided on hold", "2026-03-02 09:35 CET", "1197"),
            signature("Jonas Birk", "closed batch", "2026-03-02 11:48 CET", "1206"),
        ],
    }


def first_article():
    def line(
        number,
        where,
        requirement,
        unit,
        results,
        *,
        designator="",
        outcome="conforms",
        gauge="G-014",
        tooling="",
        nonconformance="",
        comment="",
    ):
        return {
            "number": number,
            "where": where,
            "designator": designator,
            "requirement": requirement,
            "unit": unit,
            "results": results,
            "outcome": outcome,
            "gauge": gauge,
            "tooling": tooling,
            "nonconformance": nonconformance,
            "comment": comment,
        }

    def source(name, specification, origin, certificate, *, code="", approved="yes", procedure="", report="", comment=""):
        return {
            "name": name,
            "specification": specification,
            "process_code": code,
            "source": origin,
            "source_approved": approved,
            "certificate": certificate,
            "test_procedure": procedure,
            "test_report": report,
            "comment": comment,
        }

    return {
        "kind": "first article",
        "version": "2",
        "number": "FA-0058",
        "status": "complete",
        "shop": SHOP,
        "job": JOB,
        "article": {
            "part_number": "HX-310-02",
            "part_name": "Pump controller harness",
            "serial_number": "000001",
            "report_number": "FA-0058",
            "part_revision": "D",
            "drawing": "DRW-310",
            "drawing_revision": "D",
            "further_changes": "",
            "process_reference": "SS-2041 revision 3",
            "organisation": "Alder Harness Works",
            "supplier_code": "AHW-7",
            "purchase_order": "PO 77120",
            "level": "assembly",
            "extent": "partial",
            "baseline": "HX-310-01, report FA-0041.",
            "reason": "Ring tongue on lead L-102 is new with drawing revision D.",
            "holds_nonconformance": "no",
            "verified": "Jonas Eikeland, 2026-03-18",
            "reviewed": "Lea Brandal, 2026-03-18",
            "customer_approval": "",
            "comments": "Ring tongue inspected as a new part.",
        },
        "parts": batch_record()["parts"],
        "not_applicable": [
            {"field": "serial number", "why": "A crimped lead is not serialised."},
        ],
        "lower_parts": [
            {
                "part_number": "TR-63-08",
                "part_name": "Receptacle 6.3 x 0.8",
                "origin": "standard item",
                "lot": "TL-0871",
                "report_number": "",
            },
            {"part_number": "TN-M4-25", "part_name": "Ring tongue M4", "origin": "standard item", "lot": "TL-0905", "report_number": ""},
            {
                "part_number": "HX-310-11",
                "part_name": "Overmoulded connector",
                "origin": "sub-tier",
                "lot": "SN 2207",
                "report_number": "FA-S-0144",
            },
        ],
        "sources": [
            source("Wire W-075-BU", "SP-WIRE-07 rev B", "Lindqvist Wire (invented), code LW-2", "C-90233"),
            source("Terminal TR-63-08", "AS-104 rev C", "Marlow Contacts (invented), code MC-9", "C-88120"),
            source("Tin plating of TR-63-08", "SP-PL-02 rev A", "Marlow Contacts (invented), code MC-9", "C-88120", code="PL-SN"),
            source(
                "Continuity and insulation test",
                "TS-310 rev 2",
                "in house",
                "",
                approved="not applicable",
                procedure="TP-310 rev 2",
                report="TR-2041-01",
                comment="500 V DC, 60 s",
            ),
        ],
        "decision_rules": ["simple acceptance (ILAC-G8:09/2019)"],
        "characteristics": [
            line(
                "1",
                "sheet 1, B4",
                "Crimp height L-101 A 1.35 to 1.45",
                "mm",
                ["1.398", "1.402", "1.405", "1.399", "1.401"],
                designator="key characteristic",
            ),
            line(
                "2",
                "sheet 1, B4",
                "Pull force L-101 A at least 89",
                "N",
                ["131", "127", "129"],
                gauge="G-031",
                comment="wire broke at the crimp, twice; away from it, once",
            ),
            line(
                "3",
                "sheet 1, C2",
                "Crimp height L-102 B 1.95 to 2.05",
                "mm",
                ["2.01", "2.00", "2.02", "2.01", "1.99"],
                designator="key characteristic",
            ),
            line("4", "sheet 1, C2", "Pull force L-102 B at least 178", "N", ["241", "238", "246"], gauge="G-031"),
            line("5", "sheet 1, A1", "Overall length 1250 ± 10", "mm", ["1253"], gauge="G-050"),
            line("6", "sheet 2, note 3", "Label on lead L-102 reads EARTH", "", ["accept"], gauge="", tooling=""),
            line("7", "sheet 2, note 5", "Connector latch engages with a click", "", ["accept"], gauge="", tooling="mating part MP-4"),
            line(
                "8",
                "sheet 2, D3",
                "Branch 40 ± 3 from the splice",
                "mm",
                ["44"],
                outcome="conceded",
                gauge="G-050",
                nonconformance="NC-0212",
                comment="CN-0032: use as is, drawing to be raised",
            ),
        ],
        "conclusion": "The report is complete: 8 of 8 characteristics are answered, 7 conform, 1 is conceded, no nonconformance is open.",
        "documents": DOCUMENTS,
        "concessions": [
            CONCESSION
            | {
                "number": "CN-0032",
                "rule": "article.characteristic",
                "title": "Branch length",
                "reason": "44 mm against 40 ± 3 mm, no effect on routing.",
                "limit": "first article only",
            }
        ],
        "signatures": [
            signature("Ines Quandt", "prepared, verified complete", "2026-03-03 10:12 CET", "1230"),
            signature("Mira Holt", "reviewed and approved", "2026-03-03 15:40 CET", "1231"),
        ],
    }


def trace_report():
    def batch(number, lead, end, quantity, **changed):
        record = batch_record()
        return {
            "number": number,
            "lead": lead,
            "end": end,
            "quantity": quantity,
            "sheet": "SS-2041 revision 3",
            "status": "closed",
            "closed_at": "2026-03-02 11:48 CET",
            "parts": changed.get("parts", record["parts"]),
            "issued": [f"BR-{number[2:]} issue 1"],
        }

    conceded = [dict(part) for part in batch_record()["parts"]]
    conceded[1] = {"part": "wire", "state": "conceded", "evidence": ["WL-5530, certificate C-90260", "OD 1.55 mm below 1.60 mm: CN-0031"]}
    lots = [
        {
            "number": number,
            "job": "J-2041",
            "part_number": "HX-310-02",
            "part_name": "Pump controller harness",
            "built": built,
            "shipped": shipped,
            "built_at": "2026-03-04 15:20 CET",
            "built_by": "Tomas Rhee",
            "batches": batches,
        }
        for number, built, shipped, batches in (
            (
                "HL-0419",
                "200",
                "180",
                [
                    batch("B-3107", "L-101", "A", "400"),
                    batch("B-3108", "L-102", "B", "200"),
                    batch("B-3109", "L-103", "A", "200", parts=conceded),
                ],
            ),
            ("HL-0420", "120", "120", [batch("B-3107", "L-101", "A", "240"), batch("B-3110", "L-102", "B", "120")]),
        )
    ]
    summary = [
        {"part": "people", "state": "proven", "evidence": ["4 people, all qualified at the time"]},
        {"part": "wire", "state": "conceded", "evidence": ["5 wire lots, all with certificates", "1 batch under CN-0031"]},
        {"part": "terminal", "state": "proven", "evidence": ["6 terminal lots, all with certificates"]},
        {"part": "tool", "state": "proven", "evidence": ["2 tools, verified and in service"]},
        {"part": "documents", "state": "proven", "evidence": ["1 setup sheet, 2 specifications in force"]},
        {"part": "inspection", "state": "proven", "evidence": ["5 batches closed, counts balance", "1 hold, decided"]},
    ]
    return {
        "kind": "trace report",
        "version": "1",
        "number": "TR-SH-0207",
        "question": "What is behind shipment SH-0207?",
        "asked_by": "Olga Prinz, auditor",
        "asked_at": "2026-03-18 09:15 CET",
        "shop": SHOP,
        "shipments": [
            {
                "number": "SH-0207",
                "customer": JOB["customer"],
                "delivery_note": "DN 5512",
                "shipped_at": "2026-03-06 14:00 CET",
                "shipped_by": "Mira Holt",
            }
        ],
        "parts": summary,
        "lots": lots,
        "holds": batch_record()["holds"],
        "concessions": [CONCESSION],
        "ledger": {"entries": "1312", "hash": sha256_hex("ledger")},
        "signatures": [signature("Olga Prinz", "asked and received", "2026-03-18 09:16 CET", "1312")],
    }


RECORDS = {"setup sheet": setup_sheet, "batch record": batch_record, "first article": first_article, "trace report": trace_report}


def frame(record, paper="A4"):
    """The document round a record, as the acts make it."""
    titles = {
        "setup sheet": "Setup sheet",
        "batch record": "Batch record",
        "first article": "First-article report",
        "trace report": "Trace report",
    }
    prefix = {"batch record": "BR-"}.get(record["kind"], "")
    number = f"{prefix}{record['number'].removeprefix('B-')}"
    url = f"https://records.alder.example/verify/{number}/1"
    return {
        "number": number,
        "revision": record.get("revision", "1"),
        "title": f"{titles[record['kind']]} {number}",
        "issued_at": "2026-03-18 09:16 CET",
        "sha256": content_sha256(record),
        "verify_url": url,
        "qr_svg": qr_svg(url, size_mm=17),
        "paper": paper,
        "language": "en",
    }
