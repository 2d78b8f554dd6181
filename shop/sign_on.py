"""Who is it, and is it really that person: sign-on, signatures and the throttle on wrong secrets.

A signature needs the secret again at that moment. The check stands in a transaction of its own, before the act: a wrong try must
stay counted although the act it was meant for never happens.

Waits follow NIST SP 800-63B rev. 3, 5.2.2 (30 seconds growing to an hour); the limit of five free tries is stricter than its hundred.
"""

from __future__ import annotations

import re
import secrets
from datetime import datetime, timedelta
from typing import Any

from django.contrib.auth.backends import BaseBackend
from django.contrib.auth.hashers import make_password
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.http import HttpRequest

from shop.clock import shop_day
from shop.composed import Composed, Given
from shop.events import PasswordSet, PersonLocked, PersonUnlocked, PinSet, Signing, publish
from shop.finding import Finding, Refused, misfit, refuse_if
from shop.people import Person
from shop.permissions import Deed, permission_findings

FREE_TRIES = 5
FIRST_WAIT = timedelta(seconds=30)
LONGEST_WAIT = timedelta(hours=1)
# After so many consecutive failures nobody guesses on: another person has to look first.
TRIES_UNTIL_CLOSED = 20
FOR_GOOD = timedelta(days=36500)


def wait_after(failed_tries: int) -> timedelta:
    """How long an account waits after that many consecutive wrong secrets."""
    if failed_tries < FREE_TRIES:
        return timedelta(0)
    if failed_tries >= TRIES_UNTIL_CLOSED:
        return FOR_GOOD
    grown: timedelta = FIRST_WAIT * 2 ** (failed_tries - FREE_TRIES)
    return min(grown, LONGEST_WAIT)


def person_for(identifier: str) -> Person | None:
    """The person with this badge or user name, or None."""
    identifier = identifier.strip()
    return Person.objects.filter(Q(badge=identifier) | Q(username=identifier)).order_by("pk").first() if identifier else None


def check_secret(identifier: str, secret: str, at: datetime) -> Person:
    """The person who knows the secret of this badge or user name: a PIN or a password. Raises Refused; wrong tries are counted.

    An unknown badge gets the same answer as a wrong PIN, after the same work.
    """
    person = person_for(identifier)
    if person is None:
        make_password(secret)  # takes as long as a comparison
        raise Refused([misfit("sign.wrong", "secret", left=FREE_TRIES)])
    finding: Finding | None = None
    with transaction.atomic():
        person = Person.objects.select_for_update().get(pk=person.pk)
        if person.is_locked(at):
            # A right secret during the wait is refused as well: otherwise the wait would tell right from wrong.
            finding = _locked(person, at)
        elif person.is_active and (person.pin_matches(secret) or person.check_password(secret)):
            if person.failed_tries or person.locked_until:
                person.failed_tries, person.locked_until = 0, None
                person.save(update_fields=["failed_tries", "locked_until"])
        else:
            person.failed_tries += 1
            wait = wait_after(person.failed_tries)
            person.locked_until = at + wait if wait else None
            person.save(update_fields=["failed_tries", "locked_until"])
            if wait:
                content = {"tries": person.failed_tries, "until": person.locked_until}
                publish(PersonLocked(by=person, at=at, subject=("person", person.pk, person.username), content=content))
                finding = _locked(person, at)
            else:
                finding = misfit("sign.wrong", "secret", left=FREE_TRIES - person.failed_tries)
    if finding:
        raise Refused([finding])
    return person


def _locked(person: Person, at: datetime) -> Finding:
    left = (person.locked_until or at) - at
    if left > LONGEST_WAIT:
        return misfit("sign.closed", "secret")
    return misfit("sign.locked", "secret", seconds=max(1, int(left.total_seconds())))


def sign(*, identifier: str, secret: str, meaning: str, at: datetime) -> Signing:
    """A signature: the person, what it means, when, and how the person proved who they are. Raises Refused."""
    person = check_secret(identifier, secret, at)
    refuse_if([misfit("sign.change_first", "secret")] if person.must_change_secret else [])
    how = "badge and PIN" if person.badge and identifier.strip() == person.badge else "user name and secret"
    # Whoever stands in for somebody signs in their own name, and the signature says so.
    for_whom = [f"stands in for {name} ({role})" for role, name in person.standing_in(shop_day(at))]
    return Signing(person=person, meaning=meaning, at=at, how="; ".join([how, *for_whom])[:300])


def signing_findings(signing: Signing, by: Person, meaning: str) -> list[Finding]:
    """An act's own check that the signature it was handed is the one it asked for."""
    if signing.person.pk == by.pk and signing.meaning == meaning:
        return []
    return [misfit("sign.other", "secret", meaning=meaning, person=by.name)]


_SIGNED_IN = Composed(lambda: Person.objects.filter(pk=Given("pk"), is_active=True))


class PasswordBackend(BaseBackend):
    """Sign-in at the desk with user name and password, throttled like every other secret."""

    def authenticate(
        self, request: HttpRequest | None, username: str | None = None, password: str | None = None, **credentials: Any
    ) -> Person | None:
        from shop.clock import now  # noqa: PLC0415  # the backend is a door of its own: it reads the clock

        if not username or not password:
            return None
        try:
            return check_secret(username, password, now())
        except Refused:
            return None

    def get_user(self, user_id: int) -> Person | None:
        # With every page: Django takes longer to compose the question than the database to answer it.
        return next(iter(_SIGNED_IN(pk=user_id)), None)


PIN_SHAPE = re.compile(r"[0-9]{6,12}")
STEPS_UP, STEPS_DOWN = "01234567890123456789", "98765432109876543210"


def pin_findings(pin: str) -> list[Finding]:
    """A PIN has six to twelve digits and is not one repeated or counted through."""
    if not PIN_SHAPE.fullmatch(pin):
        return [misfit("pin.shape", "pin")]
    if len(set(pin)) == 1 or pin in STEPS_UP or pin in STEPS_DOWN:
        return [misfit("pin.obvious", "pin")]
    return []


def choose_secrets(
    *, person: Person, by: Person, at: datetime, current: str, password: str = "", pin: str = "", answers: bool = False
) -> None:
    """A person chooses their own password, PIN or both; nobody else can. `current` is the secret used so far.

    answers: the person states that they answer for what is signed with them; without it nothing is chosen.
    """
    refuse_if([misfit("person.own_secret", person=person.name)] if by.pk != person.pk else [])
    check_secret(person.username, current, at)
    findings = pin_findings(pin) if pin else []
    if password:
        try:
            validate_password(password, person)
        except ValidationError as error:
            findings.append(misfit("password.weak", "password", reasons=" ".join(error.messages)))
    if not pin and not password:
        findings.append(misfit("pin.shape", "pin"))
    if person.must_change_secret and not password:
        findings.append(misfit("password.needed", "password"))
    if not answers:
        findings.append(misfit("sign.answers", "answers"))
    refuse_if(findings)
    content = {"how": "chosen by the person", "answers_for_signatures": True}
    with transaction.atomic():
        person = Person.objects.select_for_update().get(pk=person.pk)
        subject = ("person", person.pk, person.username)
        if password:
            person.set_password(password)
            person.must_change_secret = False
            publish(PasswordSet(by=by, at=at, subject=subject, content=content))
        if pin:
            person.set_pin(pin)
            publish(PinSet(by=by, at=at, subject=subject, content=content))
        person.save(update_fields=["password", "pin", "must_change_secret"])


def hand_out_password(*, person: Person, by: Person, at: datetime) -> str:
    """A random password for one sign-in, after which the person has to choose their own. Clears the PIN and any lock. Returned once."""
    refuse_if(permission_findings(by, Deed.CHANGE_PEOPLE))
    password = secrets.token_urlsafe(12)
    with transaction.atomic():
        person = Person.objects.select_for_update().get(pk=person.pk)
        person.set_password(password)
        person.pin, person.must_change_secret, person.failed_tries, person.locked_until = "", True, 0, None
        person.save(update_fields=["password", "pin", "must_change_secret", "failed_tries", "locked_until"])
        publish(PasswordSet(by=by, at=at, subject=("person", person.pk, person.username), content={"how": "handed out for one sign-in"}))
    return password


def unlock(*, person: Person, by: Person, at: datetime) -> None:
    """A supervisor has looked at the person and opens the account again, so that a lock does not stop the line."""
    findings = permission_findings(by, Deed.UNLOCK_PEOPLE)
    if by.pk == person.pk:
        findings.append(misfit("person.unlock_self", person=person.name))
    refuse_if(findings)
    with transaction.atomic():
        person = Person.objects.select_for_update().get(pk=person.pk)
        person.failed_tries, person.locked_until = 0, None
        person.save(update_fields=["failed_tries", "locked_until"])
        publish(PersonUnlocked(by=by, at=at, subject=("person", person.pk, person.username), content={"person": person.name}))
