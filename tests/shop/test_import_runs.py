"""Large files: checked without a lock, written at once or not at all, in the background with a page that says how far it is."""

from __future__ import annotations

import io
from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from records.models import LedgerEntry
from shop.acts.catalogue_import import ImportRefused, import_rows
from shop.acts.documents import storage_name
from shop.acts.import_runs import order_import, run_import, start_again
from shop.clock import now
from shop.finding import Refused
from shop.imports import PATIENCE, ImportRun, ImportState
from shop.materials import Terminal, Wire
from shop.pages import importing
from shop.people import Person
from shop.specifications import CrimpSpecification
from shop.tools import ToolRow
from tests import factories

HEADER = "part_number,size,insulation_od_mm\n"
GOOD = HEADER + "W-1,AWG 20 (19/32),0.075 in\nW-2,0.5 mm²,1.6\n"
BAD = GOOD + "W-3,plenty,1.6\n"


def bring_in(text, cast, kind="wires", **options):
    return import_rows(kind=kind, file_name="list.csv", data=text.encode(), by=cast.quality, at=now(), **options)


def once(phase, do):
    """A progress that does something the first time a phase is told."""
    done = []

    def tell(told, _done, _total):
        if told == phase and not done:
            done.append(told)
            do()

    return tell


def errors_of(refused):
    return [(error.line, error.column, error.rule) for error in refused.value.report.errors]


# --- What happens between the check and the writing ------------------------------------------------------------------------------


@pytest.mark.parametrize("dry_run", [False, True])
def test_rows_are_checked_outside_a_transaction_of_the_import(cast, dry_run):
    around, depths = len(connection.savepoint_ids), []  # the test's own transaction lies around everything

    def look(phase, done, total):
        if phase == "checking":
            depths.append(len(connection.savepoint_ids))

    bring_in(GOOD, cast, dry_run=dry_run, progress=look)
    assert set(depths) == {around}


def test_dry_run_of_columns_only_writes_nothing_even_for_a_moment(cast, django_assert_max_num_queries):
    with django_assert_max_num_queries(20) as seen:
        bring_in(GOOD, cast, dry_run=True)
    assert not [query["sql"] for query in seen.captured_queries if query["sql"].startswith(("INSERT", "UPDATE"))]


def test_queries_of_an_import_do_not_grow_with_its_rows(cast, catalogue):
    def queries(count):
        text = "tool,terminal,csa_min_mm2,csa_max_mm2,setting\n"
        text += "".join(f"AP-031,T-M5-R,{count}.{i},{count + 1}.{i},C{i}\n" for i in range(count))
        with CaptureQueriesContext(connection) as seen:
            bring_in(text, cast, "tool-rows")
        return len(seen)

    queries(2)  # the first entry of a ledger asks for its head
    assert queries(3) == queries(9)


def test_item_that_was_added_meanwhile_is_changed_instead(cast):
    def add():
        factories.make_wire("W-2", "0.5 mm²", "1.9", colour="blue")

    report = bring_in(GOOD, cast, progress=once("writing", add))
    assert (report.added, report.changed) == (1, 1)
    wire = Wire.objects.get(part_number="W-2")
    assert (wire.insulation_od_mm, wire.colour) == (Decimal("1.6"), "blue")


def test_item_that_was_changed_meanwhile_keeps_what_the_file_does_not_say(cast):
    factories.make_wire("W-2", "0.5 mm²", "1.6", colour="blue")

    def repaint():
        Wire.objects.filter(part_number="W-2").update(colour="green", insulation_od_mm="1.9")

    report = bring_in(GOOD, cast, progress=once("writing", repaint))
    assert (report.added, report.changed, report.unchanged) == (1, 1, 0)
    wire = Wire.objects.get(part_number="W-2")
    assert (wire.insulation_od_mm, wire.colour) == (Decimal("1.6"), "green")


def test_named_item_that_got_another_number_meanwhile_is_missed(cast, catalogue):
    def rename():
        Terminal.objects.filter(part_number="T-M5-R").update(part_number="T-M5-S")

    with pytest.raises(ImportRefused) as refused:
        bring_in("tool,terminal,csa_min_mm2,csa_max_mm2\nAP-031,T-M5-R,1,2.5\n", cast, "tool-rows", progress=once("writing", rename))
    assert errors_of(refused) == [(2, "terminal", "data.unknown")]
    assert not ToolRow.objects.filter(terminal=catalogue.ring, csa_max_mm2="2.5", tool=catalogue.tool).exists()


def test_row_that_only_the_database_refuses_is_worded_and_nothing_comes_in(cast, catalogue):
    """A second current revision that came between the check and the writing: no key and no item the check read has changed."""
    spec = catalogue.specification
    text = "number,revision,terminal,csa_min_mm2,csa_max_mm2,document,effective_on\n"
    text += f"CS-NEW,B,{spec.terminal},0.5,1,{spec.document},2026-01-01\nCS-OTHER,A,{spec.terminal},0.5,1,{spec.document},2026-01-01\n"

    def overtake():
        spec.pk, spec.number, spec.revision = None, "CS-NEW", "A"
        spec.save(force_insert=True)

    before = CrimpSpecification.objects.count()
    with pytest.raises(ImportRefused) as refused:
        bring_in(text, cast, "specifications", progress=once("writing", overtake))
    assert errors_of(refused) == [(2, "", "data.specification.current")]
    assert CrimpSpecification.objects.count() == before + 1
    assert not LedgerEntry.objects.filter(kind="catalogue.imported").exists()


def test_rows_that_exclude_one_another_are_refused_in_a_dry_run_too(cast, catalogue):
    spec = catalogue.specification
    text = "number,revision,terminal,csa_min_mm2,csa_max_mm2,document,effective_on\n"
    text += "".join(f"CS-NEW,{rev},{spec.terminal},0.5,1,{spec.document},2026-01-01\n" for rev in "AB")
    for dry_run in (True, False):
        with pytest.raises(ImportRefused) as refused:
            bring_in(text, cast, "specifications", dry_run=dry_run)
        assert errors_of(refused) == [(3, "", "data.specification.current")]


def test_badge_that_another_row_has_is_refused(cast):
    text = "username,name,badge\nnora,Nora Dahl,B-777777\nnils,Nils Aas,B-777777\n"
    with pytest.raises(ImportRefused) as refused:
        bring_in(text, cast, "people")
    assert errors_of(refused) == [(3, "badge", "data.unique")]
    assert not Person.objects.filter(username="nora").exists()


def test_badge_that_one_row_gives_up_another_may_take(cast):
    bring_in("username,name,badge\nnora,Nora Dahl,B-777777\nnils,Nils Aas,B-888888\n", cast, "people")
    report = bring_in("username,name,badge\nnora,Nora Dahl,B-999999\nnils,Nils Aas,B-777777\n", cast, "people")
    assert report.changed == 2
    assert Person.objects.get(badge="B-777777").username == "nils"


def test_dry_run_of_people_leaves_roles_alone(cast):
    bring_in('username,name,roles\nnora,Nora Dahl,"planner"\n', cast, "people")
    report = bring_in('username,name,roles\nnora,Nora Dahl,"quality"\n', cast, "people", dry_run=True)
    assert report.changed == 1
    assert Person.objects.get(username="nora").roles == {"planner"}


# --- In the background -----------------------------------------------------------------------------------------------------------


@pytest.fixture
def low_threshold(monkeypatch):
    monkeypatch.setattr(importing, "AT_ONCE", 2)


def at(name, *args):
    return reverse(f"shop:{name}", args=args)


def upload(client, text, **more):
    options = {"headers": more.pop("headers")} if "headers" in more else {}
    return client.post(at("import", "wires"), {"file": SimpleUploadedFile("list.csv", text.encode())} | more, **options)


def ordered(cast, text, **options):
    return order_import(kind="wires", file_name="list.csv", data=text.encode(), by=cast.quality, at=now(), **options)


def test_large_file_goes_to_the_worker_and_its_page_ends_with_the_counts(
    signed_in, cast, low_threshold, django_capture_on_commit_callbacks
):
    client = signed_in(cast.planner)
    with django_capture_on_commit_callbacks():
        answer = upload(client, GOOD)
    run = ImportRun.objects.get()
    assert (answer.status_code, answer["Location"]) == (302, at("import-run", "wires", run.pk))
    waiting = client.get(answer["Location"])
    assert (waiting.context["page"].word, Wire.objects.count()) == ("waits for the worker", 0)
    assert 'hx-trigger="every 1s"' in waiting.content.decode()

    run_import(key=run.pk)

    page = client.get(answer["Location"])
    assert (page.context["page"].word, page.context["page"].report.added, Wire.objects.count()) == ("imported", 2, 2)
    assert "hx-trigger" not in page.content.decode()
    assert at("list", "wires") in page.content.decode()


def test_small_file_never_waits(signed_in, cast):
    assert upload(signed_in(cast.planner), GOOD)["Location"] == at("list", "wires")
    assert not ImportRun.objects.exists()


def test_worker_takes_the_task(cast, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        run = ordered(cast, GOOD)
    run.refresh_from_db()
    assert (run.state, run.done, run.total, run.added) == (ImportState.DONE, 2, 2, 2)
    entry = LedgerEntry.objects.get(kind="catalogue.imported")
    assert entry.by == cast.quality


def test_checked_file_is_written_from_its_page(signed_in, cast, low_threshold, django_capture_on_commit_callbacks):
    client = signed_in(cast.planner)
    with django_capture_on_commit_callbacks(execute=True):
        answer = upload(client, GOOD, check="1", headers={"HX-Request": "true"})
    run = ImportRun.objects.get()
    assert (answer.status_code, answer["HX-Redirect"]) == (204, at("import-run", "wires", run.pk))
    page = client.get(answer["HX-Redirect"]).context["page"]
    assert (page.word, page.offer_writing, Wire.objects.count()) == ("checked, nothing written", True, 0)
    with django_capture_on_commit_callbacks(execute=True):
        client.post(page.again_url, {"write": "1"})
    assert Wire.objects.count() == 2


def test_wrong_rows_stand_on_the_page_as_when_one_waits(signed_in, cast, low_threshold, django_capture_on_commit_callbacks):
    client = signed_in(cast.planner)
    with django_capture_on_commit_callbacks(execute=True):
        answer = upload(client, BAD)
    later = client.get(answer["Location"])
    at_once = upload(client, HEADER + "W,plenty,1\n")
    assert at_once.status_code == 422
    assert [(e.line, e.column) for e in later.context["page"].report.errors] == [(4, "size")]
    reason = later.context["page"].report.errors[0].reason
    assert reason == at_once.context["page"].report.errors[0].reason
    assert "Rows to correct" in later.content.decode()
    assert not Wire.objects.exists()


def test_only_so_many_wrong_rows_are_kept_and_the_others_counted(signed_in, cast, monkeypatch, django_capture_on_commit_callbacks):
    monkeypatch.setattr("shop.acts.import_runs.MOST_ERRORS", 3)
    with django_capture_on_commit_callbacks(execute=True):
        run = ordered(cast, HEADER + "".join(f"W-{i},plenty,1.6\n" for i in range(5)))
    page = signed_in(cast.planner).get(at("import-run", "wires", run.pk)).context["page"]
    assert (len(page.report.errors), page.more_errors) == (3, 2)


def test_file_that_cannot_be_read_is_refused_on_the_page(signed_in, cast, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        run = ordered(cast, "part_number,weight\nW-1,3\n")
    answer = signed_in(cast.planner).get(at("import-run", "wires", run.pk))
    assert {finding.rule for finding in answer.context["refusal"].findings} == {"import.column", "import.header"}
    assert answer.context["page"].report is None


def test_page_says_how_far_the_check_is(signed_in, cast):
    run = ordered(cast, GOOD)
    ImportRun.objects.filter(pk=run.pk).update(state="checking", done=500, total=2000)
    part = signed_in(cast.planner).get(at("import-run", "wires", run.pk), headers={"HX-Request": "true"}).content.decode()
    assert '<progress class="wide" max="2000" value="500"' in part
    assert part.lstrip().startswith('<div id="import-run"')


def test_progress_is_told_while_it_goes_on(cast, monkeypatch):
    run = ordered(cast, HEADER + "".join(f"W-{i},0.5 mm²,1.6\n" for i in range(1200)))
    seen = []
    monkeypatch.setattr("shop.acts.import_runs.SECONDS_BETWEEN_NEWS", 0)
    real = ImportRun.objects.filter

    def watched(**named):
        rows = real(**named)
        seen.extend(rows.values_list("state", "done", "total"))
        return rows

    monkeypatch.setattr(ImportRun.objects, "filter", watched)
    run_import(key=run.pk)
    assert ("checking", 500, 1200) in seen
    assert ("writing", 0, 1200) in seen


def test_run_without_news_is_not_taken_for_alive_and_starts_again(signed_in, cast, django_capture_on_commit_callbacks):
    run = ordered(cast, GOOD)
    ImportRun.objects.filter(pk=run.pk).update(state="checking", heard_at=now() - PATIENCE + timedelta(seconds=30))
    client = signed_in(cast.planner)
    assert not client.get(at("import-run", "wires", run.pk)).context["page"].is_lost
    ImportRun.objects.filter(pk=run.pk).update(heard_at=now() - PATIENCE - timedelta(seconds=1))
    answer = client.get(at("import-run", "wires", run.pk))
    assert (answer.context["page"].word, "hx-trigger" in answer.content.decode()) == ("no news", False)
    assert "No news since" in answer.content.decode()
    with django_capture_on_commit_callbacks(execute=True):
        client.post(at("import-again", "wires", run.pk))
    assert (Wire.objects.count(), ImportRun.objects.first().state) == (2, "done")


def test_run_is_done_once(cast):
    run = ordered(cast, GOOD)
    run_import(key=run.pk)
    Wire.objects.all().delete()
    run_import(key=run.pk)
    assert not Wire.objects.exists()


def test_run_that_breaks_says_so_and_raises(signed_in, cast, monkeypatch):
    def broken(**named):
        raise ZeroDivisionError("the disk is full")

    run = ordered(cast, GOOD)
    monkeypatch.setattr("shop.acts.import_runs.import_rows", broken)
    with pytest.raises(ZeroDivisionError):
        run_import(key=run.pk)
    page = signed_in(cast.planner).get(at("import-run", "wires", run.pk)).context["page"]
    assert (page.word, page.fault) == ("broken off", "ZeroDivisionError: the disk is full")


def test_run_whose_file_is_gone_or_damaged(cast):
    run = ordered(cast, GOOD)
    default_storage.delete(storage_name(run.sha256))
    with pytest.raises(Refused) as refused:
        start_again(run=run, by=cast.quality, at=now(), dry_run=False)
    assert [finding.rule for finding in refused.value.findings] == ["import.file"]
    default_storage.save(storage_name(run.sha256), io.BytesIO(b"something else"))
    assert run_import(key=run.pk).state == ImportState.REFUSED
    assert not Wire.objects.exists()


def test_runs_by_and_for_who_may_not(signed_in, cast):
    with pytest.raises(Refused):
        order_import(kind="wires", file_name="x.csv", data=GOOD.encode(), by=cast.operator, at=now())
    assert not ImportRun.objects.exists()
    run = ordered(cast, GOOD)
    client = signed_in(cast.operator)
    assert client.get(at("import-run", "wires", run.pk)).status_code == 403
    assert client.post(at("import-again", "wires", run.pk)).status_code == 422
    assert ImportRun.objects.count() == 1
    assert client.get(at("import-run", "terminals", run.pk)).status_code in (403, 404)
    Person.objects.filter(pk=cast.quality.pk).update(is_active=False)  # who asked has left meanwhile
    assert run_import(key=run.pk).state == ImportState.REFUSED
    assert not Wire.objects.exists()


def test_import_page_lists_the_newest_runs_of_its_kind(signed_in, cast):
    ordered(cast, GOOD)
    client = signed_in(cast.planner)
    assert [run.file_name for run in client.get(at("import", "wires")).context["page"].runs] == ["list.csv"]
    assert client.get(at("import", "terminals")).context["page"].runs == []


# --- On the command line ---------------------------------------------------------------------------------------------------------


class Watched(io.StringIO):
    def isatty(self):
        return True


@pytest.mark.parametrize(("stream", "options", "told"), [(Watched, [], True), (io.StringIO, [], False), (Watched, ["--json"], False)])
def test_command_tells_its_progress_to_a_person_only(db, tmp_path, stream, options, told):
    path = tmp_path / "list.csv"
    path.write_text(GOOD)
    err = stream()
    call_command("import", "wires", path, *options, stdout=io.StringIO(), stderr=err)
    assert ("checking: 2 of 2 rows" in err.getvalue()) is told
    assert err.getvalue().endswith("\r\x1b[K") is told  # and leaves nothing behind
    assert "\n" not in err.getvalue()
