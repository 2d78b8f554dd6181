"""What people choose for themselves about what they see. Nothing recorded depends on it, so it is no event."""

from __future__ import annotations

from shop.people import Person
from shop.validation import clean


def choose_display(*, person: Person, display: str, language: str = "") -> Person:
    """Metric or inch, and the language, on this person's pages; no language: as the browser asks. Raises Refused for any other word."""
    person = Person.objects.get(pk=person.pk)
    person.display, person.language = display, language
    clean(person)
    person.save(update_fields=["display", "language"])
    return person
