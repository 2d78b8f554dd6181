"""The file of a document, in and out, and the page on which a document or a specification is withdrawn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _

from shop.acts.documents import attach_file, file_of, withdraw
from shop.catalogue import KINDS
from shop.clock import now, shop_day
from shop.finding import Refused, misfit
from shop.forms.specifications import WithdrawForm
from shop.pages.acting import Refusal, acting, person_of, require
from shop.pages.catalogue import Crumb, detail
from shop.pages.relied_on import ReliedOn, relied_on
from shop.specifications import CrimpSpecification, Document
from shop.validation import findings_from


def document_file(request: HttpRequest, pk: int) -> HttpResponse:
    return _attach(request, pk) if request.method == "POST" else _hand_out(request, pk)


@acting
def _hand_out(request: HttpRequest, pk: int) -> HttpResponse:
    """To anybody who is signed in, as a file to keep: nothing that was uploaded runs or shows inside our pages."""
    document = get_object_or_404(Document.objects.exclude(file_sha256=""), pk=pk)
    kind = document.file_type + ("; charset=utf-8" if document.file_type.startswith("text/") else "")
    headers = {
        "Content-Disposition": str(content_disposition_header(as_attachment=True, filename=document.file_name)),
        "X-Content-Type-Options": "nosniff",
        "Cache-Control": "private, no-cache",
    }
    return HttpResponse(file_of(document), content_type=kind, headers=headers)


def _document_page(request: HttpRequest, pk: int, *, refusal: Refusal | None = None) -> HttpResponse:
    return detail(request, "documents", pk, refusal=refusal)


@acting(again=_document_page)
def _attach(request: HttpRequest, pk: int) -> HttpResponse:
    upload: Any = request.FILES.get("file")
    if upload is None:
        raise Refused([misfit("data.required", "file")])
    # One byte more than is allowed is enough to know.
    data = upload.read(settings.UPLOAD_LIMIT_BYTES + 1)
    attach_file(document=get_object_or_404(Document, pk=pk), name=upload.name or "", data=data, by=person_of(request), at=now())
    messages.success(request, _("The file is attached."))
    return redirect("shop:detail", "documents", pk)


@dataclass(frozen=True, slots=True)
class WithdrawPage:
    crumbs: list[Crumb]
    title: str
    relied_on: ReliedOn
    form: forms.Form
    leave_url: str


def _withdraw_page(request: HttpRequest, slug: str, pk: int, *, refusal: Refusal | None = None) -> HttpResponse:
    item = _paper(slug, pk)
    form = WithdrawForm(request.POST if refusal else None)
    if refusal:
        refusal.tell(form)
    leave = reverse("shop:detail", args=[slug, pk])
    page = WithdrawPage(
        crumbs=[
            Crumb(_("Shop"), reverse("shop:catalogue")),
            Crumb(str(KINDS[slug].title), reverse("shop:list", args=[slug])),
            Crumb(str(item), leave),
        ],
        title=_("Withdraw {name}").format(name=item),
        relied_on=relied_on(item, shop_day(now())),
        form=form,
        leave_url=leave,
    )
    return render(request, "catalogue/withdraw.html", {"page": page, "refusal": refusal, "place": "shop"})


def _paper(slug: str, pk: int) -> Document | CrimpSpecification:
    if slug == "documents":
        return get_object_or_404(Document, pk=pk)
    if slug == "specifications":
        return get_object_or_404(CrimpSpecification, pk=pk)
    raise Http404


@acting(again=_withdraw_page)
def withdraw_item(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    item = _paper(slug, pk)
    if request.method != "POST":
        require(request, KINDS[slug].deed)
        return _withdraw_page(request, slug, pk)
    form = WithdrawForm(request.POST)
    if not form.is_valid():
        raise Refused(findings_from(ValidationError(form.errors.as_data())))
    ended = withdraw(item=item, by=person_of(request), at=now(), **form.cleaned_data)
    messages.success(request, _("{name} is withdrawn.").format(name=ended))
    return redirect("shop:detail", slug, pk)
