"""The tool crib's acts and withdrawing through the API: the same acts as on the pages."""

from __future__ import annotations

from django.core.files.uploadedfile import SimpleUploadedFile

from shop.crib import ToolCare, WearPart
from tests import factories
from tests.factories import days, today


def test_tool_is_looked_after_through_the_api(programs, catalogue):
    quality, tool = programs["quality"], f"catalogue/tools/{catalogue.tool.pk}/"
    plan = {"verification_every_crimps": 20000, "verification_every_days": 90}
    assert quality.ask("PATCH", tool, plan).status == 200

    assert quality.post(f"{tool}counter/", {"count": 1200})["crimp_count"] == 1200
    quality.post(f"{tool}wear-part/", {"kind": "anvil", "part_number": "AN-12", "life_crimps": 90000, "at_count": 1000})
    shown = quality.post(f"{tool}care/", {"kind": "verification", "result": "passed", "note": "heights in limits"})

    assert (shown["verification_due_count"], shown["verification_due_on"]) == (21200, str(days(90)))
    assert WearPart.objects.get().crimps == 200


def test_refusals_name_rule_and_field(programs, catalogue):
    tool = f"catalogue/tools/{catalogue.tool.pk}/"
    assert programs["quality"].refused(f"{tool}counter/", {"count": -1}) == ["data.invalid"]
    assert programs["quality"].refused(f"{tool}care/", {"kind": "polish", "result": "passed"}) == ["data.invalid", "data.required"]
    assert programs["quality"].refused(f"{tool}care/", {"kind": "service", "result": "passed", "note": "x"}) == ["crib.care.plan"]
    assert programs["operator"].refused(f"{tool}counter/", {"count": 5}, status=403) == ["person.role"]
    assert programs["planner"].refused(f"{tool}", {"crimp_count": 7}, method="PATCH") == ["data.invalid"]
    assert not ToolCare.objects.exists()


def test_document_is_withdrawn_by_who_knows_what_relies_on_it(programs, cast, catalogue):
    factories.released(cast, catalogue)
    planner, document = programs["planner"], f"catalogue/documents/{catalogue.document.pk}/"

    assert planner.refused(document, {"withdrawn_on": str(today())}, method="PATCH") == ["data.invalid"]
    assert planner.refused(f"{document}withdraw/", {"reason": "new revision", "knowing": 1}) == ["document.relied_on"]
    ended = planner.post(f"{document}withdraw/", {"reason": "new revision", "knowing": 2})

    assert ended["withdrawn_on"] == str(today())
    specification = f"catalogue/specifications/{catalogue.specification.pk}/"
    assert planner.post(f"{specification}withdraw/", {"reason": "new revision", "knowing": 1})["withdrawn_on"] == str(today())


def test_file_is_attached_once(programs, catalogue):
    asking, address = programs["planner"], f"/api/v1/catalogue/documents/{catalogue.document.pk}/file/"

    def send():
        file = SimpleUploadedFile("AS-250.pdf", b"%PDF-1.7 ...", content_type="application/pdf")
        return asking.client.post(address, {"file": file}, headers=asking.headers)

    assert send().status_code == 200
    again = send()
    assert (again.status_code, [finding["rule"] for finding in again.json()["findings"]]) == (422, ["document.file.set"])
    catalogue.document.refresh_from_db()
    assert (catalogue.document.file_name, catalogue.document.file_size) == ("AS-250.pdf", 12)
    assert asking.client.post(address, {}, headers=asking.headers).status_code == 422
