"""What a certificate of disposal says: read from rows that never change, and from the signature under the act."""

from __future__ import annotations

from records.gather.common import day, shop_content, signatures_of
from records.keeping_models import After, Disposal, RecordKind
from records.report_content import DisposalRecord
from shop.clock import shop_day
from shop.templatetags.shop import moment


def disposal_record(act: Disposal) -> DisposalRecord:
    rule, files = act.rule, list(act.files.all())
    years = "for good" if rule.years is None else f"{rule.years} calendar years after the year"
    return {
        "kind": "disposal",
        "version": "1",
        "number": act.number,
        "shop": shop_content(),
        "records": str(RecordKind(act.kind).label),
        "rule": str(rule),
        "rule_says": f"{years} in which {After(rule.after).label}",
        "rule_reason": rule.reason,
        "rule_set": f"{rule.by.name}, {moment(rule.at)}",
        "note": act.reason,
        "disposed_by": act.by.name,
        "disposed_at": moment(act.at),
        "files": [
            {
                "record": file.name,
                "kept_as": file.get_kept_as_display(),
                "made": day(shop_day(file.made_at)),
                "due": day(file.due_on),
                "size": str(file.size),
                "sha256": file.sha256,
            }
            for file in files
        ],
        "signatures": signatures_of(("disposal", [act.pk])),
    }
