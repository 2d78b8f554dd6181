"""A program that talks to the API as a person, and holds every answer against the schema the API gives of itself."""

from __future__ import annotations

import itertools
import json
import re
import warnings

import pytest
from django.test import Client
from drf_spectacular.generators import SchemaGenerator
from openapi_schema_validator import OAS30Validator

from records.shop_key import create_shop_key
from shop.api.authentication import token_for
from shop.api.problems import MEDIA_TYPE
from shop.clock import now
from tests import factories

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
    def json(self):
        return json.loads(self.response.content)

    @property
    def rules(self):
        """The rules of a refusal, in order."""
        return [finding["rule"] for finding in self.json["findings"]]


class Program:
    """A client with one person's token. Each write has a key of its own unless the test names one."""

    def __init__(self, spec, person=None):
        self.spec, self.person, self.client = spec, person, Client()
        self.headers = {"Authorization": f"Token {token_for(person)}"} if person else {}

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


@pytest.fixture
def shop_key(settings, tmp_path):
    settings.SHOP_KEY_DIR = tmp_path / "keys"
    return create_shop_key(settings.SHOP_KEY_DIR, shop_name="Test shop", at=now())


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

    def in_review(self, **changed):
        sheet = self.draft(**changed)
        return self.programs["planner"].post(f"sheets/{sheet['id']}/submit/")

    def released(self, **changed):
        sheet = self.in_review(**changed)
        body = {"signature": own(), "seen_sha256": sheet["content_sha256"]}
        return self.programs["approver"].post(f"sheets/{sheet['id']}/release/", body)

    def opened(self, quantity=96, **changed):
        sheet = self.released(**changed)
        body = {"termination": sheet["terminations"][0]["id"], "quantity": quantity}
        return self.programs["operator"].post("batches/", body, status=201)

    def scan(self, batch, code, **more):
        return self.programs["operator"].post(f"batches/{batch['id']}/scan/", {"code": code, **more})

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
                middle = "1.402" if planned["characteristic"] == "crimp height" else planned["low_mm"]
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

    def running(self, **changed):
        batch = self.set_up(**changed)
        sample = self.sample(batch, "first piece", 5)
        self.measure(sample)
        sample = self.conclude(sample)
        if sample["state"] == "waits for inspector":
            self.countersign(sample)
        return self.programs["operator"].get(f"batches/{batch['id']}/")

    def closing(self):
        batch = self.running()
        sample = self.sample(batch, "last piece", 104)
        self.measure(sample)
        self.conclude(sample)
        return self.programs["operator"].get(f"batches/{batch['id']}/")

    def closed(self):
        batch = self.closing()
        counts = {"made": 104, "good": 100, "scrap": 0, "destroyed": 4, "held": 0}
        return self.programs["operator"].post(f"batches/{batch['id']}/close/", counts | {"signature": own()})

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


def every_write(batch, sample, hold, sheet, catalogue):
    """(method, address, body) of every write of the API but tokens, documents and evidence; of the catalogue those of one kind."""
    wire, gauge = f"catalogue/wires/{catalogue.wire.pk}/", f"catalogue/gauges/{catalogue.caliper.pk}/"
    at_batch, at_sheet, at_sample = f"batches/{batch['id']}/", f"sheets/{sheet['id']}/", f"samples/{sample['id']}/"
    counts = {"made": 50, "good": 50, "scrap": 0, "destroyed": 0, "held": 0}
    return [
        ("POST", "catalogue/wires/", {"part_number": "W-9", "size": "1 mm2", "insulation_od_mm": "2"}),
        ("PATCH", wire, {"colour": "pink"}),
        ("PUT", wire, {"part_number": "W-075-RD", "size": "24x0.2", "insulation_od_mm": "1.9"}),
        ("POST", f"{gauge}state/", {"state": "on hold", "reason": "x"}),
        ("POST", "jobs/", JOB | {"number": "J-9002"}),
        ("POST", "sheets/", {"job": "J-9001"}),
        ("POST", f"{at_sheet}terminations/", STATED),
        ("PUT", f"{at_sheet}terminations/{batch['termination']}/", STATED),
        ("DELETE", f"{at_sheet}terminations/{batch['termination']}/", None),
        ("POST", f"{at_sheet}copy/", {"job": "J-9001"}),
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
        ("POST", f"{at_batch}close/", counts | {"signature": own()}),
        ("POST", f"{at_sample}readings/", {"characteristic": "crimp height", "piece": 1, "value": "1.40", "unit": "mm"}),
        ("POST", f"{at_sample}pulls/", {"piece": 1, "value": "100", "unit": "N", "mode": "pulled out"}),
        ("POST", f"{at_sample}visuals/", {"criterion": "visual.right_parts", "accepted": True}),
        ("POST", f"{at_sample}conclude/", {}),
        ("POST", f"{at_sample}countersign/", {"signature": own(), "seen_sha256": "0" * 64}),
        ("POST", f"{at_sample}turn-down/", {"signature": own(), "reason": "x"}),
        ("POST", "harness-lots/", {"number": "HL-9", "job": "J-9001", "quantity": 1, "batches": [], "signature": own()}),
        ("POST", "shipments/", {"number": "SH-9", "customer": "BRUNNEN", "lots": [], "signature": own()}),
    ]
