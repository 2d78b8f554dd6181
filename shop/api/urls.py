"""The API, version 1. The apps above are included by name: the shop never imports them."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path, re_path

from shop.api import (
    catalogue,
    crib,
    fit,
    fit_table,
    inspection_plans,
    jobs,
    parts_lists,
    saved,
    sheet_copies,
    sheets,
    signing_on,
    stand_ins,
    tablets,
)
from shop.api.schema import SchemaView
from shop.api.view import Nothing

app_name = "api"

sheet = "sheets/<int:pk>/"

urlpatterns: list[URLPattern | URLResolver] = [
    path("schema/", SchemaView.as_view(), name="schema"),
    path("token/", signing_on.TokenView.as_view(), name="token"),
    path("me/", signing_on.MeView.as_view(), name="me"),
    path("me/token/", signing_on.OwnTokenView.as_view(), name="own-token"),
    path("people/<str:username>/stand-ins/", stand_ins.StandInsView.as_view(), name="stand-ins"),
    path("people/<str:username>/stand-ins/<int:pk>/end/", stand_ins.StandInEndView.as_view(), name="stand-in-end"),
    *catalogue.urlpatterns,
    *crib.urlpatterns,
    path("jobs/", jobs.JobsView.as_view(), name="jobs"),
    path("jobs/<int:pk>/", jobs.JobView.as_view(), name="job"),
    path("jobs/<int:pk>/parts-lists/", parts_lists.PartsListsView.as_view(), name="parts-lists"),
    path("parts-lists/<int:pk>/", parts_lists.PartsListView.as_view(), name="parts-list"),
    path("parts-lists/<int:pk>/mapping/", parts_lists.MappingView.as_view(), name="parts-list-mapping"),
    path("parts-lists/<int:pk>/corrections/", parts_lists.CorrectionView.as_view(), name="parts-list-corrections"),
    path("parts-lists/<int:pk>/sheet/", parts_lists.PartsSheetView.as_view(), name="parts-list-sheet"),
    path("tablets/", tablets.TabletsView.as_view(), name="tablets"),
    path("tablets/<int:pk>/move/", tablets.TabletMoveView.as_view(), name="tablet-move"),
    path("tablets/<int:pk>/revoke/", tablets.TabletRevokeView.as_view(), name="tablet-revoke"),
    path("saved-searches/", saved.SavedSearchesView.as_view(), name="saved-searches"),
    path("saved-searches/<int:pk>/", saved.SavedSearchView.as_view(), name="saved-search"),
    path("fit/matrix/", fit_table.FitMatrixView.as_view(), name="fit-matrix"),
    path("sheets/", sheets.SheetsView.as_view(), name="sheets"),
    path(sheet, sheets.SheetView.as_view(), name="sheet"),
    path(f"{sheet}terminations/", sheets.TerminationsView.as_view(), name="terminations"),
    path(f"{sheet}terminations/<int:termination_pk>/", sheets.TerminationView.as_view(), name="termination"),
    path(f"{sheet}terminations/<int:termination_pk>/inspection/", inspection_plans.InspectionPlanView.as_view(), name="inspection-plan"),
    path(f"{sheet}submit/", sheets.SubmitView.as_view(), name="sheet-submit"),
    path(f"{sheet}return/", sheets.ReturnView.as_view(), name="sheet-return"),
    path(f"{sheet}release/", sheets.ReleaseView.as_view(), name="sheet-release"),
    path(f"{sheet}revise/", sheets.ReviseView.as_view(), name="sheet-revise"),
    path(f"{sheet}withdraw/", sheets.WithdrawView.as_view(), name="sheet-withdraw"),
    path(f"{sheet}copy/", sheet_copies.CopyView.as_view(), name="sheet-copy"),
    path(f"{sheet}arrange/", sheet_copies.ArrangeView.as_view(), name="sheet-arrange"),
    path(f"{sheet}comments/", sheet_copies.CommentView.as_view(), name="sheet-comments"),
    path(f"{sheet}changes/", sheet_copies.ChangesView.as_view(), name="sheet-changes"),
    path("fit/", fit.FitView.as_view(), name="fit"),
    path("", include("inspection.api.urls")),
    path("", include("records.api.urls")),
    re_path("", Nothing.as_view(), name="nothing"),
]
