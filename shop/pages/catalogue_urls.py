"""Addresses of the catalogue."""

from __future__ import annotations

from django.urls import path

from shop.pages import catalogue, crib, export, matrix, papers

app_name = "shop"
urlpatterns = [
    path("", catalogue.index, name="catalogue"),
    path("crib/", crib.crib, name="crib"),
    path("crib/crib.csv", crib.crib_csv, name="crib-csv"),
    path("tools/<int:pk>/wear-part/", crib.fit_part, name="wear-part"),
    path("tools/<int:pk>/care/", crib.care, name="care"),
    path("tools/<int:pk>/counter/", crib.counter, name="counter"),
    path("documents/<int:pk>/file/", papers.document_file, name="document-file"),
    path("<slug:slug>/<int:pk>/withdraw/", papers.withdraw_item, name="withdraw"),
    path("people/matrix/", matrix.matrix, name="matrix"),
    path("people/matrix/matrix.csv", matrix.matrix_csv, name="matrix-csv"),
    path("people/<int:pk>/password/", catalogue.hand_out, name="hand-out"),
    path("people/<int:pk>/unlock/", catalogue.unlock_person, name="unlock"),
    path("<slug:slug>/", catalogue.listing, name="list"),
    path("<slug:slug>/states/", catalogue.change_states, name="states"),
    path("<slug:slug>/export.<slug:form>", export.export, name="export"),
    path("<slug:slug>/new/", catalogue.new_or_add, name="new"),
    path("<slug:slug>/import/", catalogue.import_file, name="import"),
    path("<slug:slug>/import/template.csv", catalogue.import_template, name="import-template"),
    path("<slug:slug>/<int:pk>/", catalogue.detail, name="detail"),
    path("<slug:slug>/<int:pk>/edit/", catalogue.edit_or_change, name="edit"),
    path("<slug:slug>/<int:pk>/state/", catalogue.change_state, name="state"),
]
