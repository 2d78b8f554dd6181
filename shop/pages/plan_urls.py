"""Addresses of the plan."""

from __future__ import annotations

from django.urls import path, re_path

from shop.pages import changes, concessions, conductors, copying, fit_table, inspection_plan, parts, plan, recheck, sheet

app_name = "plan"
urlpatterns = [
    path("", plan.jobs, name="jobs"),
    path("jobs/new/", plan.new_job, name="new-job"),
    path("jobs/<int:pk>/", plan.job, name="job"),
    path("jobs/<int:pk>/sheet/", plan.new_sheet, name="new-sheet"),
    path("jobs/<int:pk>/parts-list/", parts.new_parts_list, name="new-parts-list"),
    path("parts-lists/<int:pk>/", parts.parts_list, name="parts-list"),
    path("parts-lists/<int:pk>/columns/", parts.columns, name="parts-columns"),
    path("parts-lists/<int:pk>/rows/<int:row>/", parts.correct, name="parts-correct"),
    path("parts-lists/<int:pk>/sheet/", parts.make_sheet, name="parts-sheet"),
    path("concessions/", concessions.concessions, name="concessions"),
    path("concessions/new/", concessions.new_concession, name="new-concession"),
    path("concessions/<int:pk>/", concessions.concession, name="concession"),
    path("fit/", fit_table.fit_table, name="fit"),
    path("conductors/", conductors.conductors, name="conductors"),
    path("recheck/", recheck.rechecks, name="recheck"),
    path("recheck/order/", recheck.order, name="order-recheck"),
    path("fit/table.csv", fit_table.fit_csv, name="fit-csv"),
    path("sheets/", plan.sheets, name="sheets"),
    path("sheets/<int:pk>/", sheet.sheet, name="sheet"),
    path("sheets/<int:pk>/changes/", changes.sheet_changes, name="changes"),
    path("sheets/<int:pk>/copy/", copying.copy, name="copy-sheet"),
    path("sheets/<int:pk>/arrange/", copying.arrange, name="arrange"),
    path("sheets/<int:pk>/comment/", copying.comment, name="comment"),
    path("sheets/<int:pk>/submit/", sheet.submit, name="submit"),
    path("sheets/<int:pk>/release/", sheet.release, name="release"),
    re_path(r"^sheets/(?P<pk>[0-9]+)/(?P<question>return|revise|withdraw)/$", sheet.ask, name="ask"),
    path("sheets/<int:sheet_pk>/terminations/new/", plan.termination, name="new-termination"),
    path("sheets/<int:sheet_pk>/terminations/<int:pk>/", plan.termination, name="termination"),
    path("sheets/<int:sheet_pk>/terminations/<int:pk>/inspection/", inspection_plan.inspection_plan, name="inspection-plan"),
    path("sheets/<int:sheet_pk>/terminations/<int:pk>/remove/", plan.remove, name="remove-termination"),
]
