"""What a ledger entry says, in plain words: what happened, what it was before and after, and why. Pure.

Every kind has its own sentence; a kind or a version without one is read as its content, field by field in order, so that an entry of
any age and of any future version can be shown. Nothing is left out silently: what an entry carries beyond its sentence is a detail.
Sentences of lots, concessions, containment, studies, sampling and proof stand in `trail_sentences.py`; the words they are made of in
`telling.py`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from records.telling import (
    Content,
    Reading,
    Told,
    changed,
    details,
    differences,
    field_words,
    plainly,
    says,
    shortened,
    value_words,
)
from records.trail_sentences import SENTENCES
from shop.sheet_changes import Change, changes, summary


def told(kind: str, content: Content, before: Content | None = None) -> Told:
    """The entry of this kind with this content.

    before: the content that the same thing had earlier, where the entry does not carry it itself (the release before a release).
    Never raises for content of another shape than expected: it is then read field by field.
    """
    reading = READINGS.get(kind)
    if reading is not None:
        try:
            return reading(content, before)
        except (KeyError, TypeError, AttributeError, ValueError, IndexError):
            pass  # written by another version: read as it is
    return plainly(kind, content)


def _catalogue(content: Content, before: Content | None) -> Told:
    after = content["after"]
    if content["before"] is None:
        return Told("Added to the catalogue", details(after), content["reason"])
    return Told("Changed in the catalogue", differences(content["before"], after), content["reason"])


def _imported(content: Content, before: Content | None) -> Told:
    what = f"{content['rows']} rows came from the file {content['file']}: {content['added']} added, {content['changed']} changed"
    return Told(what, shortened([_import_line(one) for one in content["changes"]]), "")


def _import_line(one: Any) -> str:
    if isinstance(one, Mapping) and isinstance(one.get("before"), Mapping) and isinstance(one.get("after"), Mapping):
        return f"{one.get('key', '')}: {'; '.join(differences(one['before'], one['after']))}".removeprefix(": ")
    return value_words(one)


def imported_item(content: Content, key: str) -> Told | None:
    """What an import did to one item, by its key; None where it did nothing to it."""
    if key in content.get("keys", ()):
        return Told(f"Added to the catalogue from the file {content.get('file', '')}", (), "")
    for one in content.get("changes", ()):
        if isinstance(one, Mapping) and one.get("key") == key:
            before, after = one.get("before"), one.get("after")
            lines = (
                differences(before, after) if isinstance(before, Mapping) and isinstance(after, Mapping) else details(one, without=["key"])
            )
            return Told(f"Changed in the catalogue from the file {content.get('file', '')}", lines, "")
    return None


_LIMITS = re.compile(r"(?P<nominal>\S+) \((?P<span>[^)]+)\) (?P<unit>\S+)")
_FIGURE = re.compile(r"(?P<value>[\d.,]+(?: to [\d.,]+)?) (?P<unit>\D\S*)")


def _sheet_line(change: Change) -> str:
    where = f"termination {change.termination}: " if change.termination else ""
    match change.kind:
        case "added":
            return f"{where}added, {change.new}"
        case "removed":
            return f"{where}removed, {change.old}"
    words = field_words(change.field.removeprefix("targets."))[0]
    prefix = "target " if change.field.startswith("targets.") else ""
    return f"{where}{prefix}{words} {_from_to(change.old, change.new)}"


def _from_to(old: str, new: str) -> str:
    """ "1.40 → 1.42 mm": the unit once; of a nominal with its limits each by itself, and what stayed is not said again."""
    was, is_now = _LIMITS.fullmatch(old), _LIMITS.fullmatch(new)
    if was and is_now and was["unit"] == is_now["unit"]:
        unit, said = is_now["unit"], []
        if was["nominal"] != is_now["nominal"]:
            said.append(f"{was['nominal']} → {is_now['nominal']} {unit}")
        if was["span"] != is_now["span"]:
            said.append(f"limits {was['span']} → {is_now['span']} {unit}")
        return ", ".join(said)
    first, second = _FIGURE.fullmatch(old), _FIGURE.fullmatch(new)
    if first and second and first["unit"] == second["unit"]:
        return f"{first['value']} → {new}"
    return f"{old or '–'} → {new or '–'}"


def _sheet_of(*terminations: Content | None) -> Content:
    return {"job": {}, "terminations": [one for one in terminations if one is not None]}


def _termination(content: Content, before: Content | None) -> Told:
    old, new = content["before"], content["after"]
    what = f"Termination {new['lead']} {new['end']} " + ("planned" if old is None else "planned anew")
    if old is None:
        return Told(what, (summary(new), *_targets(new)), "")
    return Told(what, shortened([_sheet_line(one) for one in changes(_sheet_of(old), _sheet_of(new))]), "")


def _targets(termination: Content) -> tuple[str, ...]:
    return details({f"target_{name}": value for name, value in termination["targets"].items() if name != "pull_force_source"})


def _terminations(content: Content, before: Content | None) -> Told:
    source = value_words(content["source"])
    lines = [f"termination {one['lead']} {one['end']}: {summary(one)}" for one in content["terminations"]]
    return Told(f"{len(lines)} terminations planned from {source}", shortened(lines), "")


def _removed(content: Content, before: Content | None) -> Told:
    one = content["removed"]
    return Told(f"Termination {one['lead']} {one['end']} removed", (summary(one),), "")


def _released(content: Content, before: Content | None) -> Told:
    what = f"Setup sheet {content['sheet']} rev {content['revision']} released"
    if before is None:
        lines = [f"termination {one['lead']} {one['end']}: {summary(one)}" for one in content["terminations"]]
    else:
        lines = [_sheet_line(one) for one in changes(before, content)] or ["says the same as the revision before"]
    return Told(what, shortened(lines), str(content.get("change_reason") or ""))


def _drafted(content: Content, before: Content | None) -> Told:
    return Told(f"Revision {content['revision']} drafted for job {content['job']}", (), content["reason"])


def _care(content: Content, before: Content | None) -> Told:
    what = f"{str(content['kind']).capitalize()} at {content['at_count']} crimps on {content['done_on']}: {content['result']}"
    note = (f"note: {content['note']}",) if content["note"] else ()
    return Told(what, (*differences(content["before"], content["after"]), *note), "")


def _shut_height(content: Content, before: Content | None) -> Told:
    what = (
        f"Shut height {content['measured_mm']} mm measured with {content['gauge']} "
        f"({content['nominal_mm']} ± {content['tolerance_mm']} mm asked for): {content['result']}"
    )
    note = (f"note: {content['note']}",) if content["note"] else ()
    return Told(what, (*differences(content["before"], content["after"]), *note), "")


def _wear_part(content: Content, before: Content | None) -> Told:
    serial = f", serial {content['serial']}" if content["serial"] else ""
    what = f"{str(content['kind']).capitalize()} {content['part_number']}{serial} fitted at {content['at_count']} crimps"
    old = (f"wear part: {content['replaced']} → {content['part_number']}",) if content["replaced"] else ()
    made = content["replaced_after_crimps"]
    return Told(what, (*old, *((f"the old one had made {made} crimps",) if made is not None else ())), content["reason"])


def _counter(content: Content, before: Content | None) -> Told:
    return Told("Counter set", (changed("crimps", content["before"], content["after"]),), content["reason"])


def _slots(content: Content) -> list[str]:
    return [f"{slot}: {one['code']}, scanned by {one['by']}" for slot, one in content["slots"].items()]


def _set_up(content: Content, before: Content | None) -> Told:
    return Told(f"Set-up {content['set_up']} proven: all six parts hold together", shortened(_slots(content)), "")


def _set_up_changed(content: Content, before: Content | None) -> Told:
    return Told(f"Changed at piece {content['at_count']}", (changed("in use", content["from"], content["to"]),), "")


def _measured(content: Content) -> tuple[str, ...]:
    lines = [f"{r['characteristic']}, piece {r['piece']}: {r['value']} {r['unit']}, {r['outcome']}" for r in content["readings"]]
    lines += [f"pull force, piece {p['piece']}: {p['value']} {p['unit']}, {p['mode']}, {p['outcome']}" for p in content["pull_tests"]]
    return shortened(lines)


def _sample(word: str) -> Reading:
    def read(content: Content, before: Content | None) -> Told:
        sentence = f"Sample of batch {content['batch']} at piece {content['at_count']} {word}: {content['outcome']}"
        return Told(sentence, _measured(content), str(content.get("reason") or ""))

    return read


def _corrected(content: Content, before: Content | None) -> Told:
    old, new = content["before"], content["after"]
    lines = differences(old, new) if isinstance(old, Mapping) else (changed(content["characteristic"], old, new),)
    return Told(f"{str(content['characteristic']).capitalize()} of piece {content['piece']} corrected", lines, content["reason"])


def _hold(content: Content, before: Content | None) -> Told:
    return Told(f"Run stopped; pieces after {content['suspect_from']} to {content['suspect_to']} are suspect", (), content["reason"])


def _values(content: Content, before: Content | None) -> Told:
    lines, reasons = [], []
    for one in content["values"]:
        if "before" in one:
            lines.append(f"{one['place']}: {one['before']} → {one['value']}")
            reasons.append(one["reason"])
        else:
            lines.append(f"{one['place']}: {one['value']}" + (f", from {one['source']}" if one.get("source") else ""))
    return Told(f"{len(lines)} values recorded", shortened(lines), "; ".join(dict.fromkeys(reasons)))


def _lot(content: Content, before: Content | None) -> Told:
    lines = [f"batch {one['batch']}: {one['pieces']} pieces" for one in content["batches"]]
    return Told(f"{content['harnesses']} harnesses built for job {content['job']}", shortened(lines), "")


def _shipment(content: Content, before: Content | None) -> Told:
    note = f", delivery note {content['delivery_note']}" if content["delivery_note"] else ""
    lines = [f"harness lot {one['lot']}: {one['harnesses']} harnesses" for one in content["lots"]]
    return Told(f"Shipped to {content['customer']}{note}", shortened(lines), "")


def _nonconformance(content: Content, before: Content | None) -> Told:
    pieces = f", {content['quantity']} pieces" if content["quantity"] is not None else ""
    what = f"Nonconformance {content['number']} opened: {content['what']} ({content['defect']}{pieces})"
    about = [f"{field_words(name)[0]}: {value}" for name, value in content["about"].items()]
    points = [f"{one['kind']}: {one['name']}" for one in content.get("points_at", ())]
    where = (f"brought up by: {content['origin']}", f"found at: {content['found_at']}", f"requirement: {content['requirement']}")
    return Told(what, shortened([*where, *about, *points]), "")


def _linked(content: Content, before: Content | None) -> Told:
    names = "; ".join(f"{one['kind']} {one['name']}" for one in content["points_at"])
    return Told(f"Added to nonconformance {content['number']}: {names}", (), "")


def _cause(content: Content, before: Content | None) -> Told:
    what = f"Cause of {content['number']}: {', '.join(content['parts'])} failed. {content['occurred']}"
    return Told(what, (f"not noticed because: {content['undetected']}", *(f"because: {line}" for line in content["because"])), "")


def _action_ended(content: Content, before: Content | None) -> Told:
    what = f"Action {content['action']} of {content['number']} {content['result']}: {content['what']}"
    return Told(what, (f"was due {content['due_on']}",), str(content["evidence"]))


def measure_words(measure: Content) -> str:
    """What will prove that something worked, in a sentence."""
    where = "" if measure["scope"] in ("", "everywhere") else f" at the {measure['scope']}"
    match measure["kind"]:
        case "pieces" | "batches":
            return f"no finding{where} in the next {measure['target']} {measure['kind']}"
        case "date":
            return f"no finding{where} until {measure['until']}"
    return str(measure["text"])


def _measure(content: Content, before: Content | None) -> Told:
    return Told(f"{content['number']} will be proven by: {measure_words(content)}", (), str(content["text"] or ""))


def _verified(content: Content, before: Content | None) -> Told:
    what = f"{content['number']} verified, it {content['result']}: {content['text']}"
    numbers = details(content["figures"])
    return Told(what, (f"measure: {measure_words(content['measure'])}", f"counted from: {content['counted_from']}", *numbers), "")


def _closed(content: Content, before: Content | None) -> Told:
    actions = [f"action {one['action']}, {one['result']}: {one['what']}" for one in content["actions"]]
    if content["without_action_because"]:
        what = f"Nonconformance {content['number']} closed, correction only"
        return Told(what, shortened(actions), str(content["without_action_because"]))
    return Told(f"Nonconformance {content['number']} closed: {content['conclusion']}", shortened(actions), "")


READINGS: dict[str, Reading] = {
    **SENTENCES,
    "catalogue.changed": _catalogue,
    "catalogue.imported": _imported,
    "tool.wear_part_fitted": _wear_part,
    "tool.care_recorded": _care,
    "tool.counter_set": _counter,
    "press.shut_height_verified": _shut_height,
    "person.pin_set": says("PIN set: {how}"),
    "person.password_set": says("Password set: {how}"),
    "person.unlocked": says("The account was opened again"),
    "job.opened": says("Job opened: {quantity} of {part_number}, drawing {drawing} rev {drawing_revision}, for {customer}"),
    "sheet.drafted": _drafted,
    "sheet.termination_planned": _termination,
    "sheet.inspection_planned": _termination,
    "sheet.terminations_planned": _terminations,
    "sheet.termination_removed": _removed,
    "sheet.submitted": says("Revision {revision} handed to review"),
    "sheet.returned": says("Revision {revision} returned to its author", reason="comment"),
    "sheet.arranged": says("Terminations arranged by set-up: {order}"),
    "sheet.commented": says("Revision {revision} commented: {comment}"),
    "sheet.released": _released,
    "sheet.withdrawn": says("Revision {revision} withdrawn"),
    "batch.opened": says("Batch opened: {quantity} pieces of lead {lead}, end {end}, to sheet {sheet} rev {revision}"),
    "batch.set_up_proven": _set_up,
    "batch.set_up_changed": _set_up_changed,
    "sample.concluded": _sample("measured"),
    "sample.countersigned": _sample("countersigned"),
    "sample.turned_down": _sample("turned down"),
    "measurement.corrected": _corrected,
    "hold.raised": _hold,
    "hold.decided": says("Hold decided: {decision}; {scrapped} scrapped, {kept_held} kept on hold", reason="decision_reason"),
    "batch.disposed": says("{quantity} held pieces: {kind}", more=("concession", "held_before"), reason="note"),
    "batch.closed": says(
        "Batch closed: {made} made, {good} good, {scrap} scrap, {destroyed} destroyed in tests, {held} held", more=("lots",)
    ),
    "study.values_recorded": _values,
    "nonconformance.opened": _nonconformance,
    "nonconformance.linked": _linked,
    "nonconformance.cause_stated": _cause,
    "nonconformance.action_stated": says("Action {action} of {number}: {what}. {responsible} sees to it until {due_on}", more=("kind",)),
    "nonconformance.action_ended": _action_ended,
    "nonconformance.measure_stated": _measure,
    "nonconformance.effect_verified": _verified,
    "nonconformance.closed": _closed,
    "nonconformance.reopened": says("Nonconformance {number} reopened"),
    "lot.built": _lot,
    "shipment.sent": _shipment,
    "shipment.certified": says("Conformity certified to {customer}", more=("lots", "statement")),
    "document.issued": says("{number} issue {issue} issued: {kind} of {subject}"),
    "document.file_attached": says("File {file_name} attached", more=("file_type", "file_size")),
    "person.locked": says("The account waits until {until} after {tries} wrong tries"),
}
