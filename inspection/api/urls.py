"""Addresses of making and measuring, included under the API of the shop."""

from __future__ import annotations

from django.urls import path

from inspection.api import acceptance, batches, charts, dispositions, recurring, samples, studies

batch = "batches/<int:pk>/"
sample = "samples/<int:pk>/"
study = "studies/<str:number>/"

urlpatterns = [
    path("batches/", batches.BatchesView.as_view(), name="batches"),
    path(batch, batches.BatchView.as_view(), name="batch"),
    path(f"{batch}scan/", batches.ScanView.as_view(), name="scan"),
    path(f"{batch}samples/", batches.SamplesView.as_view(), name="samples"),
    path(f"{batch}hold/", batches.RaiseHoldView.as_view(), name="batch-hold"),
    path(f"{batch}close/", batches.CloseView.as_view(), name="batch-close"),
    path(f"{batch}dispositions/", dispositions.DispositionsView.as_view(), name="dispositions"),
    path("defects/recurring/", recurring.RecurringView.as_view(), name="recurring"),
    path("held/", dispositions.HeldView.as_view(), name="held"),
    path("holds/", batches.HoldsView.as_view(), name="holds"),
    path("holds/<int:pk>/", batches.HoldView.as_view(), name="hold"),
    path("holds/<int:pk>/decide/", batches.DecideView.as_view(), name="hold-decide"),
    path(sample, samples.SampleView.as_view(), name="sample"),
    path(f"{sample}readings/", samples.ReadingsView.as_view(), name="readings"),
    path(f"{sample}pulls/", samples.PullsView.as_view(), name="pulls"),
    path(f"{sample}visuals/", samples.VisualsView.as_view(), name="visuals"),
    path(f"{sample}conclude/", samples.ConcludeView.as_view(), name="sample-conclude"),
    path(f"{sample}countersign/", samples.CountersignView.as_view(), name="sample-countersign"),
    path(f"{sample}turn-down/", samples.TurnDownView.as_view(), name="sample-turn-down"),
    path("charts/", charts.ChartView.as_view(), name="chart"),
    path("charts/limits/", charts.LimitsView.as_view(), name="control-limits"),
    path("charts/limits/<int:pk>/end/", charts.EndLimitsView.as_view(), name="control-limits-end"),
    path("charts/reactions/", charts.ReactionsView.as_view(), name="reactions"),
    path("studies/", studies.StudiesView.as_view(), name="studies"),
    path("studies/kinds/", studies.KindsView.as_view(), name="study-kinds"),
    path(study, studies.StudyView.as_view(), name="study"),
    path(f"{study}values/", studies.ValuesView.as_view(), name="study-values"),
    path(f"{study}take-over/", studies.TakeOverView.as_view(), name="study-take-over"),
    path(f"{study}sign/", studies.SignView.as_view(), name="study-sign"),
    path(f"{study}abandon/", studies.AbandonView.as_view(), name="study-abandon"),
    path("sampling-schemes/", acceptance.SchemesView.as_view(), name="sampling-schemes"),
    path("sampling-schemes/<str:number>/", acceptance.SchemeView.as_view(), name="sampling-scheme"),
    path("sampling-schemes/<str:number>/plan/", acceptance.PlanView.as_view(), name="sampling-plan"),
    path("sampling-schemes/<str:number>/lots/", acceptance.InspectionsView.as_view(), name="sampling-lots"),
    path("sampling-schemes/<str:number>/lots/<int:inspection>/release/", acceptance.ReleaseView.as_view(), name="sampling-release"),
    path("sampling-schemes/<str:number>/end/", acceptance.EndView.as_view(), name="sampling-end"),
]
