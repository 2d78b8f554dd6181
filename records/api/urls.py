"""Addresses of proving, included under the API of the shop."""

from __future__ import annotations

from django.urls import path

from records.api import documents, ledger, lots, trace

document = "documents/<str:number>/<int:issue>/"

urlpatterns = [
    path("harness-lots/", lots.HarnessLotsView.as_view(), name="harness-lots"),
    path("harness-lots/<str:number>/", lots.HarnessLotView.as_view(), name="harness-lot"),
    path("shipments/", lots.ShipmentsView.as_view(), name="shipments"),
    path("shipments/<str:number>/", lots.ShipmentView.as_view(), name="shipment"),
    path("trace/", trace.FindView.as_view(), name="trace"),
    path("trace/shipment/<str:number>/", trace.ShipmentTraceView.as_view(), name="trace-shipment"),
    path("trace/lot/<str:number>/", trace.LotTraceView.as_view(), name="trace-lot"),
    path("trace/where/<str:kind>/<str:number>/", trace.WhereView.as_view(), name="trace-where"),
    path("documents/", documents.DocumentsView.as_view(), name="documents"),
    path(document, documents.DocumentView.as_view(), name="document"),
    path(f"{document}file/", documents.DocumentFileView.as_view(), name="document-file"),
    path("evidence/<str:kind>/<str:number>/", documents.EvidenceView.as_view(), name="evidence"),
    path("ledger/", ledger.LedgerView.as_view(), name="ledger"),
    path("ledger/verify/", ledger.LedgerVerifyView.as_view(), name="ledger-verify"),
]
