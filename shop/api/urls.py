"""The API, version 1. The apps above are included by name: the shop never imports them."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path, re_path

from shop.api import catalogue, crib, fit, jobs, sheet_copies, sheets, signing_on
from shop.api.schema import SchemaView
from shop.api.view import Nothing

app_name = "api"

sheet = "sheets/<int:pk>/"

urlpatterns: list[URLPattern | URLResolver] = [
    path("schema/", SchemaView.as_view(), name="schema"),
    path("token/", signing_on.TokenView.as_view(), name="token"),
    path("me/", signing_on.MeView.as_view(), name="me"),
    path("me/token/", signing_on.OwnTokenView.as_view(), name="own-token"),
    *catalogue.urlpatterns,
    *crib.urlpatterns,
    path("jobs/", jobs.JobsView.as_view(), name="jobs"),
    path("jobs/<int:pk>/", jobs.JobView.as_view(), name="job"),
    path("sheets/", sheets.SheetsView.as_view(), name="sheets"),
    path(sheet, sheets.SheetView.as_view(), name="sheet"),
    path(f"{sheet}terminations/", sheets.TerminationsView.as_view(), name="terminations"),
    path(f"{sheet}terminations/<int:termination_pk>/", sheets.TerminationView.as_view(), name="termination"),
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
