import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError
from django.urls import reverse

from shop.catalogue import KINDS
from shop.materials import Wire
from shop.pages import catalogue_form, catalogue_list
from shop.people import Person
from shop.sign_on import check_secret
from shop.tools import Calibration, Gauge
from tests import factories

WIRE = {"part_number": "W-9", "size": "19x0.2", "conductor_kind": "stranded", "material": "copper", "insulation_od_mm": "1.6"}


def shown(answer):
    """The first cell of every row of the list."""
    return [line.first.text for line in answer.context["page"].lines]


def at(name, *args, **query):
    return reverse(f"shop:{name}", args=args) + ("?" + "&".join(f"{k}={v}" for k, v in query.items()) if query else "")


@pytest.mark.parametrize("slug", KINDS)
def test_every_kind_has_its_pages_and_forms_for_who_may_change_it(signed_in, cast, catalogue, slug):
    factories.make_press("PR-01")
    item = KINDS[slug].items(factories.today()).first()
    for person in (cast.planner, cast.quality, cast.auditor):
        client = signed_in(person)
        assert client.get(at("list", slug)).status_code == 200
        assert client.get(at("detail", slug, item.pk)).status_code == 200
        may = person == cast.quality or (person == cast.planner and slug not in ("people", "qualifications"))
        for path in (at("new", slug), at("edit", slug, item.pk), at("import", slug)):
            assert client.get(path).status_code == (200 if may else 403)


def test_index_counts_every_kind(signed_in, cast, catalogue):
    page = signed_in(cast.auditor).get(at("catalogue")).context["page"]
    counts = {line.title: line.count for card in page.cards for line in card.kinds}
    assert (counts["Wires"], counts["People"], counts["Calibrations"]) == (4, 7, 4)
    assert {line.new_url for card in page.cards for line in card.kinds} == {""}  # an auditor reads


def test_list_searches_filters_and_sorts_by_the_address(signed_in, cast, catalogue):
    client = signed_in(cast.auditor)
    assert shown(client.get(at("list", "wires"))) == ["W-035-BU", "W-075-GN", "W-075-RD", "W-250-BK"]
    assert shown(client.get(at("list", "wires", q="24x0.2+red"))) == ["W-075-RD"]
    assert shown(client.get(at("list", "wires", sort="-csa_mm2"))) == ["W-250-BK", "W-075-RD", "W-075-GN", "W-035-BU"]
    assert shown(client.get(at("list", "wires", conductor_kind="solid"))) == []
    assert shown(client.get(at("list", "people", role="inspector"))) == ["Ines Falk"]
    assert shown(client.get(at("list", "gauges", kind="pull+tester"))) == ["PULL-01"]
    assert len(shown(client.get(at("list", "wires", sort="password", page="99", conductor_kind="x")))) == 4


def test_list_turns_pages_and_keeps_the_search(signed_in, cast):
    for number in range(catalogue_list.PER_PAGE + 1):
        factories.make_wire(f"W-{number:03}", "24x0.2", "1.9")
    answer = signed_in(cast.auditor).get(at("list", "wires", q="W-", page="2"))
    assert shown(answer) == ["W-050"]
    assert 'href="?q=W-&amp;page=1"' in answer.content.decode()


def test_list_never_shows_the_system_or_a_secret(signed_in, cast):
    Person.system()
    answer = signed_in(cast.administrator).get(at("list", "people"))
    assert "The system" not in shown(answer)
    assert cast.operator.pin not in answer.content.decode()


@pytest.mark.parametrize(
    ("slug", "queries", "make"),
    [
        ("wires", 5, lambda c, n: factories.make_wire(f"X-{n}", "24x0.2", "1.9")),
        ("gauges", 5, lambda c, n: factories.make_gauge(f"X-{n}", "caliper", "mm", "0.01")),
        ("tool-rows", 5, lambda c, n: factories.make_row(c.tool, c.ring, (f"0.{n}", "2"), None)),
        ("terminal-lots", 5, lambda c, n: factories.make_terminal_lot(f"X-{n}", c.ring)),
        ("qualifications", 5, lambda c, n: factories.make_qualification(factories.make_person(f"x{n}"), "crimp")),
        ("people", 6, lambda c, n: factories.make_person(f"x{n}", "operator")),
    ],
)
@pytest.mark.parametrize("items", [1, 3])
def test_list_queries(signed_in, cast, catalogue, django_assert_num_queries, slug, queries, make, items):
    for number in range(1, items + 1):
        make(catalogue, number)
    client = signed_in(cast.auditor)
    client.get(at("list", slug))
    with django_assert_num_queries(queries + 1):  # one for the saved questions about this list
        assert len(shown(client.get(at("list", slug)))) >= items


def test_list_in_the_units_of_the_person(signed_in, cast, catalogue):
    cast.auditor.display = "inch"
    cast.auditor.save()
    page = signed_in(cast.auditor).get(at("list", "wires", q="W-075-RD")).context["page"]
    assert [head.unit for head in page.heads if head.unit] == ["cmil", "in"]
    assert [cell.text for cell in page.lines[0].cells if cell.css == "figure"] == ["1488", "0.0748"]


def test_gauge_shows_how_its_calibration_stands(signed_in, cast, catalogue):
    lines = signed_in(cast.auditor).get(at("list", "gauges")).context["page"].lines
    outcomes = {line.first.text: line.standing.outcome for line in lines}
    assert (outcomes["MIC-01"], outcomes["MIC-09"]) == ("conforms", "does not conform")
    newer = {"calibrated_on": factories.today(), "due_on": factories.days(365), "result": "out of tolerance"}
    factories.make_calibration(catalogue.micrometer, **newer)
    page = signed_in(cast.auditor).get(at("detail", "gauges", catalogue.micrometer.pk)).context["page"]
    assert (page.standing.outcome, page.standing.word) == ("does not conform", "out of tolerance")
    assert len(page.related[0].lines) == 2


def test_terminal_shows_what_belongs_to_it(signed_in, cast, catalogue):
    page = signed_in(cast.planner).get(at("detail", "terminals", catalogue.terminal.pk)).context["page"]
    assert {table.slug: [line.first.text for line in table.lines] for table in page.related} == {
        "specifications": ["CS-250"],
        "tool-rows": ["AP-031", "AP-040"],
        "terminal-lots": ["TL-2001", "TL-2002"],
    }
    assert page.related[1].add_url == "/shop/tool-rows/new/?terminal=T-250-F"


def test_new_form_is_filled_from_where_one_came(signed_in, cast, catalogue):
    answer = signed_in(cast.planner).get("/shop/calibrations/new/?gauge=MIC-01")
    assert answer.context["page"].form["gauge"].value() == "MIC-01"


def test_add_and_change(signed_in, cast):
    client = signed_in(cast.planner)
    answer = client.post(at("new", "wires"), WIRE | {"is_active": "on"})
    wire = Wire.objects.get(part_number="W-9")
    assert (answer.status_code, answer["Location"]) == (302, at("detail", "wires", wire.pk))
    form = client.get(at("edit", "wires", wire.pk)).context["page"]
    changed = WIRE | {"insulation_od_mm": "0.07 in", "seen": form.seen}  # the box "in use" is not ticked any more
    assert client.post(at("edit", "wires", wire.pk), changed).status_code == 302
    wire.refresh_from_db()
    assert (str(wire.insulation_od_mm), wire.is_active) == ("1.7780", False)


def test_refused_form_comes_back_with_what_was_typed(signed_in, cast):
    answer = signed_in(cast.planner).post(at("new", "wires"), WIRE | {"size": "16", "insulation_od_mm": "2 kg"})
    assert answer.status_code == 422
    form = answer.context["page"].form
    assert list(form.errors) == ["size", "insulation_od_mm"]
    assert (form["size"].value(), form["insulation_od_mm"].value(), form["part_number"].value()) == ("16", "2 kg", "W-9")
    assert "It can be AWG 16 or 16 mm²" in answer.content.decode()
    assert not Wire.objects.exists()


def test_form_that_was_overtaken(signed_in, cast, catalogue):
    client = signed_in(cast.planner)
    path, kind = at("edit", "wires", catalogue.wire.pk), KINDS["wires"]
    seen = client.get(path).context["page"].seen
    Wire.objects.filter(pk=catalogue.wire.pk).update(colour="blue")
    answer = client.post(path, kind.stated(catalogue.wire) | {"colour": "green", "seen": seen})
    assert answer.status_code == 409
    assert [finding.rule for finding in answer.context["refusal"].findings] == ["data.race"]
    assert Wire.objects.get(pk=catalogue.wire.pk).colour == "blue"


def test_form_that_lost_a_race_in_the_database(signed_in, cast, monkeypatch):
    def overtaken(**named):
        raise IntegrityError

    monkeypatch.setattr(catalogue_form, "save_item", overtaken)
    answer = signed_in(cast.planner).post(at("new", "wires"), WIRE)
    assert answer.status_code == 409
    assert [finding.rule for finding in answer.context["refusal"].findings] == ["data.race"]
    assert answer.context["page"].form["part_number"].value() == "W-9"


def test_post_by_a_role_that_may_not(signed_in, cast):
    answer = signed_in(cast.operator).post(at("new", "wires"), WIRE)
    assert answer.status_code == 422
    assert "It takes one of these roles: planner, quality." in answer.content.decode()
    assert not Wire.objects.exists()


def test_new_person_gets_a_password_for_one_sign_in_shown_once(signed_in, cast, client):
    values = {"username": "nora", "name": "Nora Dahl", "display": "metric", "is_active": "on", "roles": ["planner", "quality"]}
    answer = signed_in(cast.administrator).post(at("new", "people"), values)
    password = answer.context["page"].password
    assert answer["Cache-Control"] == "no-store"
    person = check_secret("nora", password, factories.now())
    assert (person.must_change_secret, person.roles) == (True, {"planner", "quality"})
    assert password not in client.get(at("detail", "people", person.pk)).content.decode()


def test_hand_out_and_unlock_on_the_page(signed_in, cast):
    client = signed_in(cast.inspector)
    assert client.post(at("hand-out", cast.operator.pk)).status_code == 422
    Person.objects.filter(pk=cast.operator.pk).update(failed_tries=7)
    page = client.get(at("detail", "people", cast.operator.pk)).context["page"]
    assert (page.unlock_url, page.password_url) == (at("unlock", cast.operator.pk), "")
    assert client.post(page.unlock_url).status_code == 302
    assert Person.objects.get(pk=cast.operator.pk).failed_tries == 0


def test_state_is_changed_on_the_page_with_a_reason(signed_in, cast, catalogue):
    client, lot = signed_in(cast.planner), catalogue.terminal_lot
    refused = client.post(at("state", "terminal-lots", lot.pk), {"state": "on hold", "state_reason": ""})
    assert (refused.status_code, refused.context["page"].state.chosen) == (422, "on hold")
    assert client.post(at("state", "terminal-lots", lot.pk), {"state": "on hold", "state_reason": "flakes"}).status_code == 302
    lot.refresh_from_db()
    assert lot.state == "on hold"


def test_pages_that_are_not_there(signed_in, cast, catalogue):
    client = signed_in(cast.planner)
    for path in ("/shop/cables/", "/shop/wires/99999/", at("state", "wires", catalogue.wire.pk)):
        answer = client.post(path, {}) if path.endswith("state/") else client.get(path)
        assert answer.status_code == 404


# --- Import ----------------------------------------------------------------------------------------------------------------------

GOOD = b"part_number,size,insulation_od_mm\nW-1,AWG 20 (19/32),0.075 in\n"


def upload(client, data, **more):
    return client.post(at("import", "wires"), {"file": SimpleUploadedFile("list.csv", data)} | more)


def test_import_page_checks_then_imports(signed_in, cast):
    client = signed_in(cast.planner)
    report = upload(client, GOOD, check="1").context["page"].report
    assert (report.added, report.dry_run, Wire.objects.count()) == (1, True, 0)
    assert upload(client, GOOD).status_code == 302
    assert Wire.objects.count() == 1


def test_import_page_names_line_column_and_reason(signed_in, cast):
    answer = upload(signed_in(cast.planner), GOOD + b"W-2,plenty,1.6\n")
    assert answer.status_code == 422
    errors = answer.context["page"].report.errors
    assert [(error.line, error.column) for error in errors] == [(3, "size")]
    assert "It is not a conductor size." in answer.content.decode()
    assert not Wire.objects.exists()


def test_import_page_without_a_file_or_with_something_else(signed_in, cast):
    client = signed_in(cast.planner)
    assert client.post(at("import", "wires")).status_code == 422
    assert upload(client, b"\x89PNG\r\n\x1a\n").status_code == 422


def test_import_page_answers_htmx_with_the_report_alone(signed_in, cast):
    client = signed_in(cast.planner)
    answer = client.post(
        at("import", "wires"), {"file": SimpleUploadedFile("list.csv", GOOD), "check": "1"}, headers={"HX-Request": "true"}
    )
    assert answer.content.decode().startswith('<div id="report"')


def test_import_template_can_be_filled_and_imported(signed_in, cast):
    client = signed_in(cast.planner)
    header = client.get(at("import-template", "gauges")).content.decode()
    row = {"asset_number": "MIC-1", "kind": "caliper", "resolution": "0.01"}
    text = header + ",".join(row.get(name, "") for name in header.strip().split(",")) + "\r\n"
    answer = client.post(at("import", "gauges"), {"file": SimpleUploadedFile("g.csv", text.encode())})
    assert answer.status_code == 302
    gauge = Gauge.objects.get()
    assert (gauge.unit, gauge.state, Calibration.objects.count()) == ("mm", "available", 0)
