"""The controls of 21 CFR Part 11 (electronic records; electronic signatures), subparts B and C, that software can provide.

Paragraphs after the regulation as published; 11.30, 11.70, 11.100 and 11.300 from memory. The wording is ours. The harness trade is seldom
bound by it; it is the clearest public list of what an auditor looks for. Each test named exists: another test looks.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext_lazy as _


@dataclass(frozen=True, slots=True)
class Control:
    """paragraph: of 21 CFR 11. asks: what it asks for. met: how this program does it, or whose task it stays.

    tests: "folder/test_file.py::test_name" under tests/; none where it is the shop's own task.
    """

    paragraph: str
    asks: Any
    met: Any
    tests: tuple[str, ...] = ()


CONTROLS: tuple[Control, ...] = (
    Control(
        "11.10(a)",
        _("The system is validated; records that were altered or are not valid can be told."),
        _(
            "Each release runs the whole test suite. The ledger is a hash chain under signed checkpoints, documents are "
            "sealed, and both are verified on demand. Validating the program for its use stays with the shop."
        ),
        (
            "records/test_ledger.py::test_changed_text_is_found_at_its_entry",
            "records/test_seal.py::test_any_one_byte_changed_does_not_stand",
        ),
    ),
    Control(
        "11.10(b)",
        _("Accurate and complete copies for inspection, for people and for machines."),
        _(
            "Every document is a PDF with the record it was made from attached as JSON; an evidence package adds the ledger "
            "entries and a verifier."
        ),
        (
            "records/test_main_job.py::test_evidence_package_verifies_in_a_bare_python",
            "records/test_main_job.py::test_documents_of_the_main_job_stand",
        ),
    ),
    Control(
        "11.10(c)",
        _("Records are protected and can be found for as long as they have to be kept."),
        _(
            "Tables of evidence only grow, in the database itself; files lie under their hash and are checked whenever they "
            "are read. How long each kind is kept quality signs; nothing goes without such a rule, before its time, on legal "
            "hold or while it is needed, and a disposal takes files only and leaves their hashes. "
            "Backups and their trial restore are the shop's, described under Running it."
        ),
        (
            "inspection/test_acts_append_only.py::test_no_row_of_evidence_can_be_changed_or_removed_in_the_database",
            "shop/test_documents_files.py::test_damaged_file_is_not_handed_out",
            "records/test_keeping.py::test_nothing_is_due_without_a_rule",
            "records/test_keeping.py::test_lifted_hold_holds_no_longer_and_stays_on_record",
            "records/test_keeping.py::test_disposal_takes_the_file_and_leaves_everything_else",
        ),
    ),
    Control(
        "11.10(d)",
        _("Only authorised people have access."),
        _(
            "Every page but the handbook asks for a person; there are no shared accounts; an account that is closed keeps "
            "its history and opens nothing."
        ),
        ("shop/test_sign_on.py::test_pages_want_somebody_signed_in", "shop/test_sign_on.py::test_check_secret_of_a_closed_account"),
    ),
    Control(
        "11.10(e)",
        _("A secure audit trail, made by the computer, with the time: who created, changed or removed what; earlier values stay visible."),
        _(
            "Each act writes one ledger entry in its own transaction, with the person, the server's time, the values before "
            "and after, and the reason. The trail of any object reads it in words."
        ),
        (
            "records/test_audit_trail.py::test_changed_target_is_told_with_old_new_person_and_reason",
            "records/test_ledger.py::test_event_that_cannot_be_recorded_undoes_its_act",
        ),
    ),
    Control(
        "11.10(f)",
        _("Steps are done in their order where the order matters."),
        _(
            "No run without an accepted first piece, no first piece without a proven set-up, no release without a review by "
            "a second person, no closing without a last piece."
        ),
        (
            "inspection/test_acts_batches.py::test_first_piece_before_the_set_up_is_proven_is_refused",
            "inspection/test_acts_batches.py::test_close_before_the_last_piece_is_refused",
            "shop/test_sheets.py::test_release_by_the_author",
        ),
    ),
    Control(
        "11.10(g)",
        _("Whether a person may use, sign, change or do something is checked."),
        _("Each act checks role and qualification itself, whichever door it came through: page, API or command."),
        (
            "api/test_auditor.py::test_auditor_writes_nothing",
            "inspection/test_acts_samples.py::test_operator_without_the_role_cannot_countersign",
        ),
    ),
    Control(
        "11.10(h)",
        _("Whether the source of a value or an instruction is valid is checked."),
        _("A reading names its gauge; kind, resolution and calibration are checked at that moment, not only at set-up."),
        ("inspection/test_acts_samples.py::test_gauge_that_expires_between_set_up_and_reading_stops_the_measuring",),
    ),
    Control(
        "11.10(i)",
        _("People who build, run and use the system are trained for it."),
        _("Qualifications by process with evidence, trainer and expiry; a person without a current one is not let on."),
        ("inspection/test_acts_batches.py::test_open_by_operator_without_current_qualification_is_refused",),
    ),
    Control(
        "11.10(j)",
        _("A written policy holds people to account for what they sign."),
        _(
            "Nobody can sign before choosing secrets of their own and stating that they answer for what is signed with "
            "them; the statement is a ledger entry. The written policy is the shop's."
        ),
        (
            "shop/test_sign_on.py::test_secrets_are_chosen_with_the_statement_that_one_answers_for_them",
            "shop/test_sign_on.py::test_a_password_handed_out_signs_in_but_does_not_sign",
        ),
    ),
    Control(
        "11.10(k)",
        _("System documents are handed out and revised under control."),
        _(
            "The handbook comes with the release it describes; controlled documents carry revision, file, effective and "
            "withdrawn dates, and a file never changes."
        ),
        ("shop/test_documents_files.py::test_file_of_a_revision_never_changes",),
    ),
    Control(
        "11.30",
        _("Records that leave a closed system are protected further, with encryption and digital signatures as needed."),
        _(
            "Documents are sealed under the shop's own certificates (PAdES) before anybody gets them; the server is to be "
            "reached over TLS, described under Running it."
        ),
        ("records/test_seal.py::test_pdfsig_calls_the_signature_valid",),
    ),
    Control(
        "11.50",
        _("A signature shows the printed name, date and time, and its meaning, on every copy a person reads."),
        _("All three are in the ledger entry, on the page, and in the list of signatures of each document."),
        (
            "records/test_main_job.py::test_ledger_entry_carries_the_content_that_was_signed",
            "records/test_person_signatures.py::test_printed_name_shows_on_the_page_where_the_place_is",
        ),
    ),
    Control(
        "11.70",
        _("A signature cannot be cut out, copied or moved to another record."),
        _("It covers the hash of exactly what was on the screen, inside the chain; on a document it lies behind the file it signs."),
        (
            "records/test_ledger.py::test_changed_signature_is_found_at_its_entry",
            "shop/test_sheets.py::test_release_of_something_else_than_was_seen",
        ),
    ),
    Control(
        "11.100(a)",
        _("A signature is one person's and never another's."),
        _(
            "Accounts are closed, never removed or used again; the database keeps user names and badges apart. Who stands "
            "in for a colleague signs in their own name."
        ),
        (
            "shop/test_stand_ins.py::test_signature_of_a_deputy_says_for_whom",
            "records/test_signing_documents.py::test_account_closed_later_breaks_nothing_that_was_signed",
        ),
    ),
    Control(
        "11.100(b)",
        _("A person's identity is verified before they get a signature."),
        _("Who handed out a password, to whom and when is a ledger entry. Looking at the person is the shop's task."),
        ("shop/test_sign_on.py::test_hand_out_password_by_a_role_that_may_not",),
    ),
    Control(
        "11.100(c)",
        _("The agency is told that electronic signatures are meant as binding."),
        _("A letter of the shop's, where it is bound at all."),
    ),
    Control(
        "11.200(a)",
        _(
            "Two components at least, used by their owner alone: all of them at the first signing, one that only the owner "
            "knows at each that follows."
        ),
        _(
            "Badge and PIN, or user name and password; the secret again for every signature, and the whole again after a "
            "while without a touch. An administrator can hand out a password that signs in once and signs nothing."
        ),
        (
            "shop/test_sign_on.py::test_check_secret_by_badge_or_user_name",
            "shop/test_sign_on.py::test_session_ends_after_a_while_without_a_touch",
            "shop/test_sign_on.py::test_nobody_chooses_the_secret_of_another",
        ),
    ),
    Control("11.200(b)", _("A biometric signature can be used by nobody else."), _("None is used.")),
    Control(
        "11.300(a)",
        _("No two people have the same combination of code and password."),
        _("User names and badges are unique; a secret counts only together with one of them."),
        ("shop/test_sign_on.py::test_check_secret_answers_the_same_for_a_wrong_pin_and_an_unknown_badge",),
    ),
    Control(
        "11.300(b)",
        _("Codes and passwords are reviewed from time to time, recalled or revised."),
        _(
            "Secrets that anybody would try are refused. No change is forced by the calendar (NIST SP 800-63B advises "
            "against it); going through the accounts is the shop's task, with the list of people."
        ),
        ("shop/test_sign_on.py::test_password_that_anybody_would_try", "shop/test_sign_on.py::test_pin_shape"),
    ),
    Control(
        "11.300(c)",
        _("A lost or stolen badge is cancelled at once."),
        _(
            "Badge, PIN and account are changed or closed on the person's page and hold no longer from that moment; a badge "
            "alone signs nothing."
        ),
        ("shop/test_sign_on.py::test_check_secret_of_a_closed_account",),
    ),
    Control(
        "11.300(d)",
        _("Attempts to use somebody's signature are stopped and reported."),
        _(
            "Five wrong secrets and the account waits, longer each time; twenty and it is closed until another person has "
            "looked. Each lock is a ledger entry."
        ),
        (
            "shop/test_sign_on.py::test_five_wrong_tries_and_the_account_waits",
            "shop/test_sign_on.py::test_twenty_wrong_tries_close_the_account_until_somebody_looks",
        ),
    ),
    Control(
        "11.300(e)",
        _("Badges are tested at first and from time to time."),
        _("The shop's task: signing on at a tablet shows the name that belongs to a badge."),
    ),
)
