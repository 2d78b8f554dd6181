"""Standing in: while a person is away, a colleague acts with one of their roles, from a day until a day.

What the deputy signs, they sign in their own name; the signature says for whom they stood in. Independence is asked of the person who acts:
a deputy who wrote a sheet does not release it, with whatever role.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta

from django.db import transaction

from shop.clock import shop_day
from shop.events import Signing, StandInEnded, StandInNamed, publish
from shop.finding import Finding, misfit, refuse_if
from shop.people import Person, PersonRole, Role
from shop.permissions import Deed, may, permission_findings
from shop.sign_on import signing_findings
from shop.validation import clean

NAMED_MEANING = "stand-in named"
MOST_DAYS = 92
# A crimp is made by who was trained for it; an auditor and an administrator are named in person.
LENDABLE = (Role.PLANNER, Role.INSPECTOR, Role.QUALITY, Role.CRIB)


def lendable_roles(person: Person) -> list[str]:
    """The person's own roles that a colleague may stand in with."""
    own = set(person.person_roles.filter(stands_in_for=None).values_list("role", flat=True))
    return [role.value for role in LENDABLE if role.value in own]


def may_name(by: Person, person: Person) -> bool:
    return by.is_active and (by.pk == person.pk or may(by, Deed.CHANGE_PEOPLE))


def _whose(by: Person, person: Person) -> list[Finding]:
    return [] if may_name(by, person) else permission_findings(by, Deed.CHANGE_PEOPLE)


def _findings(person: Person, deputy: Person, role: str, since: date, until: date, by: Person, at: datetime) -> list[Finding]:
    found, today = _whose(by, person), shop_day(at)
    if role not in lendable_roles(person):
        found.append(misfit("stand_in.role", "role", person=person.name, role=role, roles=", ".join(one.value for one in LENDABLE)))
    if deputy.pk == person.pk:
        found.append(misfit("stand_in.self", "deputy", person=person.name))
    if not deputy.is_active:
        found.append(misfit("stand_in.closed", "deputy", deputy=deputy.name))
    if deputy.person_roles.filter(role=role, stands_in_for=None).exists():
        found.append(misfit("stand_in.holds", "deputy", deputy=deputy.name, role=role))
    if not today <= since <= until or (until - since).days >= MOST_DAYS:
        found.append(
            misfit("stand_in.days", "until", since=since.isoformat(), until=until.isoformat(), today=today.isoformat(), most=MOST_DAYS)
        )
    other = deputy.person_roles.filter(role=role, stands_in_for=person, since__lte=until, until__gte=since).first()
    if other is not None and other.since is not None and other.until is not None:
        days = {"since": other.since.isoformat(), "until": other.until.isoformat()}
        found.append(misfit("stand_in.overlap", "deputy", deputy=deputy.name, person=person.name, role=role, **days))
    return found


def name_stand_in(
    *, person: Person, deputy: Person, role: str, since: date, until: date, reason: str, by: Person, at: datetime, signing: Signing
) -> PersonRole:
    """Let `deputy` act with a role of `person` on the days given, both included. Signed by whoever names them. Raises Refused."""
    with transaction.atomic():
        Person.objects.select_for_update().filter(pk__in=sorted({person.pk, deputy.pk})).order_by("pk").first()
        findings = signing_findings(signing, by, NAMED_MEANING) + _findings(person, deputy, role, since, until, by, at)
        if not reason.strip():
            findings.append(misfit("data.required", "reason"))
        refuse_if(findings)
        row = PersonRole(person=deputy, role=role, stands_in_for=person, since=since, until=until)
        clean(row)
        row.save(force_insert=True)
        publish(StandInNamed(by=by, at=at, subject=("person", person.pk, person.username), content=_content(row, reason), signing=signing))
    return row


def end_stand_in(*, stand_in: PersonRole, reason: str, by: Person, at: datetime) -> None:
    """End it now; one that has not begun is taken back. What was signed meanwhile stays. Raises Refused."""
    with transaction.atomic():
        row = PersonRole.objects.select_for_update(of=("self",)).select_related("person", "stands_in_for").get(pk=stand_in.pk)
        person, today = row.stands_in_for, shop_day(at)
        if person is None or row.until is None:
            raise AssertionError("a role of a person's own is not a stand-in")
        findings = _whose(by, person)
        if row.until < today:
            findings.append(misfit("stand_in.over", until=row.until.isoformat()))
        if not reason.strip():
            findings.append(misfit("data.required", "reason"))
        refuse_if(findings)
        content = _content(row, reason)
        # Ended yesterday: from this moment on the role holds no longer. The ledger says when it was.
        row.until = today - timedelta(days=1)
        row.since = min(row.since or row.until, row.until)
        row.save(update_fields=["since", "until"])
        publish(StandInEnded(by=by, at=at, subject=("person", person.pk, person.username), content=content))


def _content(row: PersonRole, reason: str) -> dict[str, object]:
    if row.stands_in_for is None:
        raise AssertionError("a role of a person's own is not a stand-in")
    return {
        "person": row.stands_in_for.username,
        "deputy": row.person.username,
        "role": row.role,
        "since": row.since,
        "until": row.until,
        "reason": reason.strip(),
    }
