"""Attachments, retention rules, legal holds and disposal through the API: the same acts as on the pages."""

from __future__ import annotations

import hashlib

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart

from records.acts.keeping import remove_files
from records.models import Attachment
from shop.api.authentication import token_for
from shop.materials import TerminalLot
from tests.api.conftest import keeping_addresses, own

PDF = b"%PDF-1.7\nsupplier certificate\n"


def form(**fields):
    return {"raw": encode_multipart(BOUNDARY, fields), "content_type": MULTIPART_CONTENT}


def upload(name="certificate.pdf", data=PDF):
    return SimpleUploadedFile(name, data)


def test_file_is_attached_listed_fetched_and_withdrawn(programs, catalogue):
    inspector, reel = programs["inspector"], f"attachments/terminal-lots/{catalogue.terminal_lot.pk}/"
    made = inspector.post(reel, status=201, **form(title="Supplier certificate", file=upload()))

    assert (made["title"], made["sha256"], made["withdrawn"], made["disposed_by_act"]) == (
        "Supplier certificate",
        hashlib.sha256(PDF).hexdigest(),
        "",
        "",
    )
    got = programs["auditor"].ask("GET", f"attachments/{made['id']}/file/")
    assert (got.response.content, got.response["X-Content-Type-Options"]) == (PDF, "nosniff")
    assert inspector.refused(f"attachments/{made['id']}/withdraw/", {"reason": "x"}, status=403) == ["person.role"]
    assert programs["quality"].post(f"attachments/{made['id']}/withdraw/", {"reason": "another reel"})["withdrawn"] == "another reel"
    assert [one["withdrawn"] for one in inspector.get(reel)] == ["another reel"]


def test_wrong_file_wrong_role_and_wrong_thing_are_refused(programs, catalogue):
    tool = f"attachments/tools/{catalogue.tool.pk}/"

    assert programs["inspector"].refused(tool, **form(title="x", file=upload("x.exe", b"MZ\x00"))) == ["document.file.kind"]
    assert programs["inspector"].refused(tool, **form(title="", file=upload())) == ["data.required"]
    assert programs["inspector"].refused(tool, **form(title="x")) == ["data.required"]
    assert programs["auditor"].refused(tool, status=403, **form(title="x", file=upload())) == ["person.role"]
    assert programs["inspector"].ask("GET", f"attachments/wires/{catalogue.wire.pk}/").status == 404
    assert not Attachment.objects.exists()


def test_rule_hold_and_disposal(programs, catalogue, time_machine):
    quality, reel = programs["quality"], catalogue.terminal_lot
    TerminalLot.objects.filter(pk=reel.pk).update(state="used up")
    made = quality.post(f"attachments/terminal-lots/{reel.pk}/", status=201, **form(title="Certificate", file=upload()))
    year = int(made["at"][:4])
    stated = {"kind": "material papers", "years": 5, "after": "made", "reason": "contract", "signature": own()}
    rule = quality.post("retention-rules/", stated, status=201)
    assert quality.get("disposals/due/?kind=material+papers")["records"] == []
    assert quality.refused("retention-rules/", stated | {"after": "over"}) == ["keeping.after"]

    time_machine.move_to(f"{year + 6}-02-01T12:00:00Z", tick=False)
    quality.headers = {"Authorization": f"Token {token_for(quality.person)}"}
    due = quality.get("disposals/due/?kind=material+papers")
    assert (due["rule"], [one["record"] for one in due["records"]]) == (rule["rule"], [f"attachment:{made['id']}"])
    days = {"since": f"{year}-01-01", "until": f"{year}-12-31"}
    hold = quality.post("legal-holds/", {"scope": "period", "reason": "claim", "reference": "C-1", "signature": own()} | days, status=201)
    asked = {"kind": "material papers", "records": [f"attachment:{made['id']}"], "rule": due["rule"], "signature": own()}
    assert quality.refused("disposals/", asked) == ["keeping.legal_hold"]
    [held] = quality.get("disposals/due/?kind=material+papers")["records"]
    assert [finding["rule"] for finding in held["forbidden_by"]] == ["keeping.legal_hold"]
    lifted = quality.post(f"legal-holds/{hold['number']}/lift/", {"reason": "settled", "signature": own()})
    assert lifted["lifted_because"] == "settled"

    act = quality.post("disposals/", asked, status=201)

    assert [(file["sha256"], file["size"]) for file in act["files"]] == [(made["sha256"], len(PDF))]
    assert quality.post(f"disposals/{act['number']}/finish/")["finished_at"] is not None
    assert remove_files() == 0
    answer = quality.ask("GET", f"attachments/{made['id']}/file/")
    assert (answer.status, answer.rules) == (410, ["file.disposed"])
    assert quality.get(f"attachments/terminal-lots/{reel.pk}/")[0]["disposed_by_act"] == act["number"]


def test_certificate_of_a_disposal(programs, catalogue, shop_key):
    act = keeping_addresses()[2]

    document = programs["auditor"].post(f"{act}certificate/", status=201)

    assert (document["kind"], document["number"]) == ("disposal", "DC-DP-0001")
