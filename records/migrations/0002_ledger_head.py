"""The one head row of the ledger, at zero entries."""

from django.db import migrations

GENESIS = "0" * 64


def make_head(apps, schema_editor):
    apps.get_model("records", "LedgerHead").objects.using(schema_editor.connection.alias).create(pk=1, count=0, hash=GENESIS)


def drop_head(apps, schema_editor):
    apps.get_model("records", "LedgerHead").objects.using(schema_editor.connection.alias).filter(pk=1, count=0).delete()


class Migration(migrations.Migration):
    dependencies = [("records", "0001_first")]

    operations = [migrations.RunPython(make_head, drop_head)]
