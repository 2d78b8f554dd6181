from django.apps import AppConfig
from django.db.models.signals import post_migrate


class RecordsConfig(AppConfig):
    name = "records"
    verbose_name = "Records"
    append_only = (
        "LedgerEntry",
        "Signature",
        "IssuedDocument",
        "DocumentSignature",
        "Checkpoint",
        "LedgerBlock",
        "LotPart",
        "LotLoss",
        "ShippedSerial",
        "Suspect",
        "SuspectDecision",
        "Attachment",
        "AttachmentWithdrawal",
        "RetentionRule",
        "DisposedFile",
    )

    def ready(self) -> None:
        from records import (  # noqa: PLC0415  # apps are loaded only now; some register themselves
            batch_photos,
            containment_beside,
            disposed,  # noqa: F401
            keeping_beside,
            ledger,
            listeners,  # noqa: F401
            looked_at,
            nonconformance_links,
            search_index,
            trail_beside,
        )
        from records.keeping_rules import RULES as KEEPING_RULES  # noqa: PLC0415
        from records.lot_rules import RULES as LOT_RULES  # noqa: PLC0415
        from records.rules import RULES  # noqa: PLC0415  # apps are loaded only now
        from shop.wording import register  # noqa: PLC0415

        register(RULES)
        trail_beside.register_all()
        register(LOT_RULES)
        register(KEEPING_RULES)
        keeping_beside.register_all()
        batch_photos.register_keeper()
        containment_beside.register_all()
        looked_at.register_all()
        nonconformance_links.register_all()
        post_migrate.connect(ledger.install_after_migrate, sender=self, dispatch_uid="ledger")
        # After the append-only guards of the shop; once per app, and the last time all tables are there.
        post_migrate.connect(search_index.after_migrate, sender=self, dispatch_uid="search")
