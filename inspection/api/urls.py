"""Addresses of making and measuring, included under the API of the shop."""

from __future__ import annotations

from django.urls import path

from inspection.api import batches, samples

batch = "batches/<int:pk>/"
sample = "samples/<int:pk>/"

urlpatterns = [
    path("batches/", batches.BatchesView.as_view(), name="batches"),
    path(batch, batches.BatchView.as_view(), name="batch"),
    path(f"{batch}scan/", batches.ScanView.as_view(), name="scan"),
    path(f"{batch}samples/", batches.SamplesView.as_view(), name="samples"),
    path(f"{batch}hold/", batches.RaiseHoldView.as_view(), name="batch-hold"),
    path(f"{batch}close/", batches.CloseView.as_view(), name="batch-close"),
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
]
