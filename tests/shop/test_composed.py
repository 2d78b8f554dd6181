"""Questions whose statement is put together once answer as the querysets they come from."""

from __future__ import annotations

import gc
import threading
import weakref
from datetime import UTC, datetime, timedelta

import pytest
from django.contrib.contenttypes.models import ContentType
from django.db import connection, connections
from django.db.models import CharField, Count, DateTimeField, prefetch_related_objects
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shop.composed import AnyOf, Composed, Given, by_key, hang
from shop.jobs import Job, Termination, TerminationWire
from shop.materials import TerminalLot, Wire
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def terminations(cast, catalogue):
    sheet = factories.released(cast, catalogue, terminations=3)
    return list(sheet.terminations.all())


def test_list_of_any_length_is_answered_by_the_same_statement(catalogue):
    ask = Composed(lambda: TerminalLot.objects.filter(AnyOf("pk", "keys")).order_by("pk"))
    every = list(TerminalLot.objects.order_by("pk"))
    with CaptureQueriesContext(connection) as asked:
        answers = [ask(keys=[lot.pk for lot in every[:n]]) for n in range(len(every) + 1)]

    assert answers == [every[:n] for n in range(len(every) + 1)]
    assert len(asked) == len(every) + 1
    assert len({ask.statement(keys=[lot.pk for lot in every[:n]])[0] for n in range(3)}) == 1


@settings(max_examples=50, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(names=st.lists(st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=12), max_size=6))
def test_any_text_is_found_as_it_is(catalogue, names):
    """Commas, braces, quotes and backslashes of a name do not become part of the statement or of the list."""
    ask = Composed(lambda: Wire.objects.filter(AnyOf("part_number", "numbers")).values_list("part_number", flat=True))

    assert ask(numbers=[*names, catalogue.wire.part_number]) == [catalogue.wire.part_number]
    if catalogue.wire.part_number not in names:
        assert ask(numbers=names) == []


@pytest.mark.parametrize("asked", [["part_number"], ["part_number", "size"]])
def test_what_is_only_ordered_by_is_no_part_of_the_answer(catalogue, asked):
    def questions():
        return Wire.objects.filter(AnyOf("pk", "keys")).order_by("-insulation_od_mm", "part_number").values_list(*asked).distinct()

    plain = Wire.objects.order_by("-insulation_od_mm", "part_number").values_list(*asked).distinct()

    assert Composed(questions)(keys=Wire.objects.values_list("pk", flat=True)) == list(plain)
    assert len(list(plain)) > 1


def test_moment_and_text_are_prepared_as_their_fields_prepare_them(cast, catalogue):
    job = factories.released(cast, catalogue).job
    ask = Composed(lambda: Job.objects.filter(opened_at__gt=Given("since", DateTimeField()), number=Given("number", CharField())))

    assert ask(since=job.opened_at - timedelta(seconds=1), number=job.number) == [job]
    assert ask(since=job.opened_at, number=job.number) == []
    assert ask(since=datetime(2000, 1, 1, tzinfo=UTC), number="another") == []


def test_joined_rows_annotations_and_named_values_come_as_from_a_queryset(terminations):
    wired = Termination.objects.select_related("sheet__job", "terminal").annotate(n=Count("termination_wires"))
    rows = Composed(lambda: wired.filter(pk=Given("pk")))(pk=terminations[0].pk)
    with CaptureQueriesContext(connection) as asked:
        assert (rows[0].sheet.job.number, rows[0].terminal, rows[0].n) == (
            terminations[0].sheet.job.number,
            terminations[0].terminal,
            terminations[0].termination_wires.count(),
        )
    assert len(asked) <= 3  # of the plain one: nothing was left to be read of the composed one
    named = Composed(lambda: Termination.objects.filter(pk=Given("pk")).values_list("lead", "end", named=True))
    assert [(row.lead, row.end) for row in named(pk=terminations[0].pk)] == [(terminations[0].lead, terminations[0].end)]


def test_rows_share_what_they_point_at(terminations):
    ask = Composed(lambda: TerminalLot.objects.order_by("pk"), along={"terminal": by_key(type(terminations[0].terminal))})
    with CaptureQueriesContext(connection) as asked:
        lots = ask()
        assert [lot.terminal.pk for lot in lots] == [lot.terminal_id for lot in lots]
    assert len(asked) == 2
    of_one = [lot.terminal for lot in lots if lot.terminal_id == lots[0].terminal_id]
    assert len(of_one) > 1
    assert all(terminal is of_one[0] for terminal in of_one)


def test_hung_rows_are_what_a_prefetch_brings(terminations, django_assert_num_queries):
    prefetched = list(Termination.objects.filter(pk__in=[t.pk for t in terminations]))
    prefetch_related_objects(prefetched, "termination_wires__wire")
    wires = Composed(lambda: TerminationWire.objects.filter(AnyOf("termination", "keys")), along={"wire": by_key(Wire)})

    hang(terminations, "termination_wires", wires)

    with django_assert_num_queries(0):
        assert {t.pk: t.ordered_wires() for t in terminations} == {t.pk: t.ordered_wires() for t in prefetched}
        assert all(row.termination is t for t in terminations for row in t.termination_wires.all())
    # What is asked beyond it is asked of these rows only, as ever.
    assert terminations[0].termination_wires.filter(wire__part_number="no such wire").count() == 0
    for t in terminations:
        assert list(t.termination_wires.order_by("-position")) == list(TerminationWire.objects.filter(termination=t).order_by("-position"))
    assert terminations[0].termination_wires.create(wire=terminations[0].ordered_wires()[0], position=9).termination == terminations[0]


def test_what_is_not_told_or_not_asked_about_is_an_error(catalogue):
    ask = Composed(lambda: TerminalLot.objects.filter(pk=Given("pk")))
    with pytest.raises(KeyError):
        ask()
    with pytest.raises(TypeError, match="number"):
        ask(pk=1, number="TL-2001")
    with pytest.raises(TypeError, match="prefetch"):
        Composed(lambda: Termination.objects.prefetch_related("plan_lines"))()


def test_question_that_was_made_for_one_asking_leaves_nothing_behind(catalogue):
    ask = Composed(lambda: TerminalLot.objects.filter(pk=Given("pk")))
    assert ask(pk=catalogue.terminal_lot.pk) == [catalogue.terminal_lot]
    (ready,) = map(weakref.ref, ask._by_vendor.values())

    del ask
    gc.collect()

    assert ready() is None


def test_two_threads_do_not_get_each_others_answers(db):
    # Rows that every database has from its migrations: other threads see nothing of this test's transaction.
    ask = Composed(lambda: ContentType.objects.filter(pk=Given("pk")).values_list("pk", flat=True))
    keys = list(ContentType.objects.values_list("pk", flat=True))[:2]
    wrong: list[object] = []
    ready = threading.Barrier(2)

    def run(pk: int) -> None:
        ready.wait()
        try:
            for _turn in range(50):
                if (answer := ask(pk=pk)) != [pk]:
                    wrong.append(answer)
        except Exception as error:
            wrong.append(error)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=[pk]) for pk in keys]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []
