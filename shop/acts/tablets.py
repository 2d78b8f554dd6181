"""Tablets: a one-time code at the desk, enrolment at the tablet with it, moving to another station, revoking.

The code is short because somebody types it, so it holds for minutes and once. Of eight signs out of thirty-two there are 10^12: whoever
tries a thousand a second while it holds finds it once in a million times. What the tablet then carries has 256 bits and holds until it
is revoked. The database knows both as hashes only.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django.db import transaction
from django.utils.crypto import salted_hmac

from shop.events import TabletEnrolled, TabletMoved, TabletOffered, TabletRevoked, publish
from shop.finding import Finding, misfit, refuse_if
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.stations import Station, Tablet, hash_of_token
from shop.validation import clean

SIGNS = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"  # neither 0 and O nor 1 and I
SIGNS_IN_CODE = 8


@dataclass(frozen=True, slots=True)
class Offer:
    """A tablet that may be enrolled, and the code for it, which is shown once."""

    tablet: Tablet
    code: str
    until: datetime


def offer_tablet(*, name: str, station: Station, by: Person, at: datetime) -> Offer:
    """Make a one-time code with which a tablet becomes `name` at `station`. An enrolled tablet of that name stays as it is until then."""
    with transaction.atomic():
        tablet = Tablet.objects.select_for_update().filter(name=name.strip()).first() or Tablet(name=name.strip(), station=station)
        found = permission_findings(by, Deed.ENROL_TABLETS) + _in_use(station)
        if tablet.pk and tablet.is_in_use and tablet.station_id != station.pk:
            found.append(misfit("tablet.elsewhere", "name", tablet=tablet.name, station=tablet.station.code))
        refuse_if(found)
        code, minutes = "".join(secrets.choice(SIGNS) for _sign in range(SIGNS_IN_CODE)), settings.ENROLMENT_MINUTES
        until: datetime = at + timedelta(minutes=minutes)
        if not tablet.is_in_use:
            tablet.station = station
        tablet.code_hash, tablet.code_until = hash_of_code(code), until
        tablet.offered_by, tablet.offered_at = by, at
        clean(tablet)
        tablet.save()
        _tell(TabletOffered, tablet, by, at, until=until.isoformat())
    return Offer(tablet, f"{code[:4]}-{code[4:]}", until)


def enrol_tablet(*, code: str, at: datetime) -> tuple[Tablet, str]:
    """The tablet that the code was made for, and the token it carries from now on. Raises Refused.

    It is an act of the person who made the code, who has to be allowed to still: nobody is signed on at a new tablet. A token handed out
    before is void.
    """
    typed = "".join(sign for sign in code.upper() if sign.isalnum())
    with transaction.atomic():
        rows = Tablet.objects.select_for_update(of=("self",)).select_related("offered_by", "station")
        tablet = rows.filter(code_hash=hash_of_code(typed)).first() if typed else None
        if tablet is None or not tablet.waits_for_code(at):
            refuse_if([misfit("tablet.code", "code", minutes=settings.ENROLMENT_MINUTES)])
            raise AssertionError("refused above")
        by = tablet.offered_by
        refuse_if(permission_findings(by, Deed.ENROL_TABLETS) + _in_use(tablet.station))
        token = secrets.token_urlsafe(32)
        tablet.code_hash, tablet.code_until = "", None
        tablet.token_hash, tablet.enrolled_at, tablet.enrolled_by = hash_of_token(token), at, by
        tablet.revoked_at, tablet.revoked_by, tablet.revoked_because = None, None, ""
        tablet.last_seen_at = at
        clean(tablet)
        tablet.save()
        _tell(TabletEnrolled, tablet, by, at)
    return tablet, token


def move_tablet(*, tablet: Tablet, station: Station, reason: str, by: Person, at: datetime) -> Tablet:
    """The tablet stands at another station from now on; it need not be enrolled anew. Raises Refused."""
    with transaction.atomic():
        tablet = Tablet.objects.select_for_update(of=("self",)).select_related("station").get(pk=tablet.pk)
        refuse_if(permission_findings(by, Deed.ENROL_TABLETS) + _live(tablet) + _in_use(station) + _reason(reason))
        before = tablet.station
        if before.pk == station.pk:
            return tablet
        tablet.station = station
        tablet.save(update_fields=["station"])
        _tell(TabletMoved, tablet, by, at, before=before.code, reason=reason.strip())
    return tablet


def revoke_tablet(*, tablet: Tablet, reason: str, by: Person, at: datetime) -> Tablet:
    """The tablet is none of ours from now on: lost, sold, broken. What was made at it stays. Raises Refused."""
    with transaction.atomic():
        tablet = Tablet.objects.select_for_update(of=("self",)).select_related("station").get(pk=tablet.pk)
        refuse_if(permission_findings(by, Deed.ENROL_TABLETS) + _live(tablet) + _reason(reason))
        tablet.code_hash, tablet.code_until = "", None
        tablet.revoked_at, tablet.revoked_by, tablet.revoked_because = at, by, reason.strip()[:200]
        tablet.save(update_fields=["code_hash", "code_until", "revoked_at", "revoked_by", "revoked_because"])
        _tell(TabletRevoked, tablet, by, at, reason=reason.strip())
    return tablet


def hash_of_code(code: str) -> str:
    """Keyed: a short code could be found from a bare hash."""
    return salted_hmac("shop.tablets.code", code, algorithm="sha256").hexdigest()


def _in_use(station: Station) -> list[Finding]:
    return [] if station.is_active else [misfit("tablet.station", "station", station=station.code)]


def _live(tablet: Tablet) -> list[Finding]:
    if tablet.revoked_at is not None:
        return [misfit("tablet.revoked", "tablet", tablet=tablet.name, on=tablet.revoked_at.date().isoformat())]
    return []


def _reason(reason: str) -> list[Finding]:
    return [] if reason.strip() else [misfit("data.required", "reason")]


_Event = type[TabletOffered] | type[TabletEnrolled] | type[TabletMoved] | type[TabletRevoked]


def _tell(event: _Event, tablet: Tablet, by: Person, at: datetime, **more: str) -> None:
    content = {"tablet": tablet.name, "station": tablet.station.code, **more}
    publish(event(by=by, at=at, subject=("tablet", tablet.pk, tablet.name), content=content))
