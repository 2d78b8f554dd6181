"""The sentences of what happened to lots, concessions, suspects, studies, samplings, charts and proof. Pure.

Each reads the content of its event as the act wrote it; what is another shape raises, and the entry is read field by field.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from records.telling import Content, Reading, Told, changed, details, says, shortened, value_words


def _listed(rows: Sequence[Any], sentence: str) -> tuple[str, ...]:
    """A line for each row, which is a mapping that has what the sentence names."""
    return shortened([sentence.format(**row) for row in rows])


def _numbers(serials: Sequence[Any]) -> tuple[str, ...]:
    return (f"serial numbers: {', '.join(str(one) for one in serials)}",) if serials else ()


# ---- lots


def _split(content: Content, before: Content | None) -> Told:
    lines = [line for one in content["parts"] for line in (f"{one['quantity']} to {one['lot']}", *_numbers(one.get("serials", ())))]
    total = sum(int(one["quantity"]) for one in content["parts"])
    left = int(content["left"])
    return Told(f"Lot {content['lot']} split", shortened([changed("harnesses left in it", left + total, left), *lines]), "")


def _merged(content: Content, before: Content | None) -> Told:
    what = f"Lot {content['lot']} made of {len(content['lots'])} lots: {content['harnesses']} harnesses"
    return Told(what, _listed(content["lots"], "{quantity} of {lot}"), "")


def _reworked(content: Content, before: Content | None) -> Told:
    what = f"{content['quantity']} harnesses of lot {content['lot']} reworked; they wait for release as {content['into']}"
    lines = _listed(content["batches"], "batch {batch}: {pieces} pieces went in")
    return Told(what, (*lines, *_numbers(content["serials"])), content["reason"])


def _returned(content: Content, before: Content | None) -> Told:
    what = (
        f"{content['quantity']} harnesses of lot {content['lot']} came back from {content['customer']}, "
        f"shipment {content['shipment']}; they wait as {content['into']}"
    )
    return Told(what, _numbers(content["serials"]), content["reason"])


def _lot_released(content: Content, before: Content | None) -> Told:
    what = f"Lot {content['lot']} released: {content['left']} harnesses"
    return Told(what, (f"kept back because: {content['was']} → –",), content["reason"])


def _scrapped(content: Content, before: Content | None) -> Told:
    left, quantity = int(content["left"]), int(content["quantity"])
    what = f"{quantity} harnesses of lot {content['lot']} scrapped"
    return Told(what, (changed("harnesses left in it", left + quantity, left),), content["reason"])


# ---- concessions


def _up_to(content: Content) -> str:
    limits = []
    if content["quantity_limit"] is not None:
        limits.append(f"for {content['quantity_limit']} pieces")
    if content["expires_on"]:
        limits.append(f"until {content['expires_on']}")
    return ", ".join(limits)


def _granted(content: Content, before: Content | None) -> Told:
    what = f"Concession {content['concession']} granted: rule {content['rule']} is let through for {content['scope']}, {_up_to(content)}"
    return Told(what, (), content["reason"])


def _withdrawn(content: Content, before: Content | None) -> Told:
    what = f"Concession {content['concession']} withdrawn: rule {content['rule']} holds again for {content['scope']}"
    return Told(what, (f"it was granted {_up_to(content)}, because: {content['reason']}",), content["withdrawn_because"])


# ---- containment


def _suspect(one: Mapping[str, Any]) -> str:
    thing = " ".join(f"{name} {one[name]}" for name in ("batch", "lot") if one.get(name))
    sent = f", shipment {one['shipment']}" if one.get("shipment") else ""
    return f"{one['place']}: {one['quantity']} of {thing}{sent}"


def _case_opened(content: Content, before: Content | None) -> Told:
    span = " ".join(f"{word} {content[name]}" for word, name in (("from", "since"), ("to", "until")) if content.get(name))
    since = f"after crimp {content['since_count']}" if content.get("since_count") is not None else ""
    of = " ".join(part for part in (f"{content['question']} {content['subject']}", span, since) if part)
    pieces = sum(int(one["quantity"]) for one in content["suspects"])
    what = f"Case {content['case']} opened on {of}: {len(content['suspects'])} suspects held, {pieces} pieces"
    return Told(what, shortened([_suspect(one) for one in content["suspects"]]), content["reason"])


def _case_decided(content: Content, before: Content | None) -> Told:
    quantity, left = int(content["quantity"]), int(content["open"])
    thing = str(content["thing"]) + (f" in shipment {content['shipment']}" if content["shipment"] else "")
    if quantity == 0:  # telling a customer decides about no piece
        return Told(f"{thing}: {content['kind']}", (), content["note"])
    lines = [changed("still open", left + quantity, left)]
    if content["concession"]:
        lines.append(f"concession: {content['concession']}")
    return Told(f"{quantity} of {thing}: {content['kind']}", tuple(lines), content["note"])


def _case_closed(content: Content, before: Content | None) -> Told:
    lines = tuple(f"{kind}: {count}" for kind, count in content["decided"].items())
    return Told(f"Case {content['case']} closed; all {content['suspects']} suspects are decided on", lines, content["conclusion"])


# ---- studies, charts, sampling


SUBJECTS = ("gauge", "tool", "terminal", "characteristic")


def _of(content: Content) -> str:
    """ " of gauge MIC-01, terminal T-250-F"."""
    named = [f"{name} {content[name]}" if name != "characteristic" else str(content[name]) for name in SUBJECTS if content.get(name)]
    return f" of {', '.join(named)}" if named else ""


def _study_opened(content: Content, before: Content | None) -> Told:
    return Told(f"Study opened: {content['kind']}, {content['title']}{_of(content)}", details(content["set_up"]), "")


def _study_signed(content: Content, before: Content | None) -> Told:
    what = f"Study {content['study']} concluded: {content['kind']}{_of(content)}, {content['word'] or content['outcome']}"
    counted = f"{len(content['values'])} values" + (f" in {content['unit']}" if content["unit"] else "")
    return Told(what, (counted, *details(content["answer"])), content["conclusion"])


def _stream(content: Content) -> str:
    area = f", {content['csa_mm2']} mm²" if content["csa_mm2"] else ""
    terminal = f", terminal {content['terminal']}" if content["terminal"] else ""
    return f"{content['characteristic']} on tool {content['tool']}{terminal}{area}"


def _frozen(content: Content, before: Content | None) -> Told:
    what = f"Control limits put in force for {_stream(content)}: {content['chart']} from {len(content['samples'])} samples"
    limits = details({name: value for name, value in content["limits"].items() if name != "parts"})
    return Told(what, shortened([*limits, f"rules: {', '.join(content['rules'])}"]), content["reason"])


def _signalled(content: Content, before: Content | None) -> Told:
    lines = [
        f"{one['characteristic']}, {one['panel']}: rule {one['rule']} at {', '.join(str(point) for point in one['points'])}"
        for one in content["signals"]
    ]
    what = f"Sample {content['sample']} of batch {content['batch']} signalled on {len(lines)} control chart" + (
        "s" if len(lines) > 1 else ""
    )
    return Told(what, shortened(lines), "")


def _plan(plan: Mapping[str, Any]) -> tuple[str, ...]:
    return details({name: value for name, value in plan.items() if name != "basis"})


def _sampling_opened(content: Content, before: Content | None) -> Told:
    what = (
        f"Sampling scheme {content['scheme']} put in force: {content['thing']} of {content['part']} looked at for {content['criterion']}, "
        f"plan: {content['plan']['basis']}"
    )
    return Told(what, _plan(content["plan"]), content["reason"])


def _lot_inspected(content: Content, before: Content | None) -> Told:
    verdict = "accepted" if content["accepted"] else "not accepted and put on hold"
    what = f"Lot {content['lot']} of {content['lot_size']} looked at for {content['criterion']}: {content['found']} found, {verdict}"
    lines = [f"sample of {content['n']}, accepted up to {content['ac']} ({content['severity']} inspection)"]
    if content["severity_after"] != content["severity"]:
        lines.append(changed("inspection", content["severity"], content["severity_after"]))
    lines += details({name: content[name] for name in ("defects", "irregular")})
    return Told(what, (*lines, *(("offered again",) if content["resubmitted"] else ())), "")


def _cross_section(content: Content, before: Content | None) -> Told:
    verdict = "accepted" if content["accepted"] else "not accepted"
    what = f"Cross-section of sample {content['sample']}, batch {content['batch']}, judged: {content['criterion']} {verdict}"
    lines = [f"note: {content['note']}"] if content["note"] else []
    if content["corrects"]:
        lines.append("takes the place of an earlier judgement")
    return Told(what, tuple(lines), content["reason"])


# ---- people, re-checks, proof


def _stand_in(word: str) -> Reading:
    return says("{deputy} " + word + " for {person} as {role}, {since} to {until}")


def _rechecked(content: Content, before: Content | None) -> Told:
    what = (
        f"{content['terminations']} terminations of released sheets held against the rules again: "
        f"{content['raised']} flags raised, {content['cleared']} cleared"
    )
    gone = int(content["no_longer_in_force"])
    lines = [*([f"{gone} flags of sheets no longer in force ended"] if gone else []), *(value_words(flag) for flag in content["flags"])]
    return Told(what, shortened(lines), content["reason"])


def _packed(content: Content, before: Content | None) -> Told:
    lines = [f"{content['files']} files"]
    if content["checkpoint"]:
        lines.append(f"proven under the checkpoint of {content['checkpoint']['entries']} entries")
    lines.append(f"SHA-256 of the manifest: {content['manifest_sha256']}")
    return Told(f"Evidence package made: {content['question']}", tuple(lines), "")


def _document_signed(content: Content, before: Content | None) -> Told:
    hashes = changed("SHA-256 of the file", content["file_sha256"], content["signed_sha256"])
    return Told(f"{content['number']} issue {content['issue']} signed: {content['meaning']}", (hashes,), "")


def _checkpoint(content: Content, before: Content | None) -> Told:
    what = f"Checkpoint signed over the first {content['entries']} entries of the ledger"
    return Told(what, (f"root of their tree: {content['root']}", f"hash of the last of them: {content['head']}"), "")


# ---- keeping records


def _retention(content: Content, before: Content | None) -> Told:
    new, old = content["after"], content["before"] or {}
    lines = tuple(changed(name, old.get(name), new[name]) for name in ("years", "after") if old.get(name) != new[name])
    return Told(f"Retention of {new['records']} set", lines, new["reason"])


def _disposed(content: Content, before: Content | None) -> Told:
    lines = _listed(content["files"], "{record}: {size} bytes, SHA-256 {sha256}")
    return Told(f"{len(content['files'])} files of {content['records']} disposed of under rule {content['rule']}", lines, content["note"])


# ---- without the network


def _clock(content: Content) -> str:
    return f"by the tablet's clock {value_words(content['tablet_time'])}, {content['clock_off_s']} s off"


def _act_details(content: Content) -> tuple[str, ...]:
    return details({name: value for name, value in content["content"].items() if not isinstance(value, (dict, list))})


def _offline_recorded(content: Content, before: Content | None) -> Told:
    what = f"Act of a tablet without network recorded: {content['kind']}, made {value_words(content['made_at'])}"
    return Told(what, shortened([_clock(content), f"sent by: {content['sent_by']}", *_act_details(content)]), "")


def _offline_set_aside(content: Content, before: Content | None) -> Told:
    what = f"Act of a tablet without network set aside: {content['kind']}, made {value_words(content['made_at'])}"
    return Told(what, shortened([f"rules: {', '.join(content['why'])}", _clock(content), *_act_details(content)]), "")


def _offline_decided(content: Content, before: Content | None) -> Told:
    what = f"Act of a tablet {content['decision']}: {content['kind']} of {content['person']}, made {value_words(content['made_at'])}"
    return Told(what, _act_details(content), content["reason"])


def _claimed(content: Content, before: Content | None) -> Told:
    what = f"Signature given without network: {content['person']}, {content['meaning']}, sample {content['sample']}"
    return Told(what, (f"given: {value_words(content['made_at'])}", "to be confirmed with the PIN"), "")


def _confirmed(content: Content, before: Content | None) -> Told:
    return Told(f"Signature given without network confirmed: sample {content['sample']} of batch {content['batch']}", (), "")


def _disowned(content: Content, before: Content | None) -> Told:
    what = f"Signature given without network disowned: {content['meaning']}, sample {content['sample']}"
    return Told(what, (f"given: {value_words(content['made_at'])}",), content["reason"])


SENTENCES: dict[str, Reading] = {
    "offline.recorded": _offline_recorded,
    "offline.set_aside": _offline_set_aside,
    "offline.decided": _offline_decided,
    "signature.claimed": _claimed,
    "signature.confirmed": _confirmed,
    "signature.disowned": _disowned,
    "lot.split": _split,
    "lot.merged": _merged,
    "lot.reworked": _reworked,
    "lot.returned": _returned,
    "lot.released": _lot_released,
    "lot.scrapped": _scrapped,
    "concession.granted": _granted,
    "concession.withdrawn": _withdrawn,
    "containment.opened": _case_opened,
    "containment.decided": _case_decided,
    "containment.closed": _case_closed,
    "study.opened": _study_opened,
    "study.signed": _study_signed,
    "study.abandoned": says("Study {study} ended without an answer"),
    "control.limits_frozen": _frozen,
    "control.limits_ended": says("Control limits of {limits}, in force since {frozen_at}, taken out of force"),
    "control.signalled": _signalled,
    "control.answered": says("Signals answered: {cause}", more=("signals",), reason="text"),
    "sampling.opened": _sampling_opened,
    "sampling.lot_inspected": _lot_inspected,
    "sampling.ended": says("Sampling scheme {scheme} ended"),
    "sample.cross_section": _cross_section,
    "person.stand_in_named": _stand_in("stands in"),
    "person.stand_in_ended": _stand_in("no longer stands in"),
    "tablet.offered": says("Code made to enrol tablet {tablet} at station {station}", more=("until",)),
    "tablet.enrolled": says("Tablet {tablet} enrolled at station {station}"),
    "tablet.moved": says("Tablet {tablet} moved from station {before} to {station}"),
    "tablet.revoked": says("Tablet {tablet} at station {station} revoked"),
    "sheets.rechecked": _rechecked,
    "evidence.packed": _packed,
    "document.signed": _document_signed,
    "ledger.checkpointed": _checkpoint,
    "attachment.added": says("File attached: {title}", more=("file_name", "file_type", "file_size")),
    "attachment.withdrawn": says("Attachment withdrawn: {title}", more=("file_name",)),
    "retention.rule_set": _retention,
    "legal_hold.placed": says("Legal hold placed on {what}", more=("reference",)),
    "legal_hold.lifted": says("Legal hold on {what} lifted", more=("reference",)),
    "records.disposed": _disposed,
}
