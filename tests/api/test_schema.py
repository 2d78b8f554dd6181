"""The schema is valid, complete and says how each operation fails."""

from __future__ import annotations

import io

import pytest
from django.core.management import call_command
from django.urls import get_resolver
from openapi_spec_validator import validate

from shop.api.problems import MEDIA_TYPE
from shop.api.view import ApiView

METHODS = ("get", "post", "put", "patch", "delete")


def operations(spec):
    return [(path, method, one) for path, methods in spec["paths"].items() for method, one in methods.items() if method in METHODS]


def test_schema_is_valid_openapi(spec):
    validate(spec)


def test_schema_is_made_without_a_warning(capsys):
    call_command("spectacular", "--validate", "--fail-on-warn", stdout=io.StringIO())


def test_schema_is_served_to_anybody(client, db):
    answer = client.get("/api/v1/schema/", headers={"Accept": "application/json"})

    assert (answer.status_code, answer.headers["Content-Type"]) == (200, "application/json")
    validate(answer.json())
    assert client.get("/api/v1/schema/", headers={"Accept": "application/vnd.oai.openapi"}).content.startswith(b"openapi:")


def views():
    """Every view under the API with its address."""
    found = []

    def walk(patterns, prefix):
        for pattern in patterns:
            here = prefix + str(pattern.pattern)
            if hasattr(pattern, "url_patterns"):
                walk(pattern.url_patterns, here)
            elif hasattr(pattern.callback, "cls") and issubclass(pattern.callback.cls, ApiView):
                found.append((here, pattern.callback.cls))

    walk(get_resolver().url_patterns, "")
    return [(address, view) for address, view in found if view.schema is not None]


def test_every_method_of_every_view_is_described(spec):
    described = {(path.count("/"), method) for path, method, _one in operations(spec)}
    existing = [(address, method) for address, view in views() for method in METHODS if hasattr(view, method)]

    assert len(operations(spec)) == len(existing)
    assert {(("/" + address).count("/"), method) for address, method in existing} == described


def test_every_operation_says_what_it_answers_and_how_it_fails(spec):
    for path, method, one in operations(spec):
        answers = one["responses"]
        good = [code for code in answers if code.startswith("2")]
        assert len(good) == 1, path
        assert good == ["204"] or answers[good[0]]["content"], path
        wanted = {"401", "403", "406", "422", "500", "503"} | ({"400", "409", "413", "415"} if method != "get" else set())
        assert wanted | ({"404"} if "{" in path else set()) <= set(answers), (path, method)
        for code, answer in answers.items():
            if not code.startswith("2"):
                assert answer["content"] == {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}, (path, code)
        assert one["summary"], path
        assert one["description"], path


def test_operation_that_asks_for_a_secret_names_the_wait(spec):
    asking = [one for _path, _method, one in operations(spec) if "429" in one["responses"]]

    assert {one["summary"] for one in asking} == {
        "Get a token",
        "Release a sheet",
        "Withdraw a sheet",
        "Conclude a sample",
        "Countersign a first piece",
        "Turn a first piece down",
        "Close a batch",
        "Decide on a hold",
        "Decide on held pieces",
        "Build a harness lot",
        "Ship",
        "Split a lot",
        "Merge lots",
        "Record a rework",
        "Release a lot that was kept back",
        "Scrap harnesses of a lot",
        "Receive a return",
        "Open a containment case",
        "Decide on a suspect",
        "Close a containment case",
        "Inspect a lot",
        "Conclude and sign a study",
        "Freeze control limits",
        "Sign a document",
        "Certify conformity",
        "Set a retention rule",
        "Place a legal hold",
        "Lift a legal hold",
        "Dispose of records",
        "Name who stands in",
        "End control limits",
        "Verify the effect",
        "Close a nonconformance",
    }


def test_every_write_at_the_press_names_the_key(spec):
    made = [one for _path, method, one in operations(spec) if one["tags"] == ["make"] and method == "post"]

    assert len(made) == 13
    for one in made:
        assert "Idempotency-Key" in [p["name"] for p in one["parameters"] if p["in"] == "header"], one["summary"]


@pytest.mark.parametrize("name", ["SignatureIn", "TokenIn"])
def test_secret_is_written_and_never_read(spec, name):
    assert spec["components"]["schemas"][name]["properties"]["secret"]["writeOnly"] is True


def test_no_answer_has_a_secret_in_it(spec):
    schemas = spec["components"]["schemas"]
    seen, waiting = set(), []

    def refer(node):
        if isinstance(node, dict):
            if "$ref" in node:
                waiting.append(node["$ref"].rpartition("/")[2])
            for inner in node.values():
                refer(inner)
        elif isinstance(node, list):
            for inner in node:
                refer(inner)

    for _path, _method, one in operations(spec):
        refer(one["responses"])
    while waiting:
        name = waiting.pop()
        if name not in seen:
            seen.add(name)
            assert not {"secret", "password", "pin"} & set(schemas[name].get("properties", {})), name
            refer(schemas[name])
    assert len(seen) > 40
