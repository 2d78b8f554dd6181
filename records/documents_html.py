"""A record as the HTML that is printed: one template per kind, filled with the record and the frame of the document round it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from django.apps import apps
from django.template.loader import render_to_string
from django.utils import translation

TEMPLATES = {
    "setup sheet": "documents/setup_sheet.html",
    "first article": "documents/first_article.html",
    "batch record": "documents/batch_record.html",
    "trace report": "documents/trace_report.html",
    "study report": "documents/study_report.html",
    "certificate": "documents/certificate.html",
    "calibration status": "documents/calibration_status.html",
    "audit trail": "documents/audit_trail.html",
    "disposal": "documents/disposal.html",
    "nonconformance": "documents/nonconformance.html",
}


def document_html(kind: str, record: Mapping[str, Any], document: Mapping[str, Any]) -> str:
    """The whole page for `records.pdf.render_pdf`.

    kind: a key of `TEMPLATES`; record: its content as `records.content` types it; document: a `records.content.DocumentFrame`.
    Raises KeyError for a kind without a template, ValueError when the record says it is of another kind.
    """
    template = TEMPLATES[kind]
    if record["kind"] != kind:
        raise ValueError(f"a {record['kind']} cannot be printed as a {kind}")
    with translation.override(document["language"]):
        return render_to_string(template, {"record": record, "document": document})


def asset_root() -> Path:
    """Where documents find their typeface: the `asset_root` of `records.pdf.render_pdf`."""
    return Path(apps.get_app_config("shop").path) / "static" / "shop"
