"""The audit trail: every entry in words, with what changed and why; any content of any version can be read."""

from __future__ import annotations

import csv
import io
import json
from datetime import timedelta
from decimal import Decimal

from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from records.audit_trail import READINGS, told
from records.models import IssuedDocument, LedgerEntry
from records.trails import entries_about, subject_of, subject_of_item, trail, trail_url
from shop.acts.catalogue import save_item, set_tool_state
from shop.acts.crib import set_counter
from shop.acts.sheets import revise_sheet, submit_sheet
from shop.catalogue import kind_named
from shop.clock import now
from shop.events import RECORDED
from shop.models import CrimpSpecification
from tests import factories
from tests.records.test_prove_pages import text_of

JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=12), inner, max_size=4),
    max_leaves=12,
)
NAMES = ["before", "after", "kind", "reason", "values", "changes", "batches", "terminations", "slots", "readings", "lots", "quantity"]


def lines_of(item):
    subject = subject_of_item(item)
    return trail(subject, entries_about(subject))


def test_changed_target_is_told_with_old_new_person_and_reason(cast, catalogue):
    kind = kind_named("specifications")
    specification = CrimpSpecification.objects.first()
    values = kind.stated(specification) | {"crimp_height_nominal_mm": "1.42"}
    old = CrimpSpecification.objects.get(pk=specification.pk)

    save_item(kind=kind, values=values, instance=specification, by=cast.quality, at=now(), reason="window moved after the study")

    line = lines_of(specification)[-1]
    assert line.told.changes == (f"crimp height nominal: {kind.stated(old)['crimp_height_nominal_mm']} → 1.42 mm",)
    assert (line.by, line.told.reason) == (cast.quality.name, "window moved after the study")


def test_state_of_a_tool_is_told_before_and_after(cast, catalogue):
    set_tool_state(tool=catalogue.tool, state="on hold", reason="jaw chipped", by=cast.quality, at=now())

    told_of = lines_of(catalogue.tool)[-1].told

    assert "state: available → on hold" in told_of.changes
    assert told_of.reason == "jaw chipped"


def test_counter_is_told_before_and_after(cast, catalogue):
    before = catalogue.tool.crimp_count
    set_counter(tool=catalogue.tool, count=before + 500, by=cast.planner, at=now())

    assert lines_of(catalogue.tool)[-1].told.changes == (f"crimps: {before} → {before + 500}",)


def test_second_revision_is_told_against_the_first(cast, catalogue):
    first = factories.released(cast, catalogue)
    CrimpSpecification.objects.update(crimp_height_nominal_mm=Decimal("1.42"))
    draft = revise_sheet(sheet=first, reason="height moved", by=cast.planner, at=now())
    submit_sheet(sheet=draft, by=cast.planner, at=now())
    factories.release(draft, cast.approver)

    subject = subject_of("setup-sheet", first.pk)
    last = [line for line in trail(subject, entries_about(subject)) if "released" in line.told.what][-1]

    assert any("target crimp height" in change and "→ 1.42" in change for change in last.told.changes)
    assert last.told.reason == "height moved"
    assert last.signed_as


def test_every_revision_is_one_trail(cast, catalogue):
    first = factories.released(cast, catalogue)
    draft = revise_sheet(sheet=first, reason="height moved", by=cast.planner, at=now())

    of_first, of_second = (
        [line.number for line in trail(s, entries_about(s))]
        for s in (subject_of("setup-sheet", first.pk), subject_of("setup-sheet", draft.pk))
    )

    assert of_first == of_second
    assert len(of_first) >= 4


def test_batch_tells_its_samples(cast, batch):
    subject = subject_of("batch", batch.pk)
    lines = trail(subject, entries_about(subject))

    assert any(line.about.startswith("sample ") and "measured: conforms" in line.told.what for line in lines)
    assert lines[-1].told.what.startswith("Batch closed: 104 made, 100 good")


def test_trail_leaves_out_other_things(cast, catalogue):
    set_tool_state(tool=catalogue.tool, state="on hold", reason="jaw chipped", by=cast.quality, at=now())
    other = catalogue.tool.__class__.objects.exclude(pk=catalogue.tool.pk).first()

    assert other is not None
    assert lines_of(other) == []


def test_trail_is_filtered_by_person_and_time(cast, catalogue):
    set_tool_state(tool=catalogue.tool, state="on hold", reason="a", by=cast.quality, at=now())
    set_counter(tool=catalogue.tool, count=900_000, by=cast.planner, at=now())
    subject = subject_of_item(catalogue.tool)

    assert [e.kind for e in entries_about(subject, by=cast.planner.username)] == ["tool.counter_set"]
    assert not entries_about(subject, begin=now() + timedelta(days=1))
    assert not entries_about(subject, end=now() - timedelta(days=1))


def test_every_recorded_kind_is_told(cast, shipment):
    """Whatever the shop wrote so far reads with words of its own: no sentence falls back to the kind's name where a reading exists."""
    for entry in LedgerEntry.objects.all():
        content = json.loads(entry.text)["content"]
        if entry.kind in READINGS:
            READINGS[entry.kind](content, None)  # raises where the content has not what the sentence says
        assert told(entry.kind, content).what


def test_readings_belong_to_kinds_that_are_recorded():
    assert set(READINGS) <= set(RECORDED)


@given(
    kind=st.sampled_from([*READINGS, "unknown.kind"]),
    content=st.dictionaries(st.sampled_from(NAMES) | st.text(max_size=8), JSON, max_size=6),
)
def test_any_content_can_be_read(kind, content):
    answer = told(kind, content)

    assert answer.what
    assert all(isinstance(line, str) for line in answer.changes)


def test_unknown_kind_reads_field_by_field():
    answer = told("press.painted", {"colour": "green", "before": {"height_mm": "1.40"}, "after": {"height_mm": "1.42"}, "reason": "rust"})

    assert (answer.what, answer.reason) == ("Press painted", "rust")
    assert answer.changes == ("height: 1.40 → 1.42 mm", "colour: green")


def test_page_shows_the_change_and_the_catalogue_leads_to_it(signed_in, cast, catalogue):
    set_tool_state(tool=catalogue.tool, state="on hold", reason="jaw chipped", by=cast.quality, at=now())
    client = signed_in(cast.auditor)
    url = trail_url("tools", catalogue.tool.pk)

    page = text_of(client.get(url))

    assert "state: available → on hold" in page
    assert "jaw chipped" in page
    assert url in text_of(client.get(reverse("shop:detail", args=["tools", catalogue.tool.pk])))


def test_page_of_a_thing_nobody_knows_is_not_found(signed_in, cast, catalogue):
    assert signed_in(cast.auditor).get(trail_url("tools", 99999)).status_code == 404
    assert signed_in(cast.auditor).get(trail_url("teapots", 1)).status_code == 404


def test_csv_has_a_row_for_each_entry(signed_in, cast, catalogue):
    set_tool_state(tool=catalogue.tool, state="on hold", reason="=jaw chipped", by=cast.quality, at=now())
    answer = signed_in(cast.auditor).get(reverse("prove:trail-csv", args=["tools", catalogue.tool.pk]))

    rows = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))

    assert len(rows) == 2
    assert "state: available → on hold" in rows[1][5]
    assert rows[1][6] == "'=jaw chipped"


def test_trail_is_issued_as_a_document(signed_in, cast, catalogue, shop_key):
    set_tool_state(tool=catalogue.tool, state="on hold", reason="jaw chipped", by=cast.quality, at=now())
    answer = signed_in(cast.auditor).post(reverse("prove:trail-issue", args=["tools", catalogue.tool.pk]))

    assert answer.status_code == 302
    record = json.loads(IssuedDocument.objects.get(kind="audit trail").record)
    assert "state: available → on hold" in record["entries"][0]["changes"]
    assert signed_in(cast.auditor).get(answer.url).status_code == 200


def test_ledger_entry_is_told_in_words(signed_in, cast, catalogue):
    set_tool_state(tool=catalogue.tool, state="on hold", reason="jaw chipped", by=cast.quality, at=now())
    newest = LedgerEntry.objects.order_by("-number").first()

    page = text_of(signed_in(cast.auditor).get(reverse("prove:ledger-entry", args=[newest.number])))

    assert "state: available → on hold" in page
