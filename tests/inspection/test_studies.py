"""Studies from opening to the signed report: acts, pages and document, on the smallest kind (one reference part)."""

import csv
import io
import json

import pytest
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from inspection.acts.studies import (
    SIGNED_MEANING,
    abandon_study,
    analysis_of,
    open_study,
    opened,
    record_values,
    sign_study,
    study_content,
    take_over,
)
from inspection.models import Study, StudyValue
from inspection.study_kinds.kind import Parameter, StudyKind, read_parameters
from inspection.study_kinds.registry import KINDS
from records.acts.documents import document_bytes, issue_study_report
from records.models import LedgerEntry, Signature
from records.verification import verify_pdf
from shop.canonical import content_sha256
from shop.clock import now
from shop.finding import Refused
from shop.sign_on import sign
from shop.wording import worded
from tests.factories import PIN

SET_UP = {"reference": "2.000", "tolerance": "0.10", "readings": "25", "fraction": "0.2", "sigmas": "6", "required": "1.33"}
READINGS = [f"{2.0 + 0.001 * ((7 * n) % 5 - 2):.4f}" for n in range(1, 26)]  # invented: 1.998 to 2.002


def refused(act, **given):
    with pytest.raises(Refused) as error:
        act(**given)
    assert all(worded(finding).sentence for finding in error.value.findings)
    return [finding.rule for finding in error.value.findings]


@pytest.fixture
def study(cast, catalogue):
    return open_study(kind="one-part", title="Micrometer 1", set_up=SET_UP, gauge=catalogue.micrometer, by=cast.quality, at=now())


@pytest.fixture
def filled(study, cast):
    record_values(study=study, values=dict(zip(map(str, range(1, 26)), READINGS, strict=True)), by=cast.inspector, at=now())
    return study


def conclude(study, person, conclusion="Fit for crimp heights.", seen=None):
    at = now()
    read = opened(Study.objects.get(pk=study.pk))
    seen = seen or content_sha256(study_content(read, analysis_of(read)))
    signing = sign(identifier=person.username, secret=PIN, meaning=SIGNED_MEANING, at=at)
    return sign_study(study=study, conclusion=conclusion, by=person, at=at, signing=signing, seen_sha256=seen)


# --- Acts ------------------------------------------------------------------------------------------------------------------------


def test_studies_are_numbered_in_order(study, cast, catalogue):
    second = open_study(kind="one-part", title="again", set_up=SET_UP, gauge=catalogue.caliper, by=cast.quality, at=now())
    assert (study.number, second.number) == ("ST-0001", "ST-0002")


def test_study_needs_its_subject_and_readable_parameters(cast, catalogue):
    given = {"kind": "one-part", "title": "x", "set_up": SET_UP, "by": cast.quality, "at": now()}
    assert refused(open_study, **given) == ["study.subject"]
    given |= {"gauge": catalogue.micrometer}
    assert refused(open_study, **{**given, "set_up": SET_UP | {"tolerance": "wide", "readings": "24"}}) == ["study.parameter"] * 2
    assert refused(open_study, **{**given, "kind": "tea-leaves"}) == ["data.unknown"]
    assert refused(open_study, **{**given, "title": " "}) == ["data.required"]
    assert refused(open_study, **{**given, "by": cast.operator}) == ["person.role"]
    assert not Study.objects.exists()


def test_values_keep_their_digits_and_their_writer(filled, cast):
    rows = {v.place: (v.text, v.by) for v in StudyValue.objects.all()}
    assert len(rows) == 25
    assert rows["1"] == (READINGS[0], cast.inspector)


def test_value_that_changes_is_corrected_with_a_reason_and_the_old_one_stays(filled, cast):
    assert refused(record_values, study=filled, values={"3": "2.5"}, by=cast.inspector, at=now()) == ["study.correction"]
    record_values(study=filled, values={"3": "2.5", "4": READINGS[3]}, by=cast.inspector, at=now(), reason="read upside down")
    assert [v.text for v in StudyValue.objects.filter(place="3")] == [READINGS[2], "2.5"]
    assert opened(filled).standing["3"].text == "2.5"
    assert StudyValue.objects.filter(place="4").count() == 1


@pytest.mark.parametrize(
    ("place", "text", "rule"),
    [
        ("99", "2.0", "study.place"),
        ("1", "two", "study.value"),
        ("1", "0.0787 in", "study.value"),
        ("1", "1,234.5", "study.value"),
    ],
)
def test_value_that_belongs_nowhere_or_is_none_is_refused(study, cast, place, text, rule):
    assert refused(record_values, study=study, values={"2": "2.001", place: text}, by=cast.inspector, at=now()) == [rule]
    assert not StudyValue.objects.exists()


def test_answer_waits_for_every_value(study, cast):
    record_values(study=study, values={"1": "2.000"}, by=cast.inspector, at=now())
    with pytest.raises(Refused) as error:
        analysis_of(opened(study))
    (finding,) = error.value.findings
    assert (finding.rule, finding.compared["missing"]) == ("study.incomplete", 24)


def test_signed_study_has_its_answer_and_takes_nothing_more(filled, cast):
    signed = conclude(filled, cast.quality)
    assert (signed.state, signed.outcome, signed.conclusion) == ("signed", "conforms", "Fit for crimp heights.")
    # s of 1.998, 1.999, 2.000, 2.001, 2.002 five times each is 0.001 sqrt(2) sqrt(25/24); Cg = 0.2 x 0.1 / (6 s)
    assert float(signed.result["cg"]) == pytest.approx(0.02 / (6 * 0.001 * 2**0.5 * (25 / 24) ** 0.5))
    assert Signature.objects.get(meaning=SIGNED_MEANING).person == cast.quality
    assert refused(record_values, study=signed, values={"1": "2"}, by=cast.quality, at=now()) == ["study.state"]
    assert refused(abandon_study, study=signed, reason="x", by=cast.quality, at=now()) == ["study.state"]


def test_study_is_signed_by_quality_over_what_was_seen_and_with_a_conclusion(filled, cast):
    with pytest.raises(Refused) as error:
        conclude(filled, cast.inspector)
    assert [f.rule for f in error.value.findings] == ["person.role"]
    with pytest.raises(Refused) as error:
        conclude(filled, cast.quality, conclusion="  ", seen="0" * 64)
    assert {f.rule for f in error.value.findings} == {"sign.stale", "study.conclusion"}
    assert Study.objects.get().state == "open"


def test_abandoned_study_keeps_its_values(filled, cast):
    assert refused(abandon_study, study=filled, reason=" ", by=cast.quality, at=now()) == ["study.conclusion"]
    gone = abandon_study(study=filled, reason="wrong part", by=cast.quality, at=now())
    assert (gone.state, StudyValue.objects.count()) == ("abandoned", 25)


def test_typed_study_takes_nothing_over_from_production(study, cast):
    assert refused(take_over, study=study, by=cast.quality, at=now()) == ["study.taken_over"]


def test_ledger_tells_the_whole_study(filled, cast):
    record_values(study=filled, values={"1": "2.0001"}, by=cast.inspector, at=now(), reason="typing error")
    conclude(filled, cast.quality)
    entries = {e.kind: json.loads(e.text)["content"] for e in LedgerEntry.objects.filter(subject_kind="study").order_by("number")}
    assert set(entries) == {"study.opened", "study.values_recorded", "study.signed"}
    (corrected,) = entries["study.values_recorded"]["values"]
    assert corrected == {"place": "1", "value": "2.0001", "before": READINGS[0], "reason": "typing error"}
    assert entries["study.signed"]["values"][0]["value"] == "2.0001"
    assert entries["study.signed"]["set_up"]["reference"] == "2.000"


# --- Parameters ------------------------------------------------------------------------------------------------------------------


def test_every_kind_reads_its_own_initial_parameters_or_asks():
    for kind in KINDS.values():
        needed = {p.name for p in kind.parameters if p.required and not p.initial and p.type not in ("lines", "yes")}
        given_texts = {p.name: p.initial for p in kind.parameters}
        try:
            read_parameters(kind, given_texts)
            asked = set()
        except Refused as error:
            asked = {f.field for f in error.findings}
        assert asked <= needed | {p.name for p in kind.parameters if p.type == "lines"}, kind.slug


@given(st.text(max_size=30))
def test_parameter_is_read_or_refused_and_nothing_else(text):
    kind = StudyKind("x", "x", "x", frozenset(), (Parameter("n", "n", "count"), Parameter("x", "x")), None, None)
    try:
        read = read_parameters(kind, {"n": text, "x": text})
    except Refused as error:
        read = {f.rule for f in error.findings}
    assert read == {"study.parameter"} or (isinstance(read["n"], int) and read["x"] == read["n"])


# --- Pages -----------------------------------------------------------------------------------------------------------------------


def test_quality_opens_fills_and_signs_a_study_on_its_pages(signed_in, cast, catalogue):
    client = signed_in(cast.quality)
    opened_at = client.post(reverse("studies:new", args=["one-part"]), SET_UP | {"title": "Micrometer 1", "gauge": "MIC-01"})
    address = reverse("studies:study", args=["ST-0001"])
    assert opened_at["Location"] == address
    assert client.get(address).context["page"].analysis is None

    assert client.post(address, {"pasted": "\n".join(READINGS)}).status_code == 302
    page = client.get(address).context["page"]
    assert (page.entered, page.analysis.outcome, page.may_sign) == (25, "conforms", True)

    sign_at = reverse("studies:conclude", args=["ST-0001"])
    seen = client.get(sign_at).context["page"].sha256
    bad = client.post(sign_at, {"seen_sha256": seen, "conclusion": "", "secret": PIN})
    assert (bad.status_code, "conclusion" in bad.context["page"].form.errors) == (422, True)
    assert client.post(sign_at, {"seen_sha256": seen, "conclusion": "Good.", "secret": PIN})["Location"] == address
    assert Study.objects.get().state == "signed"


def test_refused_value_is_shown_at_its_place_and_nothing_is_lost(signed_in, cast, study):
    client, address = signed_in(cast.inspector), reverse("studies:study", args=[study.number])
    answer = client.post(address, {"at-1": "2.001", "at-2": "x2"})
    assert answer.status_code == 422
    cells = {cell.name: cell for row in answer.context["page"].rows for cell in row.cells}
    assert (cells["at-1"].text, cells["at-2"].text, bool(cells["at-2"].error)) == ("2.001", "x2", True)
    assert not StudyValue.objects.exists()


def test_operator_reads_studies_and_opens_none(signed_in, cast, filled):
    client = signed_in(cast.operator)
    assert client.get(reverse("studies:list")).context["page"].kinds[0].url == ""
    page = client.get(reverse("studies:study", args=[filled.number])).context["page"]
    assert (page.may_enter, page.may_sign, page.may_abandon) == (False, False, False)
    assert client.get(reverse("studies:new", args=["one-part"])).status_code == 403


def test_list_is_filtered_by_the_address(signed_in, cast, filled, catalogue):
    other = open_study(kind="one-part", title="Caliper", set_up=SET_UP, gauge=catalogue.caliper, by=cast.quality, at=now())
    conclude(filled, cast.quality)
    client = signed_in(cast.quality)

    def numbers(query):
        return {line.number for line in client.get(reverse("studies:list") + query).context["page"].lines}

    assert numbers("") == {filled.number, other.number}
    assert numbers("?state=signed") == {filled.number}
    assert numbers("?q=cal-01") == {other.number}
    assert numbers("?kind=one-part&q=nothing") == set()


@pytest.mark.parametrize("studies", [1, 3])
def test_list_queries(signed_in, cast, catalogue, django_assert_num_queries, studies):
    for number in range(studies):
        open_study(kind="one-part", title=str(number), set_up=SET_UP, gauge=catalogue.micrometer, by=cast.quality, at=now())
    client = signed_in(cast.quality)
    with django_assert_num_queries(9):
        assert len(client.get(reverse("studies:list")).context["page"].lines) == studies


def test_values_are_taken_along_as_csv_and_xlsx(signed_in, cast, filled):
    client = signed_in(cast.auditor)
    text = client.get(reverse("studies:values", args=[filled.number, "csv"])).content.decode("utf-8-sig")
    rows = list(csv.reader(io.StringIO(text)))
    assert [row[2] for row in rows[1:]] == READINGS
    assert client.get(reverse("studies:values", args=[filled.number, "xlsx"])).content[:2] == b"PK"


# --- The report ------------------------------------------------------------------------------------------------------------------


def test_report_is_issued_of_a_signed_study_only_and_verifies(filled, cast, shop_key):
    assert refused(issue_study_report, study=filled, by=cast.quality, at=now()) == ["document.subject"]
    signed = conclude(filled, cast.quality)
    document = issue_study_report(study=signed, by=cast.quality, at=now())
    assert document.number == "SR-ST-0001"
    record = json.loads(document.record)
    assert (record["word"], len(record["values"]), record["signatures"][0]["meaning"]) == (
        "capable of this tolerance",
        25,
        SIGNED_MEANING,
    )
    assert record["answer"] == signed.result
    assert verify_pdf(document_bytes(document), trusted_root=shop_key.root).stands
    assert issue_study_report(study=signed, by=cast.auditor, at=now()).pk == document.pk
