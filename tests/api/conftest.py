"""A program that talks to the API as a person, and holds every answer against the schema the API gives of itself."""

from __future__ import annotations

import itertools
import json
import re
import warnings
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from django.test import Client
from drf_spectacular.generators import SchemaGenerator
from openapi_schema_validator import OAS30Validator

from inspection.acts.acceptance import (
    INSPECTED_MEANING,
    LotInput,
    SchemeInput,
    inspect_lot,
    open_scheme,
    plan_of,
    plan_sha256,
)
from inspection.acts.studies import open_study
from inspection.control import ControlLimits
from inspection.models import CorrectiveAction, Nonconformance, SamplingScheme, Study
from inspection.process.chart import ChartLimits, Kind
from inspection.sampling.switching import State
from records.acts.attachments import attach
from records.attachables import thing_of
from records.keeping_models import Attachment, Disposal, LegalHold, RetentionRule
from records.models import Containment, HarnessLot, IssuedDocument, Shipment, Suspect
from shop.acts.tablets import offer_tablet
from shop.api.authentication import token_for
from shop.api.problems import MEDIA_TYPE
from shop.clock import now
from shop.jobs import Customer, Job
from shop.materials import Terminal, TerminalLot
from shop.people import Person, PersonRole
from shop.rechecks import PartsList
from shop.sign_on import sign
from shop.stations import Station
from shop.tools import Gauge, Tool
from tests import factories
from tests.remembered import remembered

ROOT = "/api/v1/"

_keys = itertools.count(1)


@pytest.fixture(scope="session")
def spec():
    """The schema as `manage.py spectacular` writes it. A warning of the generator goes to stderr and is looked for elsewhere."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        return json.loads(json.dumps(SchemaGenerator().get_schema(request=None, public=True), default=str))


class Answer:
    def __init__(self, response):
        self.response = response
        self.status = response.status_code
        self.media_type = response.headers.get("Content-Type", "").partition(";")[0]

    @property
    def text(self):
        """All of it, read to the end where it is streamed, so that its file is closed."""
        return b"".join(self.response).decode(errors="replace")

    @property
    def json(self):
        return json.loads(self.response.content)

    @property
    def rules(self):
        """The rules of a refusal, in order."""
        return [finding["rule"] for finding in self.json["findings"]]


@remembered
def token_of(person):
    return str(token_for(person))


class Program:
    """A client with one person's token. Each write has a key of its own unless the test names one."""

    def __init__(self, spec, person=None):
        self.spec, self.person, self.client = spec, person, Client()
        self.headers = {"Authorization": f"Token {token_of(person)}"} if person else {}

    def ask(self, method, address, body=None, *, key=None, raw=None, content_type="application/json", in_schema=True, **headers):
        """Send a request and check the answer against the schema. body: sent as JSON; raw: sent as it is."""
        if method != "GET":
            headers.setdefault("Idempotency-Key", key or f"key-{next(_keys)}")
        data = raw if raw is not None else json.dumps({} if body is None else body)
        given = {name: value for name, value in (self.headers | headers).items() if value is not None}
        options = {} if method == "GET" else {"data": data, "content_type": content_type}
        answer = Answer(self.client.generic(method, ROOT + address, headers=given, **options))
        if in_schema:
            self.check(method, address, answer)
        return answer

    def get(self, address, **options):
        answer = self.ask("GET", address, **options)
        assert answer.status == 200, answer.response.content
        return answer.json

    def post(self, address, body=None, *, status=None, **options):
        answer = self.ask("POST", address, body, **options)
        assert answer.status in ((status,) if status else (200, 201)), answer.response.content
        return answer.json

    def refused(self, address, body=None, *, method="POST", status=422, **options):
        """The rules of a refusal with this status."""
        answer = self.ask(method, address, body, **options)
        assert (answer.status, answer.media_type) == (status, MEDIA_TYPE), answer.response.content
        return answer.rules

    def check(self, method, address, answer):
        operation = operation_for(self.spec, method, address)
        if operation is None:
            return
        described = operation["responses"].get(str(answer.status))
        assert described is not None, f"{method} {address} answers {answer.status}, which the schema does not name"
        if "content" not in described:
            assert answer.response.content == b""
            return
        assert answer.media_type in described["content"], f"{method} {address}: {answer.media_type}"
        schema = described["content"][answer.media_type]["schema"]
        if answer.media_type.endswith("json"):
            OAS30Validator(schema | {"components": self.spec["components"]}).validate(answer.json)


def template_for(spec, address):
    """The path of the schema that an address belongs to; the one with the fewest variables where several match."""
    path = ROOT + address.partition("?")[0]
    for template in sorted(spec["paths"], key=lambda one: one.count("{")):
        if re.fullmatch(re.sub(r"\{[^}]+\}", "[^/]+", template), path):
            return template
    return ""


def operation_for(spec, method, address):
    return spec["paths"].get(template_for(spec, address), {}).get(method.lower())


@pytest.fixture
def program(spec, db):
    """Makes a client for a person of the cast, or for nobody."""
    return lambda person=None: Program(spec, person)


@pytest.fixture
def programs(spec, cast):
    """A client for each person of the cast, by name."""
    return {name: Program(spec, getattr(cast, name)) for name in cast.__dataclass_fields__}


def own(secret=factories.PIN):
    """A signature by the caller."""
    return {"secret": secret}


CODES = ("AP-031", "TL-2001", "WL-1001", "MIC-01", "CAL-01", "PULL-01")

STATED = {
    "lead": "L1",
    "end": "A",
    "circuit": "P+",
    "wires": ["W-075-RD"],
    "terminal": "T-250-F",
    "tool": "AP-031",
    "quantity": 100,
    "wire_length_mm": "450",
    "inspector_signs": True,
}

JOB = {
    "number": "J-9001",
    "customer": "BRUNNEN",
    "part_number": "H-5501",
    "part_name": "Pump harness",
    "drawing": "D-5501",
    "drawing_revision": "C",
    "quantity": 100,
    "due_on": None,
}


class Shop:
    """The steps of the main job through the API, each with what a test wants to change."""

    def __init__(self, programs):
        self.programs = programs

    def draft(self, **changed):
        planner = self.programs["planner"]
        planner.post("jobs/", JOB, status=201)
        sheet = planner.post("sheets/", {"job": "J-9001"}, status=201)
        return planner.post(f"sheets/{sheet['id']}/terminations/", STATED | changed, status=201)

    @remembered
    def in_review(self, **changed):
        sheet = self.draft(**changed)
        return self.programs["planner"].post(f"sheets/{sheet['id']}/submit/")

    @remembered
    def released(self, **changed):
        sheet = self.in_review(**changed)
        body = {"signature": own(), "seen_sha256": sheet["content_sha256"]}
        return self.programs["approver"].post(f"sheets/{sheet['id']}/release/", body)

    @remembered
    def opened(self, quantity=96, **changed):
        sheet = self.released(**changed)
        body = {"termination": sheet["terminations"][0]["id"], "quantity": quantity}
        return self.programs["operator"].post("batches/", body, status=201)

    def scan(self, batch, code, **more):
        return self.programs["operator"].post(f"batches/{batch['id']}/scan/", {"code": code, **more})

    @remembered
    def set_up(self, **changed):
        batch = self.opened(**changed)
        for code in CODES:
            answer = self.scan(batch, code)
            assert answer["accepted"], answer
        return answer["batch"]

    def sample(self, batch, kind, at_count):
        return self.programs["operator"].post(f"batches/{batch['id']}/samples/", {"kind": kind, "at_count": at_count}, status=201)

    def measure(self, sample, **heights):
        """Fill a sample with values that conform. heights: piece -> crimp height, such as p1="1.50"."""
        operator, address, plan = self.programs["operator"], f"samples/{sample['id']}/", sample["plan"]
        for planned in plan["readings"]:
            for piece in range(1, planned["pieces"] + 1):
                middle = "1.402" if planned["characteristic"] == "crimp height" else planned["low"]
                value = heights.get(f"p{piece}", middle) if planned["characteristic"] == "crimp height" else middle
                reading = {"characteristic": planned["characteristic"], "piece": piece, "value": value, "unit": "mm"}
                operator.post(f"{address}readings/", reading, status=201)
        for piece in range(1, plan["pulls"] + 1):
            pull = {"piece": piece, "value": "131.5", "unit": "N", "mode": "wire broke at crimp"}
            operator.post(f"{address}pulls/", pull, status=201)
        for criterion in plan["criteria"]:
            operator.post(f"{address}visuals/", {"criterion": criterion["code"], "accepted": True}, status=201)
        return operator.get(address)

    def conclude(self, sample, *, signature=True):
        seen = self.programs["operator"].get(f"samples/{sample['id']}/")
        body = {"signature": own(), "seen_sha256": seen["content_sha256"]} if signature else {}
        return self.programs["operator"].post(f"samples/{sample['id']}/conclude/", body)

    def countersign(self, sample):
        body = {"signature": own(), "seen_sha256": sample["content_sha256"]}
        return self.programs["inspector"].post(f"samples/{sample['id']}/countersign/", body)

    @remembered
    def running(self, **changed):
        batch = self.set_up(**changed)
        sample = self.sample(batch, "first piece", 5)
        self.measure(sample)
        sample = self.conclude(sample)
        if sample["state"] == "waits for inspector":
            self.countersign(sample)
        return self.programs["operator"].get(f"batches/{batch['id']}/")

    @remembered
    def closing(self):
        batch = self.running()
        sample = self.sample(batch, "last piece", 104)
        self.measure(sample)
        self.conclude(sample)
        return self.programs["operator"].get(f"batches/{batch['id']}/")

    @remembered
    def closed(self):
        batch = self.closing()
        counts = {"made": 104, "good": 100, "scrap": 0, "destroyed": 4, "held": 0}
        return self.programs["operator"].post(f"batches/{batch['id']}/close/", counts | {"signature": own()})

    @remembered
    def built(self):
        batch = self.closed()
        body = {
            "number": "HL-1",
            "job": "J-9001",
            "quantity": 100,
            "batches": [{"batch": batch["number"], "quantity": 100}],
            "signature": own(),
        }
        return self.programs["planner"].post("harness-lots/", body, status=201)

    @remembered
    def shipped(self):
        lot = self.built()
        body = {
            "number": "SH-1",
            "customer": "BRUNNEN",
            "delivery_note": "DN-77",
            "lots": [{"lot": lot["number"], "quantity": 60}],
            "signature": own(),
        }
        return self.programs["quality"].post("shipments/", body, status=201)


@pytest.fixture
def shop(programs, catalogue):
    return Shop(programs)


DECISION = {"decision": "end the batch here", "reason": "x", "scrapped": 0, "kept_held": 0}


STUDY = {"kind": "bias", "title": "Micrometer 1", "gauge": "MIC-01", "set_up": {"reference": "6.0", "readings": "15"}}


STREAM = {"tool": "AP-031", "terminal": "T-250-F", "csa_mm2": "0.754", "characteristic": "crimp height"}


def limits_address():
    """Of control limits in force, put there where there are none."""
    limits = ControlLimits.objects.first() or ControlLimits.objects.create(
        tool=Tool.objects.get(asset_number="AP-031"),
        characteristic="crimp height",
        chart="individuals",
        limits=ChartLimits(Kind.INDIVIDUALS, 0.0, 0.01).as_text(),
        rules=["nelson.1 1/1"],
        basis={"samples": 25},
        reason="quiet",
        frozen_by=Person.objects.get(username="quality"),
        frozen_at=now(),
    )
    return f"charts/limits/{limits.pk}/"


def study_address():
    """Of the newest study, opened where there is none."""
    study = Study.objects.first() or open_study(
        kind="bias",
        title="Micrometer 1",
        set_up=STUDY["set_up"],
        gauge=Gauge.objects.get(asset_number="MIC-01"),
        by=Person.objects.get(username="quality"),
        at=now(),
    )
    return f"studies/{study.number}/"


SCHEME = {
    "name": "Reels",
    "thing": "terminal lots",
    "terminal": "T-250-F",
    "criterion": "burr",
    "basis": "table",
    "level": "II",
    "aql": "1.0",
    "reason": "contract",
}


def scheme_address():
    """Of the newest sampling scheme, with one lot inspected; opened where there is none."""
    person, at = Person.objects.get(username="quality"), now()
    scheme = SamplingScheme.objects.last()
    if scheme is None:
        stated = SchemeInput(**{k: v for k, v in SCHEME.items() if k not in ("terminal", "aql")}, aql=Decimal("1.0"))
        stated = replace(stated, terminal=Terminal.objects.get(part_number="T-250-F"))
        scheme = open_scheme(stated=stated, by=person, at=at)
        lot = TerminalLot.objects.get(lot_number="TL-2001")
        signing = sign(identifier="quality", secret=factories.PIN, meaning=INSPECTED_MEANING, at=at)
        seen = plan_sha256(scheme, lot, 1000, plan_of(scheme, 1000, State.NORMAL))
        inspect_lot(scheme=scheme, lot=lot, stated=LotInput(1000, 0), by=person, at=at, signing=signing, seen_sha256=seen)
    return f"sampling-schemes/{scheme.number}/"


def document_address():
    """Of an issued document that nobody has signed."""
    person = Person.objects.get(username="quality")
    fields = {"title": "x", "subject_kind": "batch", "subject_id": 1, "record": "{}", "record_sha256": "0" * 64, "size": 1}
    IssuedDocument.objects.get_or_create(
        number="FA-9", issue=1, kind="first article", sha256="1" * 64, issued_by=person, defaults=fields | {"issued_at": now()}
    )
    return "documents/FA-9/1/"


STAND_IN = {"deputy": "inspector", "role": "quality", "since": "2099-01-01", "until": "2099-01-31", "reason": "leave"}


def stand_in_address():
    """Of somebody who stands in for quality."""
    person, deputy, day = Person.objects.get(username="quality"), Person.objects.get(username="planner"), date(2099, 1, 1)
    row, _made = PersonRole.objects.get_or_create(person=deputy, role="quality", stands_in_for=person, since=day, until=day)
    return f"people/quality/stand-ins/{row.pk}/"


def certificate_address():
    """Of a shipment, sent where there is none: an empty one, which is enough to be refused for the role."""
    sent = Shipment.objects.first() or Shipment.objects.create(
        number="SH-0", customer=Customer.objects.first(), shipped_at=now(), shipped_by=Person.objects.get(username="quality")
    )
    return f"shipments/{sent.number}/certificate/"


def a_lot():
    """A harness lot, put there where there is none: an empty one, which is enough to be refused for the role."""
    person = Person.objects.get(username="quality")
    return HarnessLot.objects.first() or HarnessLot.objects.create(
        number="HL-0", job=Job.objects.first(), quantity=1, built_at=now(), built_by=person
    )


def lot_writes():
    """What happens to lots after they were built."""
    lot, signature = a_lot(), own()
    sent = certificate_address().split("/")[1]
    at_lot, part = f"harness-lots/{lot.number}/", {"number": "HL-9", "quantity": 1, "reason": "x", "signature": signature}
    return [
        ("POST", f"{at_lot}split/", {"parts": [{"number": "HL-9", "quantity": 1}], "signature": signature}),
        ("POST", "harness-lots/merge/", {"number": "HL-9", "lots": [{"lot": lot.number, "quantity": 1}], "signature": signature}),
        ("POST", f"{at_lot}rework/", part),
        ("POST", f"{at_lot}release/", {"reason": "x", "signature": signature}),
        ("POST", f"{at_lot}scrap/", {"quantity": 1, "reason": "x", "signature": signature}),
        ("POST", f"shipments/{sent}/returns/", part | {"lot": lot.number}),
    ]


def a_case():
    """A containment case with one suspect, put there where there is none."""
    person = Person.objects.get(username="quality")
    case = Containment.objects.first() or Containment.objects.create(
        number="CC-0001", question="tool", subject_id=1, subject_name="AP-031", reason="x", opened_by=person, opened_at=now()
    )
    suspect = case.suspects.first() or Suspect.objects.create(case=case, place="lot in stock", lot=a_lot(), quantity=1)
    return case, suspect


def case_writes():
    """Opening, working through and closing a containment case."""
    case, suspect = a_case()
    question = {"question": "tool", "subject": "AP-031", "reason": "x", "shown": 1}
    decision = {"kind": "found good", "quantity": 1, "note": "x"}
    return [
        ("POST", "containment/", question | {"signature": own()}),
        ("POST", f"containment/{case.number}/suspects/{suspect.pk}/decisions/", decision | {"signature": own()}),
        ("POST", f"containment/{case.number}/closure/", {"conclusion": "x", "signature": own()}),
    ]


def keeping_addresses():
    """Of an attachment, a legal hold and a disposal, put there where there is none."""
    person = Person.objects.get(username="quality")
    tool = Tool.objects.first()
    row = Attachment.objects.first()
    if row is None:
        row = attach(thing=thing_of(tool), title="x", name="x.txt", data=b"a paper", by=person, at=now())
    rule = RetentionRule.objects.first() or RetentionRule.objects.create(
        kind="audit trails", years=5, after="made", reason="x", by=person, at=now()
    )
    hold, _made = LegalHold.objects.get_or_create(
        number="LH-0001",
        defaults={"scope": "job", "name": "J-1", "reason": "x", "reference": "x", "placed_by": person, "placed_at": now()},
    )
    act, _made = Disposal.objects.get_or_create(number="DP-0001", defaults={"kind": rule.kind, "rule": rule, "by": person, "at": now()})
    return f"attachments/{row.pk}/", f"legal-holds/{hold.number}/", f"disposals/{act.number}/"


def keeping_writes():
    attachment, hold, act = keeping_addresses()
    signature = {"signature": own()}
    return [
        ("POST", f"{attachment}withdraw/", {"reason": "x"}),
        ("POST", "retention-rules/", {"kind": "audit trails", "years": 5, "after": "made", "reason": "x"} | signature),
        ("POST", "legal-holds/", {"scope": "customer", "name": "BRUNNEN", "reason": "x", "reference": "x"} | signature),
        ("POST", f"{hold}lift/", {"reason": "x"} | signature),
        ("POST", "disposals/", {"kind": "audit trails", "records": ["document:1"], "rule": "R-0001"} | signature),
        ("POST", f"{act}finish/", {}),
    ]


NONCONFORMANCE = {"what": "x", "requirement": "x", "defect_kind": "visual.seam"}


def a_nonconformance():
    """One with an open action, put there where there is none."""
    person = Person.objects.get(username="quality")
    fields = {"origin": "seen", "found_at": "final", "opened_by": person, "opened_at": now()}
    record = Nonconformance.objects.first() or Nonconformance.objects.create(number="NC-26-0001", **NONCONFORMANCE, **fields)
    action = {"kind": "spread", "what": "x", "responsible": person, "due_on": date(2099, 1, 1), "stated_by": person, "stated_at": now()}
    CorrectiveAction.objects.get_or_create(nonconformance=record, number=1, defaults=action)
    return record


def nonconformance_writes():
    """Each step of a nonconformance."""
    at = f"nonconformances/{a_nonconformance().number}/"
    action = {"kind": "spread", "what": "x", "responsible": "quality", "due_on": "2099-01-01"}
    return [
        ("POST", "nonconformances/", NONCONFORMANCE),
        ("POST", f"{at}links/", {"points_at": [{"kind": "harness lot", "number": a_lot().number}]}),
        ("POST", f"{at}causes/", {"parts": ["tool"], "occurred": "x", "undetected": "x"}),
        ("POST", f"{at}actions/", action),
        ("POST", f"{at}actions/1/end/", {"result": "done", "evidence": "x"}),
        ("POST", f"{at}measures/", {"kind": "text", "text": "x"}),
        ("POST", f"{at}verification/", {"text": "x", "signature": own()}),
        ("POST", f"{at}closure/", {"conclusion": "x", "signature": own()}),
        ("POST", f"{at}reopening/", {"reason": "x"}),
    ]


def every_write(batch, sample, hold, sheet, catalogue):
    """(method, address, body) of every write of the API but tokens, documents and evidence; of the catalogue those of one kind."""
    wire, gauge = f"catalogue/wires/{catalogue.wire.pk}/", f"catalogue/gauges/{catalogue.caliper.pk}/"
    at_batch, at_sheet, at_sample = f"batches/{batch['id']}/", f"sheets/{sheet['id']}/", f"samples/{sample['id']}/"
    press = factories.make_press("PR-78")
    job = Job.objects.get(sheets=sheet["id"])
    parts = PartsList.objects.create(
        job=job, file_name="x.csv", sha256="0" * 64, header=["lead"], rows=[], by_id=job.sheets.first().author_id, at=now()
    )
    counts = {"made": 50, "good": 50, "scrap": 0, "destroyed": 0, "held": 0}
    station = Station.objects.get(code="S-01")
    enroller = Person.objects.get(username="administrator")
    tablet = offer_tablet(name="T-78", station=station, by=enroller, at=now()).tablet
    return [
        ("POST", "tablets/", {"name": "T-79", "station": "S-01"}),
        ("POST", f"tablets/{tablet.pk}/move/", {"station": "S-01", "reason": "swap"}),
        ("POST", f"tablets/{tablet.pk}/revoke/", {"reason": "lost"}),
        ("POST", "catalogue/wires/", {"part_number": "W-9", "size": "1 mm2", "insulation_od_mm": "2"}),
        ("PATCH", wire, {"colour": "pink"}),
        ("PUT", wire, {"part_number": "W-075-RD", "size": "24x0.2", "insulation_od_mm": "1.9"}),
        ("POST", f"{gauge}state/", {"state": "on hold", "reason": "x"}),
        ("POST", f"catalogue/presses/{press.pk}/shut-height/", {"measured_mm": "135.8", "gauge": "CAL-01", "due_on": "2099-01-01"}),
        ("POST", "jobs/", JOB | {"number": "J-9002"}),
        ("PUT", f"parts-lists/{parts.pk}/mapping/", {"mapping": {"lead": 0}}),
        ("POST", f"parts-lists/{parts.pk}/corrections/", {"row": 0, "changes": {"wire": "W-9"}}),
        ("POST", f"parts-lists/{parts.pk}/sheet/", {}),
        ("POST", "sheets/", {"job": job.number}),
        ("POST", f"{at_sheet}terminations/", STATED),
        ("PUT", f"{at_sheet}terminations/{batch['termination']}/", STATED),
        ("DELETE", f"{at_sheet}terminations/{batch['termination']}/", None),
        ("PUT", f"{at_sheet}terminations/{batch['termination']}/inspection/", {"lines": []}),
        ("POST", f"{at_sheet}copy/", {"job": job.number}),
        ("POST", f"{at_sheet}arrange/", {}),
        ("POST", f"{at_sheet}comments/", {"text": "x"}),
        ("POST", f"{at_sheet}submit/", {}),
        ("POST", f"{at_sheet}return/", {"comment": "x"}),
        ("POST", f"{at_sheet}release/", {"signature": own(), "seen_sha256": "0" * 64}),
        ("POST", f"{at_sheet}revise/", {"reason": "x"}),
        ("POST", f"{at_sheet}withdraw/", {"signature": own(), "reason": "x"}),
        ("POST", "batches/", {"termination": batch["termination"], "quantity": 1}),
        ("POST", f"{at_batch}scan/", {"code": "AP-031"}),
        ("POST", f"{at_batch}samples/", {"kind": "in process", "at_count": 60}),
        ("POST", f"{at_batch}hold/", {"reason": "x", "at_count": 60}),
        ("POST", f"holds/{hold['id']}/decide/", DECISION | {"signature": own()}),
        ("POST", f"{at_batch}dispositions/", {"kind": "scrap", "quantity": 1, "note": "x", "signature": own()}),
        ("POST", f"{at_batch}close/", counts | {"signature": own()}),
        ("POST", f"{at_sample}readings/", {"characteristic": "crimp height", "piece": 1, "value": "1.40", "unit": "mm"}),
        ("POST", f"{at_sample}pulls/", {"piece": 1, "value": "100", "unit": "N", "mode": "pulled out"}),
        ("POST", f"{at_sample}visuals/", {"criterion": "visual.right_parts", "accepted": True}),
        ("POST", f"{at_sample}conclude/", {}),
        ("POST", f"{at_sample}countersign/", {"signature": own(), "seen_sha256": "0" * 64}),
        ("POST", f"{at_sample}turn-down/", {"signature": own(), "reason": "x"}),
        ("POST", "harness-lots/", {"number": "HL-9", "job": job.number, "quantity": 1, "batches": [], "signature": own()}),
        ("POST", "shipments/", {"number": "SH-9", "customer": "BRUNNEN", "lots": [], "signature": own()}),
        *lot_writes(),
        *case_writes(),
        *nonconformance_writes(),
        *keeping_writes(),
        ("POST", "ledger/checkpoints/", None),
        ("POST", certificate_address(), {"signature": own(), "seen_sha256": "0" * 64}),
        ("POST", "charts/limits/", STREAM | {"chart": "individuals", "reason": "x", "signature": own(), "seen_sha256": "0" * 64}),
        ("POST", f"{limits_address()}end/", {"reason": "x", "signature": own()}),
        ("POST", "charts/reactions/", {"signals": [1], "cause": "setting", "text": "x"}),
        ("POST", "studies/", STUDY),
        ("POST", f"{study_address()}values/", {"values": [{"place": "1", "value": "6.0"}]}),
        ("POST", f"{study_address()}take-over/", {}),
        ("POST", f"{study_address()}sign/", {"conclusion": "x", "signature": own(), "seen_sha256": "0" * 64}),
        ("POST", f"{study_address()}abandon/", {"reason": "x"}),
        ("POST", f"{document_address()}signatures/", {"meaning": "approved", "seen_sha256": "0" * 64, "signature": own()}),
        ("POST", "people/quality/stand-ins/", STAND_IN | {"signature": own()}),
        ("POST", f"{stand_in_address()}end/", {"reason": "back"}),
        ("POST", "sampling-schemes/", SCHEME),
        ("POST", f"{scheme_address()}lots/", {"lot": "TL-2001", "lot_size": 1000, "found": 0, "signature": own(), "seen_sha256": "0" * 64}),
        ("POST", f"{scheme_address()}lots/1/release/", {}),
        ("POST", f"{scheme_address()}end/", {"reason": "x"}),
    ]
