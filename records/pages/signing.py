"""Signing an issued document at the desk."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters

from records.acts.signing import SignedState, meaning_of, sign_document, signed_state
from records.models import IssuedDocument
from records.pages.sealing import sealing
from shop.clock import now
from shop.finding import Refused, misfit
from shop.pages.acting import Refusal, acting, person_of
from shop.sign_on import sign

PLACE = "prove"


@dataclass(frozen=True, slots=True)
class SignPage:
    """word: what the signature is for. sha256: of the file as it is before this signature."""

    document: IssuedDocument
    state: SignedState
    meaning: str
    says: str
    word: Any
    sha256: str
    file_url: str
    leave_url: str


def _page(request: HttpRequest, number: str, issue: int, *, refusal: Refusal | None = None) -> HttpResponse:
    document = get_object_or_404(IssuedDocument, number=number, issue=issue)
    state, by = signed_state(document), person_of(request)
    place = state.place_for(by)
    if place is None and refusal is None:
        raise Refused([misfit("document.not_yours", number=str(document), person=by.name)])
    page = None
    if place is not None:
        page = SignPage(
            document=document,
            state=state,
            meaning=place[1].meaning,
            says=meaning_of(place[1]),
            word=place[1].word,
            sha256=state.sha256,
            file_url=reverse("prove:document-file", args=[number, issue]),
            leave_url=reverse("prove:document", args=[number, issue]),
        )
    return render(request, "prove/document_sign.html", {"page": page, "refusal": refusal, "place": PLACE})


@sensitive_post_parameters("secret")
@acting
def document_sign(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    return _sign(request, number, issue) if request.method == "POST" else _page(request, number, issue)


@acting(again=_page)
@sealing
def _sign(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    document = get_object_or_404(IssuedDocument, number=number, issue=issue)
    by, at = person_of(request), now()
    place = signed_state(document).place_for(by)
    if place is None:
        raise Refused([misfit("document.not_yours", number=str(document), person=by.name)])
    signing = sign(identifier=by.username, secret=request.POST.get("secret", ""), meaning=meaning_of(place[1]), at=at)
    seen = request.POST.get("seen_sha256", "")
    row = sign_document(document=document, meaning=place[1].meaning, by=by, at=at, signing=signing, seen_sha256=seen)
    messages.success(request, _("{document} carries your signature: {meaning}.").format(document=document, meaning=row.meaning))
    return redirect("prove:document", number=number, issue=issue)
