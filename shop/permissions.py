"""Who may do what: one table, asked by the buttons and by the acts alike."""

from __future__ import annotations

from enum import StrEnum

from shop.finding import Finding, misfit
from shop.people import Person, Role


class Deed(StrEnum):
    """Something that needs a role."""

    CHANGE_CATALOGUE = "change the catalogue"
    CHANGE_TOOLS = "change tools and gauges"
    CHANGE_PEOPLE = "change people"
    UNLOCK_PEOPLE = "unlock people"
    OPEN_JOB = "open jobs"
    DRAFT_SHEET = "draft setup sheets"
    RELEASE_SHEET = "release setup sheets"
    RUN_BATCH = "run batches"
    COUNTERSIGN = "countersign first pieces"
    DECIDE_HOLD = "decide on holds"
    GRANT_CONCESSION = "grant concessions"
    BUILD_LOT = "build harness lots"
    SHIP = "ship"
    ISSUE_DOCUMENT = "issue documents"
    READ = "read records"


R = Role
PERMITTED: dict[Deed, frozenset[str]] = {
    Deed.CHANGE_CATALOGUE: frozenset({R.PLANNER, R.QUALITY}),
    Deed.CHANGE_TOOLS: frozenset({R.PLANNER, R.QUALITY, R.CRIB}),
    Deed.CHANGE_PEOPLE: frozenset({R.QUALITY, R.ADMINISTRATOR}),
    Deed.UNLOCK_PEOPLE: frozenset({R.QUALITY, R.INSPECTOR, R.ADMINISTRATOR}),
    Deed.OPEN_JOB: frozenset({R.PLANNER}),
    Deed.DRAFT_SHEET: frozenset({R.PLANNER}),
    Deed.RELEASE_SHEET: frozenset({R.PLANNER, R.QUALITY}),
    Deed.RUN_BATCH: frozenset({R.OPERATOR}),
    Deed.COUNTERSIGN: frozenset({R.INSPECTOR, R.QUALITY}),
    Deed.DECIDE_HOLD: frozenset({R.INSPECTOR, R.QUALITY}),
    Deed.GRANT_CONCESSION: frozenset({R.QUALITY}),
    Deed.BUILD_LOT: frozenset({R.PLANNER, R.QUALITY, R.OPERATOR}),
    Deed.SHIP: frozenset({R.PLANNER, R.QUALITY}),
    Deed.ISSUE_DOCUMENT: frozenset({R.PLANNER, R.QUALITY, R.INSPECTOR, R.OPERATOR, R.AUDITOR}),
    Deed.READ: frozenset(Role.values),
}


def may(person: Person, deed: Deed) -> bool:
    return person.is_active and not PERMITTED[deed].isdisjoint(person.roles)


def permission_findings(person: Person, deed: Deed) -> list[Finding]:
    """Empty, or the one finding that says which roles may do it."""
    if may(person, deed):
        return []
    return [misfit("person.role", deed=deed.value, person=person.name, roles=", ".join(sorted(PERMITTED[deed])))]
