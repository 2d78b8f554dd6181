"""Studies: charts in force, gauges, tools and processes looked at as a whole. Pages of the desk."""

from __future__ import annotations

from django.urls import path, re_path

from inspection.pages import charts, defects, freezing, held, recurring, sampling, sampling_plans, studies, wear

app_name = "studies"

urlpatterns = [
    path("", studies.studies, name="list"),
    path("new/<slug:slug>/", studies.new, name="new"),
    path("wear/<str:asset>/", wear.wear_page, name="wear"),
    path("charts/", charts.charts, name="charts"),
    path("charts/defects/", defects.defects, name="defects"),
    path("charts/defects/recurring/", recurring.recurring_page, name="recurring"),
    path("charts/defects.csv", defects.data, name="defects-data"),
    path("charts/stream/", charts.stream, name="stream"),
    re_path(r"^charts/stream\.(?P<form>csv|xlsx)$", charts.data, name="data"),
    path("charts/stream/freeze/", freezing.freeze, name="freeze"),
    path("charts/limits/<int:pk>/end/", freezing.end, name="end-limits"),
    path("sampling/", sampling.schemes, name="sampling"),
    path("sampling/new/", sampling.new_scheme, name="sampling-new"),
    path("sampling/plans/", sampling_plans.plans, name="sampling-planning"),
    path("sampling/plans/<slug:question>/", sampling_plans.plans, name="sampling-plans"),
    path("sampling/<str:number>/", sampling.scheme, name="sampling-scheme"),
    path("sampling/<str:number>/inspect/", sampling.inspecting, name="sampling-inspect"),
    path("sampling/<str:number>/end/", sampling.end, name="sampling-end"),
    path("sampling/<str:number>/<int:lot>/release/", sampling.release, name="sampling-release"),
    re_path(r"^sampling/(?P<number>[^/]+)/history\.(?P<form>csv|xlsx)$", sampling.history, name="sampling-history"),
    path("held/", held.held, name="held"),
    path("held/<str:number>/", held.disposing, name="dispose"),
    path("<str:number>/", studies.study, name="study"),
    path("<str:number>/take-over/", studies.collect, name="take-over"),
    path("<str:number>/abandon/", studies.abandon, name="abandon"),
    path("<str:number>/conclude/", studies.conclude, name="conclude"),
    re_path(r"^(?P<number>[^/]+)/values\.(?P<form>csv|xlsx)$", studies.values, name="values"),
]
