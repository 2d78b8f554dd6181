from django.apps import AppConfig


class InspectionConfig(AppConfig):
    name = "inspection"
    verbose_name = "Inspection"
    append_only = (
        "SetupScan",
        "Reading",
        "PullTest",
        "VisualFinding",
        "StudyValue",
        "ChartSignal",
        "Reaction",
        "Disposition",
        "LotInspection",
        "NonconformanceLink",
        "Cause",
        "EffectMeasure",
        "EffectCheck",
        "OfflineAct",
        "OfflineDecision",
        "ClaimedSignature",
        "ClaimAnswer",
    )

    def ready(self) -> None:
        from inspection import offline_waiting, sampling_beside, studies_beside  # noqa: PLC0415  # apps are loaded only now
        from inspection.nonconformance_rules import NONCONFORMANCE_RULES  # noqa: PLC0415
        from inspection.offline_rules import OFFLINE_RULES  # noqa: PLC0415
        from inspection.rules import RULES  # noqa: PLC0415
        from inspection.verdict_rules import VERDICT_RULES  # noqa: PLC0415
        from shop.wording import register  # noqa: PLC0415

        register(VERDICT_RULES)
        register(RULES)
        register(NONCONFORMANCE_RULES)
        register(OFFLINE_RULES)
        studies_beside.register_all()
        sampling_beside.register_all()
        offline_waiting.register_all()
