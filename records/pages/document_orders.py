"""How far a document is that the worker draws."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from records.document_orders import DocumentOrder, OrderState, TrailAsked
from records.trails import trail_url
from shop.clock import now

PLACE = "prove"


@require_GET
def document_order(request: HttpRequest, pk: int) -> HttpResponse:
    """Follows by itself while it goes on, and leads to the document when it is there."""
    order = get_object_or_404(DocumentOrder.objects.select_related("batch", "lot", "shipment", "document"), pk=pk)
    is_part = request.headers.get("HX-Request") == "true"
    if order.document is not None and not is_part:
        return redirect("prove:document", number=order.document.number, issue=order.document.issue)
    outcome = {OrderState.DONE: "conforms", OrderState.BROKEN: "does not conform"}.get(OrderState(order.state), "waiting")
    of = order.of
    if isinstance(of, TrailAsked):
        title, back = _("Audit trail"), trail_url(of.kind, of.pk)
    elif order.batch is not None:
        title, back = _("Batch record"), reverse("prove:batch", args=[of.number])
    else:
        title, back = _("Trace report"), reverse("prove:lot" if order.lot is not None else "prove:shipment", args=[of.number])
    context = {
        "place": PLACE,
        "order": order,
        "title": title,
        "back": back,
        "outcome": outcome,
        "is_lost": order.is_lost(now()),
    }
    return render(request, "prove/_document_order.html" if is_part else "prove/document_order.html", context)
