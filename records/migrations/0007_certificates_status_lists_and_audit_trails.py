from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("records", "0006_lots_in_lots_and_containment")]

    operations = [
        migrations.AlterField(
            model_name="issueddocument",
            name="kind",
            field=models.CharField(
                choices=[
                    ("setup sheet", "Setup sheet"),
                    ("first article", "First-article report"),
                    ("batch record", "Batch record"),
                    ("trace report", "Trace report"),
                    ("study report", "Study report"),
                    ("certificate", "Certificate of conformity"),
                    ("calibration status", "Calibration status"),
                    ("audit trail", "Audit trail"),
                ],
                max_length=20,
                verbose_name="kind",
            ),
        )
    ]
