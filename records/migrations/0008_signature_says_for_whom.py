from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("records", "0007_certificates_status_lists_and_audit_trails")]

    operations = [migrations.AlterField(model_name="signature", name="how", field=models.CharField(max_length=300))]
