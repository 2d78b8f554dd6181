"""The first-article report answers every field of SAE AS9102, forms 1 to 3, as the reference table in trade terms lists them."""

from __future__ import annotations

import re

import pytest

from records.content import ArticleContent, CharacteristicContent, LowerPart, SourceContent
from records.gather.first_article import first_article_record
from tests.records.sample_records import first_article
from tests.records.test_documents import pages_of, printed

# (form, field): where the record answers it. Numbers 19 and up changed between revisions B and C: meanings, not numbers, count there.
ANSWERED = {
    (1, "1 part number"): ("article", "part_number"),
    (1, "2 part name"): ("article", "part_name"),
    (1, "3 serial number"): ("article", "serial_number"),
    (1, "4 report number"): ("article", "report_number"),
    (1, "5 part revision"): ("article", "part_revision"),
    (1, "6 drawing number"): ("article", "drawing"),
    (1, "7 drawing revision"): ("article", "drawing_revision"),
    (1, "8 further changes"): ("article", "further_changes"),
    (1, "9 process reference"): ("article", "process_reference"),
    (1, "10 organisation"): ("article", "organisation"),
    (1, "11 supplier code"): ("article", "supplier_code"),
    (1, "12 purchase order"): ("article", "purchase_order"),
    (1, "13 detail part or assembly"): ("article", "level"),
    (1, "14 full or partial"): ("article", "extent"),
    (1, "14 baseline"): ("article", "baseline"),
    (1, "14 reason"): ("article", "reason"),
    (1, "15 next lower part number"): ("lower_parts", "part_number"),
    (1, "16 name"): ("lower_parts", "part_name"),
    (1, "17 serial or kind"): ("lower_parts", "origin"),
    (1, "17 lot"): ("lower_parts", "lot"),
    (1, "18 its report"): ("lower_parts", "report_number"),
    (1, "holds a nonconformance"): ("article", "holds_nonconformance"),
    (1, "verified by, date"): ("article", "verified"),
    (1, "reviewed by, date"): ("article", "reviewed"),
    (1, "customer approval, date"): ("article", "customer_approval"),
    (1, "comments"): ("article", "comments"),
    (2, "5 material or process"): ("sources", "name"),
    (2, "6 specification"): ("sources", "specification"),
    (2, "7 code"): ("sources", "process_code"),
    (2, "8 source"): ("sources", "source"),
    (2, "9 customer approval of source"): ("sources", "source_approved"),
    (2, "10 certificate"): ("sources", "certificate"),
    (2, "11 test procedure"): ("sources", "test_procedure"),
    (2, "12 acceptance report"): ("sources", "test_report"),
    (2, "13 comments"): ("sources", "comment"),
    (3, "5 characteristic number"): ("characteristics", "number"),
    (3, "6 where"): ("characteristics", "where"),
    (3, "7 designator"): ("characteristics", "designator"),
    (3, "8 requirement"): ("characteristics", "requirement"),
    (3, "8 unit"): ("characteristics", "unit"),
    (3, "9 results"): ("characteristics", "results"),
    (3, "10 tooling"): ("characteristics", "tooling"),
    (3, "11 nonconformance"): ("characteristics", "nonconformance"),
    (3, "gauge"): ("characteristics", "gauge"),
    (3, "comments"): ("characteristics", "comment"),
}


def rows_of(record, section):
    part = record[section]
    return part if isinstance(part, list) else [part]


@pytest.mark.parametrize(("field", "place"), ANSWERED.items(), ids=lambda one: "-".join(map(str, one)))
def test_field_is_answered_in_the_record_of_a_real_batch(field, place, first_article_of_a_batch):
    section, name = place
    rows = rows_of(first_article_of_a_batch, section)

    assert rows
    assert all(name in row for row in rows)


@pytest.fixture
def first_article_of_a_batch(batch):
    return first_article_record(batch)


def test_nothing_the_report_states_is_outside_the_list():
    typed = {"article": ArticleContent, "lower_parts": LowerPart, "sources": SourceContent, "characteristics": CharacteristicContent}
    stated = {(section, name) for section, shape in typed.items() for name in shape.__annotations__}

    # The verdict in our own word beside the results is ours, not the standard's.
    assert stated - set(ANSWERED.values()) == {("characteristics", "outcome")}


def test_every_target_and_criterion_of_the_batch_has_its_own_numbered_row(batch, first_article_of_a_batch):
    rows = first_article_of_a_batch["characteristics"]

    assert [row["number"] for row in rows] == [str(n) for n in range(1, len(rows) + 1)]
    assert any("crimp height" in row["requirement"] for row in rows)
    assert any("pull force" in row["requirement"] for row in rows)
    assert len({row["requirement"] for row in rows}) == len(rows)


def test_report_says_who_verified_it_and_that_it_holds_no_nonconformance(batch, first_article_of_a_batch):
    article = first_article_of_a_batch["article"]

    assert article["holds_nonconformance"] == "no"
    assert re.match(r"Omar Reyes, \d{4}-\d\d-\d\d", article["verified"])


def test_section_of_what_does_not_apply_says_why(tmp_path):
    text = " ".join(pages_of(printed(first_article()), tmp_path / "fa.pdf"))

    assert "Fields that do not apply to a crimped lead" in text
    assert "serial number" in text.lower()
