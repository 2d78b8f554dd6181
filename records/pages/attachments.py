"""Files attached to things, on the pages: the list with its form, the file itself, withdrawing one."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from records.acts.attachments import attach, attachment_bytes, withdraw_attachment
from records.attachables import Thing, thing
from records.keeping_beside import attachments_part
from records.keeping_models import Attachment
from shop.api.files import file_response
from shop.clock import now
from shop.finding import Refused, misfit
from shop.pages.acting import Refusal, acting, person_of, require
from shop.permissions import Deed

PLACE = "prove"


def _thing(slug: str, pk: int) -> Thing:
    found = thing(slug, pk)
    if found is None:
        raise Http404
    return found


def attachments_page(request: HttpRequest, kind: str, pk: int, *, refusal: Refusal | None = None) -> HttpResponse:
    part = attachments_part(_thing(kind, pk), person_of(request), title=request.POST.get("title", ""))
    return render(request, "prove/attachments.html", {"place": PLACE, "part": part, "refusal": refusal})


@require_http_methods(["GET", "POST"])
@acting(again=attachments_page)
def attachments(request: HttpRequest, kind: str, pk: int) -> HttpResponse:
    if request.method == "GET":
        return attachments_page(request, kind, pk)
    found, upload = _thing(kind, pk), request.FILES.get("file")
    if upload is None:
        raise Refused([misfit("data.required", "file")])
    data: Any = upload.read(settings.UPLOAD_LIMIT_BYTES + 1)  # one byte more than is allowed is enough to know
    attach(thing=found, title=request.POST.get("title", ""), name=upload.name or "", data=data, by=person_of(request), at=now())
    messages.success(request, _("The file is attached."))
    return redirect(f"{found.url}#h-attachments")


@require_GET
def attachment(request: HttpRequest, pk: int) -> HttpResponse:
    """To the thing it is attached to, where it stands among the others."""
    row = get_object_or_404(Attachment, pk=pk)
    return redirect(f"{_thing(row.subject_kind.replace(' ', '-'), row.subject_id).url}#h-attachments")


@require_GET
@acting
def attachment_file(request: HttpRequest, pk: int) -> HttpResponse:
    """To anybody who is signed in, as a file to keep."""
    row = get_object_or_404(Attachment, pk=pk)
    kind = row.file_type + ("; charset=utf-8" if row.file_type.startswith("text/") else "")
    return file_response(attachment_bytes(row), kind, row.file_name)


def _withdraw_page(request: HttpRequest, pk: int, *, refusal: Refusal | None = None) -> HttpResponse:
    row = get_object_or_404(Attachment.objects.select_related("by"), pk=pk)
    found = thing(row.subject_kind.replace(" ", "-"), row.subject_id)
    context = {"place": PLACE, "row": row, "thing": found, "refusal": refusal, "reason": request.POST.get("reason", "")}
    return render(request, "prove/attachment_withdraw.html", context)


@require_http_methods(["GET", "POST"])
@acting(again=_withdraw_page)
def attachment_withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    if request.method == "GET":
        require(request, Deed.WITHDRAW_ATTACHMENT)
        return _withdraw_page(request, pk)
    row = get_object_or_404(Attachment, pk=pk)
    withdraw_attachment(attachment=row, reason=request.POST.get("reason", ""), by=person_of(request), at=now())
    messages.success(request, _("The attachment is withdrawn."))
    found = thing(row.subject_kind.replace(" ", "-"), row.subject_id)
    return redirect(f"{found.url}#h-attachments" if found else "prove:search")
