"""Addresses of the catalogue."""

from __future__ import annotations

from django.urls import path

from shop.pages import (
    catalogue,
    catalogue_form,
    catalogue_list,
    crib,
    export,
    importing,
    matrix,
    papers,
    presses,
    stand_ins,
    states_by_file,
    tablets,
)

app_name = "shop"
urlpatterns = [
    path("", catalogue.index, name="catalogue"),
    path("crib/", crib.crib, name="crib"),
    path("crib/crib.csv", crib.crib_csv, name="crib-csv"),
    path("tools/<int:pk>/wear-part/", crib.fit_part, name="wear-part"),
    path("tools/<int:pk>/care/", crib.care, name="care"),
    path("tools/<int:pk>/counter/", crib.counter, name="counter"),
    path("presses/<int:pk>/shut-height/", presses.shut_height, name="shut-height"),
    path("documents/<int:pk>/file/", papers.document_file, name="document-file"),
    path("<slug:slug>/<int:pk>/withdraw/", papers.withdraw_item, name="withdraw"),
    path("people/matrix/", matrix.matrix, name="matrix"),
    path("people/matrix/matrix.csv", matrix.matrix_csv, name="matrix-csv"),
    path("people/<int:pk>/password/", catalogue_form.hand_out, name="hand-out"),
    path("people/<int:pk>/stand-ins/", stand_ins.stand_ins, name="stand-ins"),
    path("people/<int:pk>/stand-ins/end/", stand_ins.end, name="stand-in-end"),
    path("people/<int:pk>/unlock/", catalogue_form.unlock_person, name="unlock"),
    path("tablets/", tablets.tablets, name="tablets"),
    path("tablets/<int:pk>/", tablets.tablet, name="tablet"),
    path("tablets/<int:pk>/move/", tablets.move, name="tablet-move"),
    path("tablets/<int:pk>/revoke/", tablets.revoke, name="tablet-revoke"),
    path("<slug:slug>/", catalogue_list.listing, name="list"),
    path("<slug:slug>/states/", catalogue_list.change_states, name="states"),
    path("<slug:slug>/states/file/", states_by_file.states_file, name="states-file"),
    path("<slug:slug>/export.<slug:form>", export.export, name="export"),
    path("<slug:slug>/new/", catalogue_form.new_or_add, name="new"),
    path("<slug:slug>/import/", importing.import_file, name="import"),
    path("<slug:slug>/import/template.csv", importing.import_template, name="import-template"),
    path("<slug:slug>/import/<int:pk>/", importing.import_run, name="import-run"),
    path("<slug:slug>/import/<int:pk>/again/", importing.import_again, name="import-again"),
    path("<slug:slug>/<int:pk>/", catalogue.detail, name="detail"),
    path("<slug:slug>/<int:pk>/edit/", catalogue_form.edit_or_change, name="edit"),
    path("<slug:slug>/<int:pk>/state/", catalogue.change_state, name="state"),
]
