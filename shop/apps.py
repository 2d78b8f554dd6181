from django.apps import AppConfig
from django.db.models.signals import post_migrate


class ShopConfig(AppConfig):
    name = "shop"
    verbose_name = "Shop"
    append_only = ("ToolCare", "PressCheck", "ConcessionUse", "Look")

    def ready(self) -> None:
        from shop import checks, recheck_listeners  # noqa: F401, PLC0415  # register themselves
        from shop.append_only import install_after_migrate  # noqa: PLC0415  # apps are loaded only now
        from shop.fit_rules import FIT_RULES  # noqa: PLC0415
        from shop.pages import stand_ins, tablets  # noqa: PLC0415
        from shop.rules import RULES  # noqa: PLC0415
        from shop.wording import register  # noqa: PLC0415

        stand_ins.register_beside()
        tablets.register_beside()
        register(FIT_RULES)
        register(RULES)
        # No sender: once per app, and after the last app every table is guarded.
        post_migrate.connect(install_after_migrate, dispatch_uid="append-only")
