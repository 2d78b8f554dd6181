from django.apps import AppConfig


class RecordsConfig(AppConfig):
    name = "records"
    verbose_name = "Records"
    append_only = ("LedgerEntry", "Signature", "IssuedDocument")

    def ready(self) -> None:
        from records import listeners  # noqa: F401, PLC0415  # registers itself
        from records.rules import RULES  # noqa: PLC0415  # apps are loaded only now
        from shop.wording import register  # noqa: PLC0415

        register(RULES)
