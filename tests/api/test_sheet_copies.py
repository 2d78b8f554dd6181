"""A sheet copied, arranged, commented on and compared by a program; every answer is held against the schema."""

from __future__ import annotations

from shop.acts.sheets import plan_termination, revise_sheet
from shop.clock import now
from shop.jobs import SetupSheet
from tests import factories


def test_copy_to_another_job(program, cast, catalogue):
    sheet = factories.released(cast, catalogue)
    job = factories.make_job(catalogue.customer, cast.planner, quantity=7)
    made = program(cast.planner).ask("POST", f"sheets/{sheet.pk}/copy/", {"job": job.number})
    assert (made.status, made.json["job"], made.json["status"]) == (201, job.number, "draft")
    assert [t["quantity"] for t in made.json["content"]["terminations"]] == [7]
    assert program(cast.planner).ask("POST", f"sheets/{sheet.pk}/copy/", {"job": "J-0"}).rules == ["data.unknown"]
    assert program(cast.operator).ask("POST", f"sheets/{sheet.pk}/copy/", {"job": job.number}).rules == ["person.role"]
    assert job.sheets.count() == 1


def test_arrange_and_comment(program, cast, catalogue):
    sheet = factories.draft(cast, catalogue, terminations=2)
    planner = program(cast.planner)
    assert planner.ask("POST", f"sheets/{sheet.pk}/arrange/").status == 200
    told = planner.ask("POST", f"sheets/{sheet.pk}/comments/", {"text": "Twist 4 and 5."})
    assert [comment["text"] for comment in told.json["comments"]] == ["Twist 4 and 5."]
    assert planner.ask("POST", f"sheets/{sheet.pk}/comments/", {"text": " "}).rules == ["sheet.comment"]
    assert program(cast.auditor).ask("POST", f"sheets/{sheet.pk}/arrange/").rules == ["person.role"]


def test_changes_against_the_revision_before(program, cast, catalogue):
    first = factories.released(cast, catalogue)
    second = revise_sheet(sheet=first, reason="Drawing D", by=cast.planner, at=now())
    stated = factories.stated(catalogue, quantity=40)
    plan_termination(sheet=second, stated=stated, by=cast.planner, at=now(), termination=second.terminations.get())
    reader = program(cast.auditor)
    change = {"kind": "changed", "termination": "L1 A", "field": "quantity", "old": "100", "new": "40"}
    assert reader.get(f"sheets/{second.pk}/changes/") == {"old": first.pk, "changes": [change]}
    back = reader.get(f"sheets/{first.pk}/changes/?from={second.pk}")
    assert back["changes"] == [change | {"old": "40", "new": "100"}]
    assert reader.get(f"sheets/{first.pk}/changes/") == {"old": None, "changes": []}
    for nowhere in (f"{second.pk}/changes/?from=0", f"{second.pk}/changes/?from=x", "0/changes/"):
        assert reader.ask("GET", f"sheets/{nowhere}").status == 404
    assert SetupSheet.objects.count() == 2
