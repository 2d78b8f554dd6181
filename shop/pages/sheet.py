"""A setup sheet on its page, and what is done with it as a whole: submit, return, release, revise, withdraw."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_POST

from shop.acts.sheets import (
    RELEASED_MEANING,
    WITHDRAWN_MEANING,
    release_sheet,
    return_sheet,
    revise_sheet,
    submit_sheet,
    withdraw_sheet,
)
from shop.canonical import content_sha256
from shop.clock import now, shop_day
from shop.forms.termination import CommentForm, ReasonForm, SignForm, WithdrawForm
from shop.jobs import ReviewComment, SetupSheet, SheetStatus, Termination
from shop.pages.acting import Refusal, acting, person_of, refusal_of, require
from shop.pages.catalogue import Crumb
from shop.pages.changes import ChangeGroup, change_groups
from shop.pages.plan import crumbs_to
from shop.pages.recheck import Flagged, flags_on
from shop.pages.showing import system_of
from shop.permissions import Deed, may
from shop.planning import blocking_of, sheet_checks
from shop.queries import Part, SheetLine, TerminationRow, sheet_line, sheet_parts, termination_row
from shop.set_ups import arranged, key_of, set_ups
from shop.sheet_content import sheet_content, termination_content
from shop.sign_on import sign
from shop.wording import Worded


@dataclass(frozen=True, slots=True)
class SetUpRow:
    """One setting of one tool, and the lead ends it serves."""

    number: int
    tool: str
    setting: str
    press: str
    terminal: str
    wires: str
    specification: str
    leads: str
    pieces: int


@dataclass(frozen=True, slots=True)
class SheetPage:
    sheet: SetupSheet
    line: SheetLine
    crumbs: list[Crumb]
    parts: list[Part]
    rows: list[TerminationRow]
    broken: list[TerminationRow]
    comments: list[ReviewComment]
    revisions: list[SheetLine]
    may_edit: bool
    may_submit: bool
    may_review: bool
    may_revise: bool
    may_withdraw: bool
    waits_for_another: bool  # the person could release, but drafted it
    has_document: bool
    may_copy: bool
    set_ups: list[SetUpRow]
    may_arrange: bool  # a draft in which a set-up is met twice
    changes_url: str  # empty for a first revision
    may_comment: bool
    flags: list[Flagged]


def _set_up_rows(terminations: Sequence[Termination]) -> tuple[list[SetUpRow], bool]:
    """The set-ups of a sheet, and whether its terminations stand in their order already."""
    keys = [key_of(termination_content(t)) for t in terminations]
    rows = [
        SetUpRow(
            number=one.number,
            tool=one.key.tool,
            setting=one.key.setting,
            press=one.key.press,
            terminal=one.key.terminal,
            wires=" + ".join(one.key.wires),
            specification=one.key.specification,
            leads=", ".join(f"{terminations[place].lead}/{terminations[place].end}" for place in one.members),
            pieces=sum(terminations[place].quantity for place in one.members),
        )
        for one in set_ups(keys)
    ]
    return rows, arranged(keys) == list(range(len(keys)))


def _sheet(pk: int) -> SetupSheet:
    return get_object_or_404(SetupSheet.objects.select_related("job__customer", "author", "released_by", "supersedes"), pk=pk)


@require_GET
def sheet(request: HttpRequest, pk: int) -> HttpResponse:
    return _sheet_page(request, pk)


def _sheet_page(request: HttpRequest, pk: int, *, refusal: Refusal | None = None) -> HttpResponse:
    found, person, system = _sheet(pk), person_of(request), system_of(person_of(request))
    checks = sheet_checks(found, shop_day(now()))
    drafts, releases = may(person, Deed.DRAFT_SHEET), may(person, Deed.RELEASE_SHEET)
    status = found.status
    rows = [termination_row(check, system, editable=drafts and found.is_editable) for check in checks]
    # What no longer fits is said of sheets that can still act on it: a superseded one only shows what it was.
    judged = status in (SheetStatus.DRAFT, SheetStatus.IN_REVIEW, SheetStatus.RELEASED)
    ups, in_order = _set_up_rows([check.termination for check in checks])
    revisions = list(SetupSheet.objects.filter(number=found.number).exclude(pk=pk).order_by("-revision"))
    page = SheetPage(
        sheet=found,
        line=sheet_line(found),
        crumbs=crumbs_to(found.job),
        parts=sheet_parts(found, checks),
        rows=rows,
        broken=[row for row in rows if row.blocking] if judged else [],
        comments=list(found.comments.select_related("by")),
        revisions=[sheet_line(other) for other in revisions],
        may_edit=drafts and found.is_editable,
        may_submit=drafts and found.is_editable and bool(rows),
        may_review=releases and status == SheetStatus.IN_REVIEW,
        may_revise=drafts and status in (SheetStatus.RELEASED, SheetStatus.WITHDRAWN),
        may_withdraw=releases and status == SheetStatus.RELEASED,
        waits_for_another=releases and status == SheetStatus.IN_REVIEW and found.author_id == person.pk,
        has_document=found.released_at is not None,
        may_copy=drafts and bool(rows),
        set_ups=ups,
        may_arrange=drafts and found.is_editable and not in_order,
        changes_url=reverse("plan:changes", args=[pk]) if any(other.revision < found.revision for other in revisions) else "",
        may_comment=releases and status in (SheetStatus.DRAFT, SheetStatus.IN_REVIEW),
        flags=flags_on(found),
    )
    return render(request, "plan/sheet.html", {"page": page, "refusal": refusal, "place": "plan"})


@require_POST
@acting(again=_sheet_page)
def submit(request: HttpRequest, pk: int) -> HttpResponse:
    submit_sheet(sheet=_sheet(pk), by=person_of(request), at=now())
    messages.success(request, _("The sheet waits for review by a second person."))
    return redirect("plan:sheet", pk)


# --- Questions asked on a page of their own ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class AskPage:
    """One question about a sheet, with the fields of its answer."""

    title: str
    explanation: str
    action: str
    crumbs: list[Crumb]
    form: forms.Form
    leave_url: str


@dataclass(frozen=True, slots=True)
class _Question:
    title: Any
    explanation: Any
    action: Any
    form: type[forms.Form]
    deed: Deed


def _questions() -> dict[str, _Question]:
    return {
        "return": _Question(
            _("Return {sheet} to its author"),
            _("The sheet becomes a draft again. The author sees the comment."),
            _("Return the sheet"),
            CommentForm,
            Deed.RELEASE_SHEET,
        ),
        "revise": _Question(
            _("New revision of {sheet}"),
            _("It begins as a copy, with the targets of the specifications in force now. This one stays in force until it is released."),
            _("Start the revision"),
            ReasonForm,
            Deed.DRAFT_SHEET,
        ),
        "withdraw": _Question(
            _("Withdraw {sheet}"),
            _("No batch starts on a withdrawn sheet any more. Your signature means “withdrawn”."),
            _("Sign and withdraw"),
            WithdrawForm,
            Deed.RELEASE_SHEET,
        ),
    }


def _ask(request: HttpRequest, pk: int, question: str, *, refusal: Refusal | None = None) -> HttpResponse:
    asked, found = _questions()[question], _sheet(pk)
    if refusal is None:
        require(request, asked.deed)
    form = asked.form(request.POST if refusal else None)
    if refusal:
        refusal.tell(form)
    page = AskPage(
        title=asked.title.format(sheet=found),
        explanation=asked.explanation,
        action=asked.action,
        crumbs=crumbs_to(found.job, found),
        form=form,
        leave_url=reverse("plan:sheet", args=[pk]),
    )
    return render(request, "plan/ask.html", {"page": page, "refusal": refusal, "place": "plan"})


@sensitive_post_parameters("secret")
@acting
def ask(request: HttpRequest, pk: int, question: str) -> HttpResponse:
    return _answer(request, pk, question) if request.method == "POST" else _ask(request, pk, question)


@acting(again=_ask)
def _answer(request: HttpRequest, pk: int, question: str) -> HttpResponse:
    found, by, at, typed = _sheet(pk), person_of(request), now(), request.POST
    if question == "return":
        return_sheet(sheet=found, comment=typed.get("comment", ""), by=by, at=at)
        messages.success(request, _("The sheet is back with its author."))
    elif question == "revise":
        pk = revise_sheet(sheet=found, reason=typed.get("reason", ""), by=by, at=at).pk
        messages.success(request, _("The new revision is a draft."))
    else:
        signing = sign(identifier=by.username, secret=typed.get("secret", ""), meaning=WITHDRAWN_MEANING, at=at)
        withdraw_sheet(sheet=found, reason=typed.get("reason", ""), by=by, at=at, signing=signing)
        messages.success(request, _("The sheet is withdrawn."))
    return redirect("plan:sheet", pk)


# --- Release ---------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ReleasePage:
    """Exactly what the signature will cover, and its hash."""

    sheet: SetupSheet
    crumbs: list[Crumb]
    content: dict[str, Any]
    sha256: str
    parts: list[Part]
    blocking: tuple[Worded, ...]
    meaning: str
    form: SignForm
    can_release: bool
    is_author: bool
    leave_url: str
    against: str  # the revision in force, or the one before; empty for a first one
    changes: list[ChangeGroup]


def _release_page(request: HttpRequest, pk: int, *, refusal: Refusal | None = None) -> HttpResponse:
    found, person = _sheet(pk), person_of(request)
    if refusal is None:
        require(request, Deed.RELEASE_SHEET)
    checks = sheet_checks(found, shop_day(now()))
    content = sheet_content(found)
    form = SignForm(request.POST if refusal else None)
    if refusal:
        refusal.tell(form)
    blocking = refusal_of(blocking_of(checks)).findings if not refusal else ()
    is_author = found.author_id == person.pk
    earlier = SetupSheet.objects.in_force().filter(number=found.number).exclude(pk=pk).first() or found.supersedes
    page = ReleasePage(
        sheet=found,
        crumbs=crumbs_to(found.job, found),
        content=content,
        sha256=content_sha256(content),
        parts=sheet_parts(found, checks),
        blocking=blocking,
        meaning=RELEASED_MEANING,
        form=form,
        can_release=found.status == SheetStatus.IN_REVIEW and not is_author,
        is_author=is_author,
        leave_url=reverse("plan:sheet", args=[pk]),
        against=str(earlier or ""),
        changes=change_groups(earlier, found) if earlier else [],
    )
    return render(request, "plan/release.html", {"page": page, "refusal": refusal, "place": "plan"})


@sensitive_post_parameters("secret")
@acting
def release(request: HttpRequest, pk: int) -> HttpResponse:
    return _release(request, pk) if request.method == "POST" else _release_page(request, pk)


@acting(again=_release_page)
def _release(request: HttpRequest, pk: int) -> HttpResponse:
    by, at = person_of(request), now()
    signing = sign(identifier=by.username, secret=request.POST.get("secret", ""), meaning=RELEASED_MEANING, at=at)
    released = release_sheet(sheet=_sheet(pk), by=by, at=at, signing=signing, seen_sha256=request.POST.get("seen_sha256", ""))
    messages.success(request, _("{sheet} is released and in force.").format(sheet=released))
    return redirect("plan:sheet", pk)
