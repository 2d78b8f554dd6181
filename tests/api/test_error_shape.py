"""Every way in which a request can fail ends in the same shape: problem details with findings."""

from __future__ import annotations

from decimal import InvalidOperation

import pytest
from django.core.exceptions import ImproperlyConfigured, PermissionDenied, SuspiciousOperation, ValidationError
from django.db import DataError, IntegrityError, OperationalError
from django.http import Http404
from django.test import Client
from rest_framework import exceptions

from shop.api import jobs
from shop.api.problems import MEDIA_TYPE
from shop.finding import Finding, Refused, Verdict, misfit
from shop.wording import RULES
from tests import factories
from tests.api.conftest import JOB, ROOT, Answer

MEMBERS = {"type", "title", "status", "detail", "instance", "findings"}
OF_A_FINDING = {"rule", "verdict", "field", "title", "what", "expected", "next_step", "compared"}


def assert_problem(answer, status, rule):
    body = answer.json
    assert (answer.status, answer.media_type, body["status"]) == (status, MEDIA_TYPE, status)
    assert set(body) - {"rows"} == MEMBERS
    assert [set(finding) for finding in body["findings"]] == [OF_A_FINDING] * len(body["findings"])
    assert body["findings"][0]["rule"] == rule
    assert body["type"] == f"/help/rules/#{rule}"
    assert all(finding["rule"] in RULES for finding in body["findings"])
    assert "" not in (body["title"], body["detail"])
    assert "{" not in body["detail"]
    assert all(isinstance(value, str) for finding in body["findings"] for value in finding["compared"].values())


REQUESTS = {
    "nobody is signed in": ("GET", "jobs/", {"Authorization": None}, None, 401, "api.signed_in"),
    "a token nobody has": ("GET", "jobs/", {"Authorization": "Token 0123"}, None, 401, "api.signed_in"),
    "a header that is no token": ("GET", "jobs/", {"Authorization": "Token"}, None, 401, "api.signed_in"),
    "an address that is none": ("GET", "presses/", {}, None, 404, "api.not_found"),
    "an address without its slash": ("POST", "jobs", {}, "{}", 404, "api.not_found"),
    "an address with a zero byte": ("GET", "trace/lot/A%00/", {}, None, 404, "api.not_found"),
    "a thing that is none": ("GET", "jobs/4711/", {}, None, 404, "api.not_found"),
    "a key beyond any column": ("GET", "jobs/99999999999999999999999/", {}, None, 404, "api.not_found"),
    "a method that does not belong": ("DELETE", "jobs/", {}, None, 405, "api.method"),
    "a format nobody makes": ("GET", "jobs/", {"Accept": "text/csv"}, None, 406, "api.accept"),
    "a format nobody reads": ("POST", "jobs/", {"content_type": "text/plain"}, "number=1", 415, "api.media_type"),
    "a form": ("POST", "jobs/", {"content_type": "application/x-www-form-urlencoded"}, "number=1", 415, "api.media_type"),
    "half a JSON": ("POST", "jobs/", {}, '{"number": ', 400, "api.body"),
    "not a number in JSON": ("POST", "jobs/", {}, '{"quantity": NaN}', 400, "api.body"),
    "infinity in JSON": ("POST", "jobs/", {}, '{"quantity": -Infinity}', 400, "api.body"),
    "a name twice": ("POST", "jobs/", {}, '{"quantity": 1, "quantity": 2}', 400, "api.body"),
    "bytes that are no text": ("POST", "jobs/", {}, b'{"number": "\xff"}', 400, "api.body"),
    "brackets without end": ("POST", "jobs/", {}, "[" * 100_000, 400, "api.body"),
    "a list instead of an object": ("POST", "jobs/", {}, "[1]", 422, "data.invalid"),
    "a field nobody knows": ("POST", "sheets/", {}, '{"job": "J", "jobb": "J"}', 422, "api.field"),
    "a field that is missing": ("POST", "sheets/", {}, "{}", 422, "data.required"),
    "a lone surrogate": ("POST", "sheets/", {}, '{"job": "\\ud800"}', 422, "data.invalid"),
    "a page that is no number": ("GET", "jobs/?limit=many", {}, None, 422, "data.invalid"),
    "a page larger than any": ("GET", "jobs/?limit=201", {}, None, 422, "data.invalid"),
    "a day that is none": ("GET", "trace/where/tool/AP-031/?from=2026-02-30", {}, None, 422, "data.invalid"),
    "a role that may not": ("POST", "jobs/", {"person": "auditor"}, "JOB", 403, "person.role"),
    "a rule of ours": ("POST", "sheets/", {}, '{"job": "J-none"}', 422, "data.unknown"),
}


@pytest.mark.parametrize("name", REQUESTS)
def test_failing_request_answers_with_problem_details(name, program, cast, catalogue):
    method, address, options, raw, status, rule = REQUESTS[name]
    options = dict(options)
    person = getattr(cast, options.pop("person", "planner"))
    sent = {"body": JOB} if raw == "JOB" else {"raw": raw}
    answer = program(person).ask(method, address, **sent, **options)

    assert_problem(answer, status, rule)
    assert answer.json["instance"] == (ROOT + address).partition("?")[0]


RAISED = {
    "a refusal": (Refused([misfit("sheet.empty", sheet="S")]), 422, "sheet.empty"),
    "a refusal that cannot be decided": (Refused([Finding("sheet.empty", Verdict.UNDECIDABLE, "", {"sheet": "S"})]), 422, "sheet.empty"),
    "only a missing role": (Refused([misfit("person.role", person="P", deed="d", roles="r")]), 403, "person.role"),
    "a missing role among others": (
        Refused([misfit("sheet.empty", sheet="S"), misfit("person.role", person="P", deed="d", roles="r")]),
        422,
        "sheet.empty",
    ),
    "a waiting account": (Refused([misfit("sign.locked", "secret", seconds=30)]), 429, "sign.locked"),
    "a race that the act saw": (Refused([misfit("data.race")]), 409, "data.race"),
    "a race that the database saw": (IntegrityError("UNIQUE constraint failed: shop_job.number"), 409, "data.race"),
    "a database that does not answer": (OperationalError("database is locked"), 503, "api.busy"),
    "a figure no column holds": (DataError("numeric field overflow"), 422, "data.invalid"),
    "a figure no decimal holds": (InvalidOperation(), 422, "data.invalid"),
    "Django's validation": (ValidationError({"number": ValidationError("taken", code="unique")}), 422, "data.unique"),
    "the framework's validation": (exceptions.ValidationError({"lots": [{}, {"quantity": ["no"]}]}), 422, "data.invalid"),
    "an empty validation": (exceptions.ValidationError([]), 422, "data.invalid"),
    "Django's 404": (Http404("secret name"), 404, "api.not_found"),
    "Django's 403": (PermissionDenied("secret"), 403, "api.forbidden"),
    "the framework's 403": (exceptions.PermissionDenied(), 403, "api.forbidden"),
    "the framework's 404": (exceptions.NotFound(), 404, "api.not_found"),
    "something suspicious": (SuspiciousOperation("secret"), 400, "api.request"),
    "the framework's throttle": (exceptions.Throttled(3), 429, "api.request"),
    "a defect": (ImproperlyConfigured("secret of the server"), 500, "api.unexpected"),
}


@pytest.mark.parametrize("name", RAISED)
def test_exception_answers_with_problem_details(name, program, cast, monkeypatch):
    raised, status, rule = RAISED[name]

    def stop(*args):
        raise raised

    monkeypatch.setattr(jobs, "jobs_for", stop)
    asking = program(cast.planner)
    asking.client.raise_request_exception = False
    answer = asking.ask("GET", "jobs/", in_schema=False)

    assert_problem(answer, status, rule)
    assert b"secret" not in answer.response.content.replace(b'"field": "secret"', b"")
    assert answer.response.headers.get("Retry-After") == {429: "30", 503: "2"}.get(status if rule != "api.request" else 0)


def test_nested_field_is_named_by_its_path(program, cast, monkeypatch):
    def stop(*args):
        raise exceptions.ValidationError({"lots": [{}, {"quantity": ["no"]}]})

    monkeypatch.setattr(jobs, "jobs_for", stop)

    assert [f["field"] for f in program(cast.planner).ask("GET", "jobs/").json["findings"]] == ["lots.1.quantity"]


def test_defect_is_logged_and_raised_while_a_developer_looks(program, cast, monkeypatch, settings, caplog):
    def stop(*args):
        raise ZeroDivisionError

    monkeypatch.setattr(jobs, "jobs_for", stop)

    asking = program(cast.planner)
    asking.client.raise_request_exception = False
    asking.ask("GET", "jobs/")
    assert "ZeroDivisionError" in caplog.text
    settings.DEBUG = True
    asking.client.raise_request_exception = True
    with pytest.raises(ZeroDivisionError):
        asking.ask("GET", "jobs/")


def test_body_beyond_the_limit_is_refused(program, cast, settings):
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 1024 * 1024

    answer = program(cast.planner).ask("POST", "jobs/", raw='{"number": "' + "1" * settings.DATA_UPLOAD_MAX_MEMORY_SIZE + '"}')

    assert_problem(answer, 413, "api.too_large")


def test_session_without_csrf_token_is_refused_and_with_it_works(cast, catalogue):
    client = Client(enforce_csrf_checks=True)
    client.force_login(cast.planner)

    refused = Answer(client.post(f"{ROOT}jobs/", JOB, content_type="application/json"))
    assert_problem(refused, 403, "api.forbidden")

    client.get("/sign-in/")
    token = client.cookies["csrftoken"].value
    opened = client.post(f"{ROOT}jobs/", JOB, content_type="application/json", headers={"X-CSRFToken": token})
    assert opened.status_code == 201


def test_allowed_methods_are_told(program, cast):
    answer = program(cast.planner).ask("DELETE", "jobs/")

    assert answer.response.headers["Allow"] == "GET, POST, HEAD, OPTIONS"
    assert answer.json["findings"][0]["compared"] == {"method": "DELETE", "allowed": "GET, POST, HEAD, OPTIONS"}


def test_unauthenticated_answer_names_the_scheme(program):
    assert program().ask("GET", "jobs/").response.headers["WWW-Authenticate"] == "Token"


def test_malformed_body_is_told_without_repeating_it(program, cast):
    answer = program(cast.planner).ask("POST", "jobs/", raw=f'{{"secret": "{factories.PIN}" "x"}}')

    assert answer.status == 400
    assert factories.PIN.encode() not in answer.response.content
    assert "line 1, column 21" in answer.json["detail"]


def test_person_without_a_role_reads_nothing(program, cast):
    nobody = factories.make_person("visitor")

    assert program(nobody).refused("jobs/", method="GET", status=403) == ["person.role"]
