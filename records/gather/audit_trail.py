"""The audit trail of one thing as a record."""

from __future__ import annotations

from datetime import datetime, timedelta

from records.gather.common import day, shop_content
from records.models import LedgerHead
from records.report_content import AuditTrailRecord
from records.trails import Subject, entries_about, trail
from shop.clock import shop_day
from shop.people import Person
from shop.templatetags.shop import moment


def audit_trail_record(
    subject: Subject, *, number: str, begin: datetime | None, end: datetime | None, about_person: str, by: Person, at: datetime
) -> AuditTrailRecord:
    """begin: from then; end: before then; about_person: user name of the one whose entries are asked for, "" for everybody's."""
    head = LedgerHead.objects.get(pk=1)
    entries = entries_about(subject, begin=begin, end=end, by=about_person).filter(number__lte=head.count)
    return {
        "kind": "audit trail",
        "version": "1",
        "number": number,
        "subject_kind": subject.kind,
        "subject": subject.name,
        "since": day(shop_day(begin)) if begin else "",
        "until": day(shop_day(end - timedelta(seconds=1))) if end else "",
        "only_by": about_person,
        "asked_by": by.name,
        "asked_at": moment(at),
        "shop": shop_content(),
        "entries": [
            {
                "entry": str(line.number),
                "at": moment(line.at),
                "by": line.by,
                "about": line.about,
                "what": line.told.what,
                "changes": list(line.told.changes),
                "reason": line.told.reason,
                "signed_as": line.signed_as,
            }
            for line in trail(subject, entries.iterator(500))
        ],
        "ledger": {"entries": str(head.count), "hash": head.hash},
        "signatures": [],
    }
