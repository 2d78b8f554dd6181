from django.apps import AppConfig


class InspectionConfig(AppConfig):
    name = "inspection"
    verbose_name = "Inspection"
    append_only = ("SetupScan", "Reading", "PullTest", "VisualFinding")

    def ready(self) -> None:
        from inspection.rules import RULES  # noqa: PLC0415  # apps are loaded only now
        from inspection.verdict_rules import VERDICT_RULES  # noqa: PLC0415
        from shop.wording import register  # noqa: PLC0415

        register(VERDICT_RULES)
        register(RULES)
