"""The catalogue through the API: the forms of the pages parse what is sent, whatever the kind."""

from __future__ import annotations

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from records.models import LedgerEntry
from shop.catalogue import KINDS
from shop.materials import Wire
from shop.tools import Gauge
from tests import factories

WIRE = {
    "part_number": "W-200-GR",
    "size": "AWG 20, 19x0.2",
    "conductor_kind": "stranded",
    "material": "copper",
    "insulation_od_mm": "0.075 in",
    "colour": "grey",
}


def test_wire_is_added_with_its_units_read_and_its_area_computed(programs):
    added = programs["planner"].post("catalogue/wires/", WIRE | {"size": "19x0.2"}, status=201)

    assert (added["insulation_od_mm"], added["csa_mm2"], added["strands"], added["is_active"]) == ("1.905", "0.5969", 19, True)
    assert programs["operator"].get(f"catalogue/wires/{added['id']}/") == added


def test_number_in_json_is_read_exactly(programs):
    added = programs["planner"].post("catalogue/wires/", WIRE | {"size": "0.75 mm2", "insulation_od_mm": 1.9}, status=201)

    assert added["insulation_od_mm"] == "1.9"


@pytest.mark.parametrize(
    ("changed", "field", "rule"),
    [
        ({"insulation_od_mm": "1.9 N"}, "insulation_od_mm", "data.invalid"),
        ({"insulation_od_mm": True}, "insulation_od_mm", "data.invalid"),
        ({"insulation_od_mm": None}, "insulation_od_mm", "data.required"),
        ({"size": "a finger"}, "size", "data.invalid"),
        ({"part_number": "W 2/00"}, "part_number", "data.key.characters"),
        ({"part_number": "W-075-RD"}, "part_number", "data.unique"),
        ({"material": "gold"}, "material", "data.invalid"),
        ({"csa_mm2": "1"}, "csa_mm2", "api.field"),
    ],
)
def test_wrong_wire_is_refused_at_its_field(changed, field, rule, programs, catalogue):
    answer = programs["planner"].ask("POST", "catalogue/wires/", WIRE | {"size": "19x0.2"} | changed)

    assert (answer.status, [(f["rule"], f["field"]) for f in answer.json["findings"]]) == (422, [(rule, field)])
    assert not Wire.objects.filter(part_number__in=["W-200-GR", "W 2/00"]).exists()


def test_everything_that_is_wrong_is_told_at_once(programs):
    answer = programs["planner"].ask("POST", "catalogue/wires/", {"insulation_od_mm": "1.9 N"})

    assert [(f["field"], f["rule"]) for f in answer.json["findings"]] == [
        ("part_number", "data.required"),
        ("size", "data.required"),
        ("insulation_od_mm", "data.invalid"),
    ]


def test_some_fields_are_changed_and_the_others_stay(programs, catalogue):
    wire = programs["planner"].get(f"catalogue/wires/{catalogue.wire.pk}/")

    body = {"colour": "violet", "reason": "label misread", "seen_sha256": wire["sha256"]}
    changed = programs["planner"].ask("PATCH", f"catalogue/wires/{wire['id']}/", body).json

    differing = {name for name in wire if wire[name] != changed[name]}
    assert (changed["colour"], differing) == ("violet", {"colour", "sha256"})
    assert "label misread" in LedgerEntry.objects.get().text


def test_item_changed_meanwhile_is_not_overwritten(programs, catalogue):
    address = f"catalogue/wires/{catalogue.wire.pk}/"
    sha256 = programs["planner"].get(address)["sha256"]
    programs["quality"].ask("PATCH", address, {"colour": "violet"})

    refused = programs["planner"].refused(address, {"colour": "pink", "seen_sha256": sha256}, method="PATCH", status=409)

    assert refused == ["data.race"]
    assert programs["planner"].get(address)["colour"] == "violet"


def test_item_is_stated_anew_as_a_whole(programs, catalogue):
    body = WIRE | {"part_number": "W-075-RD", "size": "24x0.2"}
    changed = programs["planner"].ask("PUT", f"catalogue/wires/{catalogue.wire.pk}/", body).json

    assert (changed["colour"], changed["temperature_rating_c"], changed["insulation_od_mm"]) == ("grey", None, "1.905")


def test_state_is_changed_at_its_own_address_with_a_reason(programs, catalogue):
    address = f"catalogue/gauges/{catalogue.caliper.pk}/"
    assert programs["quality"].refused(address, {"state": "on hold"}, method="PATCH") == ["data.invalid"]
    assert programs["quality"].refused(f"{address}state/", {"state": "on hold", "reason": ""}) == ["data.required"]
    assert programs["quality"].refused(f"{address}state/", {"state": "lost", "reason": "x"}) == ["data.invalid"]

    held = programs["quality"].post(f"{address}state/", {"state": "on hold", "reason": "dropped"})

    assert (held["state"], held["standing"]["outcome"]) == ("on hold", "does not conform")
    assert programs["planner"].refused(f"{address}state/", {"state": "available", "reason": "x"}, status=403) == ["person.role"]
    assert Gauge.objects.get(pk=catalogue.caliper.pk).state == "on hold"


@pytest.mark.parametrize("slug", KINDS)
def test_every_kind_is_listed_and_read(slug, programs, catalogue):
    factories.make_press("PR-01")
    listed = programs["auditor"].get(f"catalogue/{slug}/?limit=5")

    assert listed["count"] > 0
    first = listed["results"][0]
    read = programs["auditor"].get(f"catalogue/{slug}/{first['id']}/")
    assert {name: read[name] for name in first} == first


@pytest.mark.parametrize("slug", KINDS)
def test_every_kind_takes_back_what_it_said(slug, programs, catalogue):
    """What is read of an item, sent as the item, changes nothing."""
    factories.make_press("PR-01")
    item = programs["auditor"].get(f"catalogue/{slug}/?limit=1")["results"][0]
    form = KINDS[slug].form
    body = {name: item[name] for name in form.base_fields if name in item and name not in form.only_new}
    who = "administrator" if slug in ("people", "qualifications") else "quality"

    answer = programs[who].ask("PATCH", f"catalogue/{slug}/{item['id']}/", body)

    assert answer.status == 200, answer.json
    assert {name: answer.json[name] for name in item} == item
    assert not LedgerEntry.objects.exists()


def test_search_and_filters_narrow_a_list(programs, catalogue):
    planner = programs["planner"]

    assert [w["part_number"] for w in planner.get("catalogue/wires/?search=075 green")["results"]] == ["W-075-GN"]
    assert [lot["lot_number"] for lot in planner.get("catalogue/terminal-lots/?state=on hold")["results"]] == ["TL-2002"]
    assert [p["username"] for p in planner.get("catalogue/people/?role=inspector")["results"]] == ["inspector"]
    page = planner.get("catalogue/wires/?limit=1&offset=1")
    assert (page["count"], [w["part_number"] for w in page["results"]]) == (4, ["W-075-GN"])


def test_people_are_added_with_roles_and_without_any_secret_shown(programs):
    body = {"username": "new.person", "name": "Nils Ek", "badge": "B-77-01", "roles": ["operator", "inspector"]}

    added = programs["administrator"].post("catalogue/people/", body, status=201)

    assert (added["roles"], added["is_active"]) == (["inspector", "operator"], True)
    assert not {"password", "pin"} & set(added)
    assert programs["planner"].refused("catalogue/people/", body, status=403) == ["person.role"]


CSV = "part_number,size,conductor_kind,material,insulation_od_mm\nW-1,19x0.2,stranded,copper,1.7\nW-2,AWG 20,solid,copper,0.07 in\n"


def test_csv_as_the_body_is_imported(programs):
    report = programs["planner"].post("catalogue/wires/import/?file_name=wires.csv", raw=CSV, content_type="text/csv")

    assert (report["rows"], report["added"], report["file_name"]) == (2, 2, "wires.csv")
    assert set(Wire.objects.values_list("part_number", flat=True)) == {"W-1", "W-2"}


def test_csv_in_a_form_is_imported(programs):
    file = SimpleUploadedFile("wires.csv", CSV.encode(), content_type="text/csv")
    asking = programs["planner"]

    response = asking.client.post("/api/v1/catalogue/wires/import/", {"file": file}, headers=asking.headers)

    assert (response.status_code, response.json()["added"]) == (200, 2)


def test_dry_run_says_what_would_happen_and_writes_nothing(programs):
    report = programs["planner"].post("catalogue/wires/import/?dry_run=1", raw=CSV, content_type="text/csv")

    assert (report["added"], report["dry_run"]) == (2, True)
    assert not Wire.objects.exists()
    assert not LedgerEntry.objects.exists()


def test_import_with_bad_rows_names_each_and_writes_nothing(programs):
    bad = CSV + "W-3,a finger,stranded,copper,1.7\nW-4,19x0.2,stranded,gold,1.7 N\n"

    answer = programs["planner"].ask("POST", "catalogue/wires/import/", raw=bad, content_type="text/csv")

    assert (answer.status, answer.rules) == (422, ["import.rows"])
    assert [(row["line"], row["column"]) for row in answer.json["rows"]] == [(4, "size"), (5, "material"), (5, "insulation_od_mm")]
    assert not Wire.objects.exists()


@pytest.mark.parametrize(("raw", "rule"), [("", "data.required"), ("a,b\n1,2\n", "import.column"), (b"\xff\xfe", "import.file")])
def test_file_that_is_none_is_refused(raw, rule, programs):
    answer = programs["planner"].ask("POST", "catalogue/wires/import/", raw=raw, content_type="text/csv")

    assert (answer.status, answer.rules[0]) == (422, rule)


def test_import_beyond_the_limit_is_refused(programs, settings):
    settings.UPLOAD_LIMIT_BYTES = 1024 * 1024
    raw = CSV + "x" * settings.UPLOAD_LIMIT_BYTES

    answer = programs["planner"].ask("POST", "catalogue/wires/import/", raw=raw, content_type="text/csv")

    assert (answer.status, answer.rules) == (422, ["import.file"])


def test_kinds_are_listed_with_what_the_person_may_change(programs):
    kinds = {kind["slug"]: kind for kind in programs["planner"].get("catalogue/")}

    assert list(kinds) == list(KINDS)
    assert (kinds["wires"]["may_change"], kinds["people"]["may_change"]) == (True, False)
    assert kinds["wires"]["key"] == ["part_number"]
