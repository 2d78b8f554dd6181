"""Every kind, on one example: layout, page, signing page, record and PDF, with content enough to compute it again."""

import json

import pytest
from django.urls import reverse

from inspection.acts.studies import SIGNED_MEANING, analysis_of, opened, sign_study, study_content
from inspection.models import Study
from records.acts.documents import document_bytes, issue_study_report
from records.verification import verify_pdf
from shop.canonical import content_sha256
from shop.clock import now
from shop.sign_on import sign
from tests.factories import PIN
from tests.inspection.study_kinds import examples


@pytest.mark.parametrize("make", examples.ALL, ids=lambda make: make.__name__)
def test_kind_goes_from_its_layout_to_a_verified_report(run, make, signed_in, cast, shop_key):
    study = run(make())
    client = signed_in(cast.quality)

    page = client.get(reverse("studies:study", args=[study.number]))
    assert page.status_code == 200
    shown = page.context["page"]
    assert shown.analysis is not None, [finding.sentence for finding in shown.why_not]
    places = set(opened(study).layout.places)
    assert len(places) == shown.wanted == sum(len(row.cells) for row in shown.rows)
    assert client.get(reverse("studies:conclude", args=[study.number])).status_code == 200

    read = opened(Study.objects.get(pk=study.pk))
    at = now()
    signing = sign(identifier=cast.quality.username, secret=PIN, meaning=SIGNED_MEANING, at=at)
    seen = content_sha256(study_content(read, analysis_of(read)))
    signed = sign_study(study=study, conclusion="As found.", by=cast.quality, at=at, signing=signing, seen_sha256=seen)
    document = issue_study_report(study=signed, by=cast.quality, at=now())
    record = json.loads(document.record)
    assert [section["title"] for section in record["sections"]] == [section.title for section in shown.analysis.sections]
    assert record["answer"] == json.loads(json.dumps(signed.result))
    assert len(record["values"]) == shown.entered
    assert verify_pdf(document_bytes(document), trusted_root=shop_key.root).stands


@pytest.mark.parametrize("make", examples.ALL, ids=lambda make: make.__name__)
def test_figures_of_a_kind_are_also_tables_and_draw_escaped_text(run, make):
    analysis = analysis_of(opened(run(make())))
    figures = [figure for section in analysis.sections for figure in section.figures]
    assert figures
    for figure in figures:
        assert figure.data is not None, figure.title
        assert figure.data.rows, figure.title
        assert all(len(row) == len(figure.data.columns) for row in figure.data.rows)
        assert figure.svg.startswith("<svg"), figure.title
    for section in analysis.sections:
        for table in section.tables:
            assert all(len(row) == len(table.columns) for row in table.rows), table.caption
