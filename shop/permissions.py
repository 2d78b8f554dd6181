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
    CHANGE_STATIONS = "change stations"
    ENROL_TABLETS = "enrol, move and revoke tablets"
    OPEN_JOB = "open jobs"
    DRAFT_SHEET = "draft setup sheets"
    RELEASE_SHEET = "release setup sheets"
    RUN_BATCH = "run batches"
    COUNTERSIGN = "countersign first pieces"
    DECIDE_HOLD = "decide on holds"
    GRANT_CONCESSION = "grant concessions"
    RUN_STUDY = "run studies"
    SIGN_STUDY = "sign studies"
    FREEZE_LIMITS = "freeze control limits"
    PLAN_SAMPLING = "plan sampling"
    INSPECT_LOT = "inspect lots"
    BUILD_LOT = "build harness lots"
    SHIP = "ship"
    CERTIFY = "certify conformity"
    RELEASE_LOT = "release, rework and scrap lots"
    CONTAIN = "contain suspect lots"
    OPEN_NONCONFORMANCE = "open nonconformances"
    WORK_ON_NONCONFORMANCE = "work on nonconformances"
    VERIFY_EFFECT = "verify that actions worked"
    CLOSE_NONCONFORMANCE = "close and reopen nonconformances"
    SEE_FINDINGS_BY_PERSON = "see findings by person"
    ISSUE_DOCUMENT = "issue documents"
    MAKE_CHECKPOINT = "make checkpoints of the ledger"
    ATTACH = "attach files"
    WITHDRAW_ATTACHMENT = "withdraw attachments"
    HOLD_RECORDS = "place and lift legal holds"
    KEEP_RECORDS = "set retention rules and dispose of records"
    SEE_LOOKS = "see who looked at what"
    SHARE_SEARCH = "show saved questions to everybody"
    READ = "read records"


R = Role
PERMITTED: dict[Deed, frozenset[str]] = {
    Deed.CHANGE_CATALOGUE: frozenset({R.PLANNER, R.QUALITY}),
    Deed.CHANGE_TOOLS: frozenset({R.PLANNER, R.QUALITY, R.CRIB}),
    Deed.CHANGE_PEOPLE: frozenset({R.QUALITY, R.ADMINISTRATOR}),
    Deed.UNLOCK_PEOPLE: frozenset({R.QUALITY, R.INSPECTOR, R.ADMINISTRATOR}),
    Deed.CHANGE_STATIONS: frozenset({R.PLANNER, R.QUALITY, R.ADMINISTRATOR}),
    Deed.ENROL_TABLETS: frozenset({R.ADMINISTRATOR}),
    Deed.OPEN_JOB: frozenset({R.PLANNER}),
    Deed.DRAFT_SHEET: frozenset({R.PLANNER}),
    Deed.RELEASE_SHEET: frozenset({R.PLANNER, R.QUALITY}),
    Deed.RUN_BATCH: frozenset({R.OPERATOR}),
    Deed.COUNTERSIGN: frozenset({R.INSPECTOR, R.QUALITY}),
    Deed.DECIDE_HOLD: frozenset({R.INSPECTOR, R.QUALITY}),
    Deed.GRANT_CONCESSION: frozenset({R.QUALITY}),
    Deed.RUN_STUDY: frozenset({R.QUALITY, R.INSPECTOR, R.PLANNER}),
    Deed.SIGN_STUDY: frozenset({R.QUALITY}),
    Deed.FREEZE_LIMITS: frozenset({R.QUALITY}),
    Deed.PLAN_SAMPLING: frozenset({R.QUALITY}),
    Deed.INSPECT_LOT: frozenset({R.INSPECTOR, R.QUALITY}),
    Deed.BUILD_LOT: frozenset({R.PLANNER, R.QUALITY, R.OPERATOR}),
    Deed.SHIP: frozenset({R.PLANNER, R.QUALITY}),
    Deed.RELEASE_LOT: frozenset({R.QUALITY}),
    Deed.CONTAIN: frozenset({R.QUALITY}),
    Deed.CERTIFY: frozenset({R.QUALITY}),
    Deed.OPEN_NONCONFORMANCE: frozenset({R.QUALITY, R.INSPECTOR, R.PLANNER, R.CRIB}),
    Deed.WORK_ON_NONCONFORMANCE: frozenset({R.QUALITY, R.INSPECTOR, R.PLANNER, R.CRIB}),
    Deed.VERIFY_EFFECT: frozenset({R.QUALITY, R.INSPECTOR}),
    Deed.CLOSE_NONCONFORMANCE: frozenset({R.QUALITY}),
    Deed.SEE_FINDINGS_BY_PERSON: frozenset({R.QUALITY, R.ADMINISTRATOR}),
    Deed.ISSUE_DOCUMENT: frozenset({R.PLANNER, R.QUALITY, R.INSPECTOR, R.OPERATOR, R.AUDITOR}),
    Deed.MAKE_CHECKPOINT: frozenset({R.QUALITY, R.ADMINISTRATOR}),
    Deed.ATTACH: frozenset({R.PLANNER, R.QUALITY, R.INSPECTOR, R.OPERATOR, R.CRIB}),
    Deed.WITHDRAW_ATTACHMENT: frozenset({R.PLANNER, R.QUALITY}),
    Deed.HOLD_RECORDS: frozenset({R.QUALITY, R.ADMINISTRATOR}),
    Deed.KEEP_RECORDS: frozenset({R.QUALITY}),
    Deed.SEE_LOOKS: frozenset({R.AUDITOR, R.QUALITY, R.ADMINISTRATOR}),
    Deed.SHARE_SEARCH: frozenset({R.AUDITOR, R.QUALITY}),
    Deed.READ: frozenset(Role.values),
}


def may(person: Person, deed: Deed) -> bool:
    return person.is_active and not PERMITTED[deed].isdisjoint(person.roles)


def permission_findings(person: Person, deed: Deed) -> list[Finding]:
    """Empty, or the one finding that says which roles may do it."""
    if may(person, deed):
        return []
    return [misfit("person.role", deed=deed.value, person=person.name, roles=", ".join(sorted(PERMITTED[deed])))]
