"""Prove, and the handbook. Mounted at the root: two places of their own."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path

from records.pages import handbook, labels, prove

prove_patterns = [
    path("", prove.search, name="search"),
    path("shipment/<str:number>/", prove.shipment, name="shipment"),
    path("lot/<str:number>/", prove.lot, name="lot"),
    path("batch/<str:number>/", prove.batch, name="batch"),
    path("where/<str:kind>/<str:number>/", prove.where, name="where"),
    path("lots/new/", prove.new_lot, name="new-lot"),
    path("shipments/new/", prove.new_shipment, name="new-shipment"),
    path("issue/<str:kind>/<int:pk>/", prove.issue, name="issue"),
    path("evidence/<str:kind>/<str:number>/", prove.evidence, name="evidence"),
    path("documents/<str:number>/<int:issue>/", prove.document, name="document"),
    path("documents/<str:number>/<int:issue>/file/", prove.document_file, name="document-file"),
    path("labels/<int:pk>/", labels.labels, name="labels"),
    path("labels/<int:pk>/travellers/", labels.travellers_file, name="travellers"),
    path("labels/<int:pk>/bag-tags/", labels.bag_tags_file, name="bag-tags"),
    path("ledger/", prove.ledger, name="ledger"),
    path("ledger/<int:number>/", prove.ledger_entry, name="ledger-entry"),
]

help_patterns = [
    path("", handbook.index, name="index"),
    path("rules/", handbook.rules, name="rules"),
    path("look/", handbook.look, name="look"),
    path("<slug:chapter>/", handbook.chapter, name="chapter"),
]

urlpatterns: list[URLPattern | URLResolver] = [
    path("prove/", include((prove_patterns, "prove"))),
    path("help/", include((help_patterns, "help"))),
]
