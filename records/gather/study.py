"""The record of a concluded study."""

from __future__ import annotations

from datetime import datetime

from inspection.acts.studies import Opened, analysis_of, opened
from inspection.analysis import Cell, Section, Table
from inspection.study import Study
from records.content import (
    NamedValue,
    StudyCorrectionContent,
    StudyGridContent,
    StudyRecord,
    StudySectionContent,
    StudyTableContent,
    StudyValueContent,
)
from records.gather.common import OUTCOME_WORDS, shop_content, signatures_of
from shop.templatetags.shop import moment


def study_record(study: Study) -> StudyRecord:
    """The study as it was signed. Its values never change after that, so neither does its answer."""
    read = opened(study)
    analysis = analysis_of(read)
    return {
        "kind": "study report",
        "version": "1",
        "number": study.number,
        "title": study.title,
        "about": str(read.kind.name),
        "shop": shop_content(),
        "subjects": _subjects(study),
        "parameters": [
            {"name": str(p.label), "value": _worded(dict(p.choices), study.set_up.get(p.name, ""))} for p in read.kind.parameters
        ],
        "unit": read.layout.unit,
        "outcome": OUTCOME_WORDS[analysis.outcome],
        "word": analysis.word,
        "conclusion": study.conclusion,
        "opened_by": study.opened_by.name,
        "opened_at": moment(study.opened_at),
        "concluded_by": study.closed_by.name if study.closed_by else "",
        "concluded_at": moment(study.closed_at),
        "sections": [_section(section) for section in analysis.sections],
        "grid": _grid(read),
        "recorded": _recorded(read),
        "corrections": _corrections(read),
        "values": _values(read),
        "answer": dict(analysis.content),
        "signatures": signatures_of(("study", [study.pk])),
    }


def _subjects(study: Study) -> list[NamedValue]:
    named = [
        ("gauge", study.gauge.asset_number if study.gauge else ""),
        ("tool", study.tool.asset_number if study.tool else ""),
        ("terminal", study.terminal.part_number if study.terminal else ""),
        ("characteristic", study.characteristic),
    ]
    return [{"name": name, "value": value} for name, value in named if value]


def _worded(choices: dict[str, object], text: str) -> str:
    return str(choices.get(text, text)).replace("\r\n", "\n").replace("\n", ", ")


def _section(section: Section) -> StudySectionContent:
    return {
        "title": section.title,
        "intro": section.intro,
        "facts": [
            {
                "label": fact.label,
                "value": fact.value,
                "unit": fact.unit,
                "outcome": OUTCOME_WORDS[fact.outcome] if fact.outcome else "",
                "word": fact.word,
                "note": fact.note,
            }
            for fact in section.facts
        ],
        "figures": [{"title": figure.title, "svg": figure.svg, "note": figure.note} for figure in section.figures],
        "tables": [_table(table) for table in section.tables],
        "notes": list(section.notes),
    }


def _table(table: Table) -> StudyTableContent:
    return {"caption": table.caption, "columns": [column.label for column in table.columns], "rows": [list(row) for row in table.rows]}


def _words_of(read: Opened) -> dict[str, tuple[str, str]]:
    return {cell.place: (row.label, cell.label) for row in read.layout.rows for cell in row.cells}


def _shown(read: Opened, cell: Cell) -> str:
    value = read.standing.get(cell.place)
    return dict(cell.choices).get(value.text, value.text) if value else ""


def _grid(read: Opened) -> StudyGridContent:
    rows = [[row.label, *(_shown(read, cell) for cell in row.cells)] for row in read.layout.rows]
    return {"rows_label": read.layout.rows_label, "heads": list(read.layout.heads), "rows": rows}


def _recorded(read: Opened) -> list[str]:
    """Who wrote how many of the values, and when: "Mira Solheim 105, 2026-03-02 14:05 to 15:40 CET"."""
    by_person: dict[str, list[datetime]] = {}
    for value in read.standing.values():
        by_person.setdefault(value.by.name, []).append(value.at)
    lines = []
    for name, times in by_person.items():
        first, last = moment(min(times)), moment(max(times))
        lines.append(f"{name} {len(times)}, {first}" + (f" to {last}" if last != first else ""))
    return lines


def _corrections(read: Opened) -> list[StudyCorrectionContent]:
    words = _words_of(read)
    rows = read.study.values.filter(corrects__isnull=False).select_related("corrects", "by").order_by("pk")
    return [
        {
            "place": ", ".join(part for part in words.get(row.place, ("", row.place)) if part),
            "before": row.corrects.text if row.corrects else "",
            "after": row.text,
            "reason": row.correction_reason,
            "by": row.by.name,
            "at": moment(row.at),
        }
        for row in rows
    ]


def _values(read: Opened) -> list[StudyValueContent]:
    words = _words_of(read)
    places = read.layout.places or tuple(read.standing)
    return [
        {
            "place": place,
            "row": words.get(place, ("", ""))[0],
            "column": words.get(place, ("", ""))[1],
            "value": value.text,
            "by": value.by.name,
            "at": moment(value.at),
            "source": value.source,
        }
        for place in places
        if (value := read.standing.get(place)) is not None
    ]
