"""Re-checking released sheets: what asks for it, what is flagged and cleared, what it costs, what is recorded and shown."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.management import call_command
from django.urls import reverse
from django_tasks_db.models import DBTaskResult

from records.models import LedgerEntry
from shop.acts.catalogue import save_item, set_tool_state
from shop.acts.catalogue_import import import_rows
from shop.acts.documents import withdraw
from shop.acts.rechecks import ask_recheck, order_recheck, recheck
from shop.acts.sheets import revise_sheet, submit_sheet
from shop.catalogue import kind_named
from shop.clock import now
from shop.concessions import Concession
from shop.events import CatalogueChanged
from shop.finding import Refused
from shop.rechecks import Recheck, SheetFlag
from shop.tools import ToolRow
from tests import factories


@pytest.fixture
def commits(django_capture_on_commit_callbacks):
    """What waits for a commit is done at the end of the block, the background work with it."""
    return lambda: django_capture_on_commit_callbacks(execute=True)


def changed(kind, item, by, **values):
    """Change a catalogue item through its act."""
    found = kind_named(kind)
    return save_item(kind=found, values=found.stated(item) | values, by=by, at=now(), instance=item, reason="as measured")


def open_flags():
    return sorted((str(f.sheet), f.rule) for f in SheetFlag.objects.filter(cleared_at__isnull=True))


# --- What asks for it ------------------------------------------------------------------------------------------------------------


def test_narrowed_tool_row_flags_the_sheets_that_rely_on_it(cast, catalogue, commits):
    sheet = factories.released(cast, catalogue)
    with commits():
        changed("tool-rows", catalogue.row, cast.planner, csa_min_mm2="1.0")
    assert open_flags() == [(str(sheet), "fit.tool.csa")]
    row = Recheck.objects.get()
    assert (row.done, row.total, row.raised, row.error) == (1, 1, 1, "")
    assert row.reason.startswith("tool-rows: ")
    assert row.finished_at is not None


@pytest.mark.parametrize(
    ("kind", "item", "values", "rule"),
    [
        ("terminals", "terminal", {"csa_max_mm2": "0.7"}, "fit.conductor.csa"),
        ("wires", "wire", {"insulation_od_mm": "3.4"}, "fit.insulation.od"),
    ],
)
def test_change_of_what_the_rules_read_is_found(cast, catalogue, commits, kind, item, values, rule):
    factories.released(cast, catalogue)
    with commits():
        changed(kind, getattr(catalogue, item), cast.planner, **values)
    assert rule in {found for _sheet, found in open_flags()}


@pytest.mark.parametrize(
    ("item", "relying", "rules"),
    [("specification", 1, {"fit.spec.not_in_force"}), ("document", 2, {"fit.spec.document_withdrawn"})],
)
def test_withdrawal_of_a_specification_or_its_document_is_found(cast, catalogue, commits, item, relying, rules):
    factories.released(cast, catalogue)
    with commits():
        withdraw(item=getattr(catalogue, item), reason="replaced", knowing=relying, by=cast.planner, at=now())
    assert {rule for _sheet, rule in open_flags()} == rules


def test_press_that_loses_its_verification_flags_the_sheets_that_name_it(cast, catalogue, commits):
    press = factories.set_up_press(catalogue)
    sheet = factories.released(cast, catalogue, press=press)
    with commits():
        changed("presses", press, cast.planner, shut_height_due_on=str(factories.days(-1)))
    assert open_flags() == [(str(sheet), "fit.press.shut_height")]


def test_retired_tool_is_found_and_a_tool_on_hold_is_not_the_plans_concern(cast, catalogue, commits):
    factories.released(cast, catalogue)
    with commits():
        set_tool_state(tool=catalogue.tool, state="on hold", reason="loose anvil", by=cast.quality, at=now())
    assert not Recheck.objects.exists()
    with commits():
        set_tool_state(tool=catalogue.tool, state="retired", reason="worn out", by=cast.quality, at=now())
    assert {rule for _sheet, rule in open_flags()} == {"fit.tool.terminal"}


@pytest.mark.parametrize(
    ("kind", "item", "values"), [("wires", "wire", {"colour": "pink"}), ("gauges", "caliper", {"description": "blue"})]
)
def test_change_of_what_no_rule_reads_asks_for_nothing(cast, catalogue, commits, kind, item, values):
    factories.released(cast, catalogue)
    with commits():
        changed(kind, getattr(catalogue, item), cast.planner, **values)
    assert LedgerEntry.objects.filter(kind=CatalogueChanged.kind).exists()
    assert not Recheck.objects.exists()


def test_nothing_is_checked_while_no_sheet_is_in_force(cast, catalogue, commits):
    factories.in_review(cast, catalogue)
    with commits():
        changed("tool-rows", catalogue.row, cast.planner, csa_min_mm2="1.0")
    assert not Recheck.objects.exists()


def test_import_asks_once_for_all_its_rows(cast, catalogue, commits):
    factories.released(cast, catalogue)
    data = b"part_number,size,insulation_od_mm\nW-1,19x0.2,1.5\nW-2,19x0.2,1.5\n"
    with commits():
        import_rows(kind="wires", file_name="wires.csv", data=data, by=cast.planner, at=now())
    assert Recheck.objects.get().reason == "wires imported from wires.csv"


def test_changes_before_the_worker_comes_share_one_recheck(cast, catalogue):
    factories.released(cast, catalogue)
    first = ask_recheck(reason="one", by=cast.planner, at=now())
    second = ask_recheck(reason="two", by=cast.planner, at=now())
    assert first == second
    assert Recheck.objects.get().reason == "one; two"
    recheck(key=first.pk)
    assert ask_recheck(reason="three", by=cast.planner, at=now()) != first


def test_change_that_is_rolled_back_asks_for_nothing(cast, catalogue, commits):
    factories.released(cast, catalogue)
    with commits(), pytest.raises(Refused):
        changed("tool-rows", catalogue.row, cast.planner, csa_min_mm2="2.0")  # above its largest
    assert not Recheck.objects.exists()


# --- What it finds ---------------------------------------------------------------------------------------------------------------


def run(cast):
    return recheck(key=ask_recheck(reason="test", by=cast.quality, at=now()).pk)


def test_flag_is_cleared_when_it_no_longer_holds_and_kept_as_history(cast, catalogue):
    factories.released(cast, catalogue)
    ToolRow.objects.filter(pk=catalogue.row.pk).update(csa_min_mm2=Decimal(1))
    assert run(cast).raised == 1
    again = run(cast)
    assert (again.raised, again.cleared, len(open_flags())) == (0, 0, 1)
    ToolRow.objects.filter(pk=catalogue.row.pk).update(csa_min_mm2=Decimal("0.5"))
    assert (run(cast).cleared, open_flags()) == (1, [])
    assert SheetFlag.objects.get().cleared_at is not None
    ToolRow.objects.filter(pk=catalogue.row.pk).update(csa_min_mm2=Decimal(1))
    assert (run(cast).raised, SheetFlag.objects.count()) == (1, 2)


def test_flag_follows_the_numbers_while_it_stays(cast, catalogue):
    factories.released(cast, catalogue)
    for low in ("1", "1.2"):
        ToolRow.objects.filter(pk=catalogue.row.pk).update(csa_min_mm2=Decimal(low))
        run(cast)
    flag = SheetFlag.objects.get()
    assert flag.compared["low_mm2"] == "1.2"


def test_live_concession_keeps_a_sheet_unflagged_until_it_ends(cast, catalogue):
    sheet = factories.released(cast, catalogue)
    ToolRow.objects.filter(pk=catalogue.row.pk).update(csa_min_mm2=Decimal(1))
    concession = Concession.objects.create(
        number="C-0001", rule="fit.tool.csa", sheet=sheet, reason="sectioned", expires_on=factories.days(3), granted_by=cast.quality,
        granted_at=now(),
    )  # fmt: skip
    assert run(cast).raised == 0
    Concession.objects.filter(pk=concession.pk).update(expires_on=factories.days(-1))
    assert run(cast).raised == 1


def test_sheet_that_is_superseded_is_flagged_no_more(cast, catalogue):
    sheet = factories.released(cast, catalogue)
    ToolRow.objects.filter(pk=catalogue.row.pk).update(csa_min_mm2=Decimal(1))
    run(cast)
    ToolRow.objects.filter(pk=catalogue.row.pk).update(csa_min_mm2=Decimal("0.5"))
    draft = revise_sheet(sheet=sheet, reason="tool row corrected", by=cast.planner, at=now())
    factories.release(submit_sheet(sheet=draft, by=cast.planner, at=now()), cast.approver)
    run(cast)
    assert open_flags() == []


def test_recheck_stands_in_the_ledger_with_what_it_found(cast, catalogue):
    sheet = factories.released(cast, catalogue)
    ToolRow.objects.filter(pk=catalogue.row.pk).update(csa_min_mm2=Decimal(1))
    run(cast)
    entry = LedgerEntry.objects.get(kind="sheets.rechecked")
    assert f'"flags":["{sheet} L1/A: fit.tool.csa"]' in entry.text
    assert '"raised":1' in entry.text


def test_recheck_is_done_once_however_often_it_is_called(cast, catalogue):
    factories.released(cast, catalogue)
    done = run(cast)
    assert recheck(key=done.pk).finished_at == done.finished_at
    assert LedgerEntry.objects.filter(kind="sheets.rechecked").count() == 1


def test_fault_is_written_down_and_not_swallowed(cast, catalogue, monkeypatch):
    factories.released(cast, catalogue)
    row = ask_recheck(reason="test", by=cast.quality, at=now())

    def broken(*args, **kwargs):
        raise RuntimeError("disk full")

    monkeypatch.setattr("shop.acts.rechecks.checks_of", broken)
    with pytest.raises(RuntimeError):
        recheck(key=row.pk)
    row.refresh_from_db()
    assert (row.error, row.finished_at is not None) == ("RuntimeError: disk full", True)


@pytest.mark.parametrize("terminations", [1, 6])
def test_recheck_reads_the_same_number_of_times_however_many_terminations(cast, catalogue, terminations, django_assert_max_num_queries):
    factories.released(cast, catalogue, terminations=terminations)
    ToolRow.objects.filter(pk=catalogue.row.pk).update(csa_min_mm2=Decimal(1))
    row = ask_recheck(reason="test", by=cast.quality, at=now())
    with django_assert_max_num_queries(27):  # PostgreSQL needs fewer
        recheck(key=row.pk)
    assert SheetFlag.objects.count() == terminations


# --- Pages -----------------------------------------------------------------------------------------------------------------------


def test_page_shows_flags_in_words_and_how_far_a_recheck_is(signed_in, cast, catalogue):
    sheet = factories.released(cast, catalogue)
    ToolRow.objects.filter(pk=catalogue.row.pk).update(csa_min_mm2=Decimal(1))
    run(cast)
    Recheck.objects.create(reason="slow", asked_by=cast.quality, asked_at=now() - timedelta(minutes=2), started_at=now(), total=40, done=10)
    answer = signed_in(cast.planner).get(reverse("plan:recheck"))
    page = answer.context["page"]
    assert page.is_running
    assert [(run.reason, run.done, run.total, run.word) for run in page.runs] == [
        ("slow", 10, 40, "is running"),
        ("test", 1, 1, "flags raised"),
    ]
    (flag,) = page.flagged
    assert (flag.sheet, flag.place) == (str(sheet), "L1 A")
    assert flag.words.what == "Conductor 0.754 mm² lies outside the row 1 to 1.5 mm² of tool AP-031."
    assert 'hx-trigger="every 2s"' in answer.content.decode()


def test_page_that_waits_too_long_names_the_worker(signed_in, cast, catalogue):
    Recheck.objects.create(reason="r", asked_by=cast.quality, asked_at=now() - timedelta(minutes=2))
    assert "db_worker" in signed_in(cast.planner).get(reverse("plan:recheck")).content.decode()
    Recheck.objects.update(asked_at=now())
    assert "db_worker" not in signed_in(cast.planner).get(reverse("plan:recheck")).content.decode()


def test_moving_part_comes_alone_and_stops_when_nothing_runs(signed_in, cast, catalogue):
    answer = signed_in(cast.planner).get(reverse("plan:recheck"), headers={"HX-Request": "true"})
    assert "<html" not in answer.content.decode()
    assert "hx-trigger" not in answer.content.decode()


def test_planners_and_quality_order_a_recheck_and_others_do_not(signed_in, cast, catalogue, commits):
    factories.released(cast, catalogue)
    client = signed_in(cast.auditor)
    assert not client.get(reverse("plan:recheck")).context["page"].may_order
    assert client.post(reverse("plan:order-recheck")).status_code == 422
    with pytest.raises(Refused):
        order_recheck(by=cast.operator, at=now())
    with commits():
        assert signed_in(cast.planner).post(reverse("plan:order-recheck")).status_code == 302
    assert Recheck.objects.get().finished_at is not None


def test_flags_stand_on_the_list_and_on_the_sheet(signed_in, cast, catalogue):
    sheet, other = factories.released(cast, catalogue), factories.released(cast, catalogue)
    first = sheet.terminations.get()
    compared = {"tool": "AP-031", "terminal": "T-250-F"}
    SheetFlag.objects.create(sheet=sheet, termination=first, rule="fit.tool.terminal", compared=compared, verdict="misfit", raised_at=now())
    client = signed_in(cast.planner)
    lines = {line.label: line.flags for line, _sheet in client.get(reverse("plan:sheets")).context["page"].lines}
    assert lines == {str(sheet): "would not be released today: 1 flag", str(other): ""}
    assert "This sheet would not be released today." in client.get(reverse("plan:sheet", args=[sheet.pk])).content.decode()
    assert "This sheet would not be released today." not in client.get(reverse("plan:sheet", args=[other.pk])).content.decode()


# --- Command and worker ----------------------------------------------------------------------------------------------------------


def test_command_asks_for_a_recheck_as_the_system(cast, catalogue, commits, capsys):
    call_command("recheck")
    assert capsys.readouterr().out == "No sheet is in force: nothing to check.\n"
    factories.released(cast, catalogue)
    with commits():
        call_command("recheck")
    row = Recheck.objects.get()
    assert (row.asked_by.username, row.finished_at is not None) == ("system", True)
    assert capsys.readouterr().out == f"Re-check {row.pk} is asked for.\n"


def test_recheck_waits_in_the_shops_own_database_until_the_worker_comes(cast, catalogue, commits, settings):
    settings.TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend", "QUEUES": ["default"]}}
    factories.released(cast, catalogue)
    with commits():
        row = ask_recheck(reason="test", by=cast.quality, at=now())
    row.refresh_from_db()
    assert row.started_at is None
    waiting = DBTaskResult.objects.ready().get()
    # What the worker does with it, without its endless loop.
    waiting.task.call(*waiting.task_result.args, **waiting.task_result.kwargs)
    row.refresh_from_db()
    assert row.done == 1
