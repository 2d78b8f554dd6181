"""A nonconformance from a hold to its closing through the API, with the same refusals as the pages."""

from __future__ import annotations

from records.models import IssuedDocument
from tests import factories
from tests.api.conftest import own

STATED = {"what": "height 1.47", "requirement": "CS-250", "defect_kind": "limits.crimp height", "tool": "AP-031"}


def opened(program, **changed):
    return program.post("nonconformances/", STATED | changed, status=201)["record"]["number"]


def test_worked_through_from_a_hold_to_the_end(shop, programs, shop_key):
    batch = shop.running()
    hold = programs["operator"].post(f"batches/{batch['id']}/hold/", {"reason": "burr", "at_count": 50})
    quality = programs["quality"]
    number = opened(quality, points_at=[{"kind": "hold", "number": str(hold["id"])}], batch=batch["number"])
    at = f"nonconformances/{number}/"
    assert quality.refused(f"{at}closure/", {"conclusion": "x", "signature": own()}) == [
        "nc.close.cause",
        "nc.close.actions",
        "nc.close.measure",
        "nc.close.hold",
    ]

    quality.post(f"{at}causes/", {"parts": ["tool"], "occurred": "fouled", "undetected": "no look", "because": ["no card"]})
    action = {"kind": "occurrence", "what": "clean", "responsible": "operator", "due_on": factories.days(3).isoformat()}
    assert quality.post(f"{at}actions/", action, status=201)["number"] == 1
    quality.post(f"{at}measures/", {"kind": "text", "text": "no complaint"})
    assert programs["operator"].post(f"{at}actions/1/end/", {"result": "done", "evidence": "card"})["result"] == "done"
    programs["inspector"].post(f"{at}verification/", {"text": "asked", "worked": True, "signature": own()})
    quality.post(
        f"holds/{hold['id']}/decide/", {"decision": "end the batch here", "reason": "x", "scrapped": 0, "kept_held": 0, "signature": own()}
    )
    whole = quality.post(f"{at}closure/", {"conclusion": "gone", "signature": own()})

    assert (whole["state"], whole["record"]["proofs"][0]["result"]) == ("closed", "it worked")
    assert [one["of"] for one in whole["record"]["corrections"]] == [batch["number"]]
    assert quality.post(f"{at}reopening/", {"reason": "came back"})["state"] == "open"
    document = quality.post(f"{at}report/", status=201)
    assert document["number"] == f"NR-{number}"
    assert IssuedDocument.objects.count() == 1


def test_same_key_opens_one(programs, catalogue):
    first = programs["quality"].post("nonconformances/", STATED, key="once")
    again = programs["quality"].post("nonconformances/", STATED, key="once")

    assert first["record"]["number"] == again["record"]["number"]
    assert programs["quality"].get("nonconformances/")["count"] == 1


def test_lists_ask_like_the_page(programs, catalogue):
    quality = programs["quality"]
    number = opened(quality)
    assert [one["number"] for one in quality.get("nonconformances/?q=AP-031")["results"]] == [number]
    assert quality.get("nonconformances/?state=closed")["results"] == []
    same = quality.get("nonconformances/same/?kind=limits.crimp%20height&tool=AP-031")
    assert [(one["number"], one["at"], one["word"]) for one in same] == [(number, "tool AP-031", "open")]
    assert quality.get("nonconformances/same/?kind=visual.seam&tool=AP-031") == []
    assert [one["nonconformances"] for one in quality.get("defects/recurring/?by=tool")["results"]] == [[number]]


def test_person_is_shown_to_quality_alone(programs, catalogue):
    number = opened(programs["quality"], person="operator")

    assert programs["quality"].get(f"nonconformances/{number}/")["person"] == "operator"
    assert programs["auditor"].get(f"nonconformances/{number}/")["person"] == ""
    assert programs["auditor"].refused("defects/recurring/?by=person", method="GET", status=403) == ["person.role"]
    assert programs["administrator"].get("defects/recurring/?by=person")["results"][0]["name"] == "operator"
    kind = "limits.crimp%20height"
    assert programs["auditor"].get(f"nonconformances/same/?kind={kind}&person=operator") == []
    assert len(programs["quality"].get(f"nonconformances/same/?kind={kind}&person=operator")) == 1


def test_what_is_not_there_is_said(programs, catalogue):
    quality = programs["quality"]

    assert quality.refused("nonconformances/", STATED | {"tool": "AP-000"}) == ["data.unknown"]
    assert quality.refused("nonconformances/", STATED | {"points_at": [{"kind": "hold", "number": "7"}]}) == ["nc.link"]
    assert quality.refused("nonconformances/", STATED | {"points_at": [{"kind": "shipment", "number": "SH-0"}]}) == ["nc.link"]
    assert quality.refused("nonconformances/NC-00-0000/causes/", {"parts": [], "occurred": "", "undetected": ""}, status=404)
