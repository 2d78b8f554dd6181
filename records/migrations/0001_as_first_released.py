import django.core.validators
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


# One row that is the head of the chain, at zero entries.
GENESIS = "0" * 64

# The same lexemes in an index of each database's own; what keeps them in step is in records/search_index.py. No pending list on
# PostgreSQL: a search would have to read what nobody has sorted in yet.
CREATE = {
    "postgresql": "CREATE INDEX search_words ON records_searchentry USING gin (array_to_tsvector(string_to_array(words, ' '))) "
    "WITH (fastupdate = off)",
    "sqlite": "CREATE VIRTUAL TABLE records_searchword USING fts5(words, content='records_searchentry', content_rowid='id', "
    "tokenize='unicode61 remove_diacritics 0', prefix='2 3')",
}
DROP = {"postgresql": "DROP INDEX search_words", "sqlite": "DROP TABLE records_searchword"}


def make_head(apps, schema_editor):
    apps.get_model("records", "LedgerHead").objects.using(schema_editor.connection.alias).create(pk=1, count=0, hash=GENESIS)


def drop_head(apps, schema_editor):
    apps.get_model("records", "LedgerHead").objects.using(schema_editor.connection.alias).filter(pk=1, count=0).delete()


def create_words(apps, schema_editor):
    schema_editor.execute(CREATE[schema_editor.connection.vendor])


def drop_words(apps, schema_editor):
    schema_editor.execute(DROP[schema_editor.connection.vendor])


class Migration(migrations.Migration):
    """The proof side as it stands at the first release: what seventeen migrations came to. A database that has those keeps them; a new one begins here."""

    initial = True

    replaces = [
        ('records', '0001_first'),
        ('records', '0002_ledger_head'),
        ('records', '0003_study_reports'),
        ('records', '0004_people_sign_documents'),
        ('records', '0005_checkpoints_and_evidence_orders'),
        ('records', '0006_lots_in_lots_and_containment'),
        ('records', '0007_certificates_status_lists_and_audit_trails'),
        ('records', '0008_signature_says_for_whom'),
        ('records', '0009_document_orders'),
        ('records', '0010_attachments_retention_holds_and_disposals'),
        ('records', '0011_search'),
        ('records', '0012_nonconformance_reports'),
        ('records', '0013_trace_reports_are_ordered_too'),
        ('records', '0014_retention_of_nonconformance_reports'),
        ('records', '0015_ledger_without_unused_indexes'),
        ('records', '0016_newest_first'),
        ('records', '0017_audit_trails_are_ordered_too'),
    ]

    dependencies = [
        ('inspection', '0001_as_first_released'),
        ('shop', '0001_as_first_released'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='Checkpoint',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('entries', models.PositiveBigIntegerField(unique=True, verbose_name='entries')),
                ('root', models.CharField(max_length=64)),
                ('head', models.CharField(max_length=64)),
                ('at', models.DateTimeField(verbose_name='made')),
                ('text', models.TextField()),
                ('signature', models.TextField()),
                ('certificate', models.TextField()),
                ('certificate_sha256', models.CharField(max_length=64)),
            ],
            options={
                'verbose_name': 'checkpoint',
                'ordering': ['entries'],
            },
        ),
        migrations.CreateModel(
            name='LedgerBlock',
            fields=[
                ('number', models.PositiveBigIntegerField(primary_key=True, serialize=False)),
                ('head', models.CharField(max_length=64)),
            ],
            options={
                'ordering': ['number'],
            },
        ),
        migrations.CreateModel(
            name='Attachment',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('subject_kind', models.CharField(max_length=40)),
                ('subject_id', models.BigIntegerField()),
                ('subject_name', models.CharField(max_length=120)),
                ('title', models.CharField(max_length=120, verbose_name='title')),
                ('file_name', models.CharField(max_length=200, verbose_name='file')),
                ('file_type', models.CharField(max_length=80)),
                ('size', models.PositiveIntegerField()),
                ('sha256', models.CharField(max_length=64)),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='attachments', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'attachment',
                'ordering': ['pk'],
                'indexes': [models.Index(fields=['subject_kind', 'subject_id'], name='attachment_subject')],
            },
        ),
        migrations.CreateModel(
            name='AttachmentWithdrawal',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('reason', models.CharField(max_length=300, verbose_name='reason')),
                ('at', models.DateTimeField()),
                ('attachment', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='withdrawal', to='records.attachment')),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'withdrawal of an attachment',
            },
        ),
        migrations.CreateModel(
            name='Containment',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.CharField(max_length=60, unique=True, validators=[django.core.validators.RegexValidator('^[A-Za-z0-9][A-Za-z0-9 ._+\\-]*$', 'Use letters, digits, space and . _ + - and begin with a letter or digit.', code='data.key.characters')], verbose_name='case')),
                ('question', models.CharField(choices=[('gauge', 'gauge out of tolerance'), ('wire lot', 'wire lot not fit for use'), ('terminal lot', 'terminal lot not fit for use'), ('tool', 'tool out of order'), ('person', 'person not qualified'), ('document', 'document revision withdrawn')], max_length=16, verbose_name='question')),
                ('subject_id', models.BigIntegerField()),
                ('subject_name', models.CharField(max_length=120)),
                ('since', models.DateTimeField(blank=True, null=True, verbose_name='from')),
                ('until', models.DateTimeField(blank=True, null=True, verbose_name='to')),
                ('since_count', models.PositiveIntegerField(blank=True, null=True, verbose_name='since count')),
                ('reason', models.CharField(max_length=500, verbose_name='what was found')),
                ('opened_at', models.DateTimeField()),
                ('conclusion', models.CharField(blank=True, max_length=500, verbose_name='conclusion')),
                ('closed_at', models.DateTimeField(blank=True, null=True)),
                ('closed_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='containments_closed', to=settings.AUTH_USER_MODEL)),
                ('opened_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='containments_opened', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'containment case',
                'ordering': ['-opened_at', '-pk'],
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('closed_at__isnull', True), ('closed_by__isnull', True)), models.Q(('closed_at__isnull', False), ('closed_by__isnull', False)), _connector='OR'), name='containment_closed_by_somebody')],
            },
        ),
        migrations.CreateModel(
            name='EvidenceOrder',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('of', models.CharField(choices=[('shipment', 'a shipment'), ('lot', 'a harness lot'), ('period', 'a period')], max_length=10, verbose_name='about')),
                ('number', models.CharField(blank=True, max_length=60, verbose_name='number')),
                ('since', models.DateField(blank=True, null=True, verbose_name='from')),
                ('until', models.DateField(blank=True, null=True, verbose_name='to')),
                ('state', models.CharField(choices=[('waiting', 'waits for the worker'), ('packing', 'is being packed'), ('done', 'done'), ('broken', 'broke off')], default='waiting', max_length=10, verbose_name='state')),
                ('done', models.PositiveIntegerField(default=0)),
                ('total', models.PositiveIntegerField(default=0)),
                ('sha256', models.CharField(blank=True, max_length=64)),
                ('size', models.PositiveBigIntegerField(blank=True, null=True)),
                ('fault', models.CharField(blank=True, max_length=500)),
                ('at', models.DateTimeField()),
                ('heard_at', models.DateTimeField()),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'evidence package',
                'ordering': ['-pk'],
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('of', 'period'), ('since__isnull', False), ('until__gte', models.F('since')), ('until__isnull', False)), models.Q(models.Q(('of', 'period'), _negated=True), models.Q(('number', ''), _negated=True)), _connector='OR'), name='evidence_order_says_of_what'), models.CheckConstraint(condition=models.Q(models.Q(('state', 'done'), _negated=True), models.Q(('sha256', ''), _negated=True), _connector='OR'), name='evidence_order_done_has_file')],
            },
        ),
        migrations.CreateModel(
            name='IssuedDocument',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.CharField(max_length=60, validators=[django.core.validators.RegexValidator('^[A-Za-z0-9][A-Za-z0-9 ._+\\-]*$', 'Use letters, digits, space and . _ + - and begin with a letter or digit.', code='data.key.characters')], verbose_name='document number')),
                ('issue', models.PositiveIntegerField(verbose_name='issue')),
                ('kind', models.CharField(choices=[('setup sheet', 'Setup sheet'), ('first article', 'First-article report'), ('batch record', 'Batch record'), ('trace report', 'Trace report'), ('study report', 'Study report'), ('certificate', 'Certificate of conformity'), ('calibration status', 'Calibration status'), ('audit trail', 'Audit trail'), ('disposal', 'Certificate of disposal'), ('nonconformance', 'Nonconformance report')], max_length=20, verbose_name='kind')),
                ('title', models.CharField(max_length=200, verbose_name='title')),
                ('subject_kind', models.CharField(max_length=40)),
                ('subject_id', models.BigIntegerField()),
                ('record', models.TextField()),
                ('record_sha256', models.CharField(max_length=64)),
                ('sha256', models.CharField(max_length=64)),
                ('size', models.PositiveIntegerField()),
                ('issued_at', models.DateTimeField()),
                ('issued_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='issued_documents', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'issued document',
                'ordering': ['-issued_at', 'number'],
                'indexes': [models.Index(fields=['subject_kind', 'subject_id'], name='document_subject')],
                'constraints': [models.UniqueConstraint(fields=('number', 'issue'), name='document_issue_once')],
            },
        ),
        migrations.CreateModel(
            name='DocumentSignature',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.PositiveSmallIntegerField(verbose_name='number')),
                ('meaning', models.CharField(max_length=40, verbose_name='meaning')),
                ('printed_name', models.CharField(max_length=120, verbose_name='printed name')),
                ('signed_at', models.DateTimeField(verbose_name='signed')),
                ('sha256', models.CharField(max_length=64)),
                ('size', models.PositiveIntegerField()),
                ('certificate_sha256', models.CharField(max_length=64)),
                ('person', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='document_signatures', to=settings.AUTH_USER_MODEL, verbose_name='person')),
                ('document', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='signed', to='records.issueddocument', verbose_name='document')),
            ],
            options={
                'verbose_name': 'document signature',
                'ordering': ['document', 'number'],
                'constraints': [models.UniqueConstraint(fields=('document', 'number'), name='document_signature_number_once'), models.UniqueConstraint(fields=('document', 'meaning'), name='document_signed_once_a_meaning'), models.UniqueConstraint(fields=('document', 'person'), name='document_signed_once_a_person'), models.CheckConstraint(condition=models.Q(('number__isnull', True), ('number__gt', 0), _connector='OR'), name='document_signature_number_positive', violation_error_code='data.positive', violation_error_message='The value must be greater than zero.')],
            },
        ),
        migrations.CreateModel(
            name='LedgerEntry',
            fields=[
                ('number', models.PositiveBigIntegerField(primary_key=True, serialize=False)),
                ('kind', models.CharField(max_length=60)),
                ('version', models.PositiveSmallIntegerField()),
                ('at', models.DateTimeField(db_index=True)),
                ('subject_kind', models.CharField(max_length=40)),
                ('subject_id', models.BigIntegerField()),
                ('subject_name', models.CharField(max_length=120)),
                ('text', models.TextField()),
                ('previous_hash', models.CharField(max_length=64)),
                ('hash', models.CharField(max_length=64)),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='ledger_entries', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'ledger entry',
                'verbose_name_plural': 'ledger entries',
                'ordering': ['number'],
                'indexes': [models.Index(fields=['subject_kind', 'subject_id'], name='ledger_subject'), models.Index(fields=['kind'], name='ledger_kind')],
                'constraints': [models.UniqueConstraint(fields=('hash',), name='ledger_hash_once')],
            },
        ),
        migrations.CreateModel(
            name='LedgerHead',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('count', models.PositiveBigIntegerField(default=0)),
                ('hash', models.CharField(default='0000000000000000000000000000000000000000000000000000000000000000', max_length=64)),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('pk', 1)), name='ledger_has_one_head')],
            },
        ),
        migrations.CreateModel(
            name='LegalHold',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.CharField(max_length=60, unique=True, validators=[django.core.validators.RegexValidator('^[A-Za-z0-9][A-Za-z0-9 ._+\\-]*$', 'Use letters, digits, space and . _ + - and begin with a letter or digit.', code='data.key.characters')], verbose_name='legal hold')),
                ('scope', models.CharField(choices=[('shipment', 'a shipment'), ('harness lot', 'a harness lot'), ('batch', 'a batch'), ('job', 'a job'), ('customer', 'a customer'), ('part number', 'a part number'), ('period', 'a period')], max_length=16, verbose_name='holds')),
                ('name', models.CharField(blank=True, max_length=60, verbose_name='number')),
                ('since', models.DateField(blank=True, null=True, verbose_name='from')),
                ('until', models.DateField(blank=True, null=True, verbose_name='to')),
                ('reason', models.CharField(max_length=500, verbose_name='reason')),
                ('reference', models.CharField(max_length=120, verbose_name='reference')),
                ('placed_at', models.DateTimeField()),
                ('lifted_because', models.CharField(blank=True, max_length=500, verbose_name='lifted because')),
                ('lifted_at', models.DateTimeField(blank=True, null=True)),
                ('lifted_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('placed_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'legal hold',
                'ordering': ['-pk'],
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('name', ''), ('scope', 'period'), ('since__isnull', False), ('until__gte', models.F('since')), ('until__isnull', False)), models.Q(models.Q(('scope', 'period'), _negated=True), models.Q(('name', ''), _negated=True)), _connector='OR'), name='legal_hold_says_on_what'), models.CheckConstraint(condition=models.Q(models.Q(('lifted_at__isnull', True), ('lifted_because', ''), ('lifted_by__isnull', True)), models.Q(('lifted_at__isnull', False), ('lifted_by__isnull', False), models.Q(('lifted_because', ''), _negated=True)), _connector='OR'), name='legal_hold_lifted_by_somebody')],
            },
        ),
        migrations.CreateModel(
            name='RetentionRule',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(choices=[('setup sheets', 'Issued setup sheets'), ('batch records', 'Batch records and first-article reports'), ('lot reports', 'Trace reports and certificates of lots and shipments'), ('study reports', 'Study reports'), ('nonconformance reports', 'Nonconformance reports'), ('status lists', 'Calibration status lists'), ('audit trails', 'Issued audit trails'), ('controlled documents', 'Files of controlled documents'), ('material papers', 'Attachments of wire and terminal lots'), ('equipment papers', 'Attachments of tools, gauges and calibrations'), ('production papers', 'Attachments of batches, lots, shipments, studies and cases'), ('import files', 'Imported files'), ('evidence packages', 'Evidence packages')], max_length=24, verbose_name='records')),
                ('years', models.PositiveSmallIntegerField(blank=True, null=True, verbose_name='years')),
                ('after', models.CharField(choices=[('made', 'it was issued, attached or imported'), ('over', 'what it is about came to its end'), ('part inactive', 'the harness part was last ordered, made or shipped')], max_length=16, verbose_name='counted from when')),
                ('reason', models.CharField(max_length=300, verbose_name='reason, with its source')),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'retention rule',
                'ordering': ['-pk'],
                'indexes': [models.Index(fields=['kind'], name='retention_kind')],
                'constraints': [models.CheckConstraint(condition=models.Q(('years__isnull', True), ('years__gt', 0), _connector='OR'), name='retention_years_positive', violation_error_code='data.positive', violation_error_message='The value must be greater than zero.')],
            },
        ),
        migrations.CreateModel(
            name='Disposal',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.CharField(max_length=60, unique=True, validators=[django.core.validators.RegexValidator('^[A-Za-z0-9][A-Za-z0-9 ._+\\-]*$', 'Use letters, digits, space and . _ + - and begin with a letter or digit.', code='data.key.characters')], verbose_name='disposal')),
                ('kind', models.CharField(choices=[('setup sheets', 'Issued setup sheets'), ('batch records', 'Batch records and first-article reports'), ('lot reports', 'Trace reports and certificates of lots and shipments'), ('study reports', 'Study reports'), ('nonconformance reports', 'Nonconformance reports'), ('status lists', 'Calibration status lists'), ('audit trails', 'Issued audit trails'), ('controlled documents', 'Files of controlled documents'), ('material papers', 'Attachments of wire and terminal lots'), ('equipment papers', 'Attachments of tools, gauges and calibrations'), ('production papers', 'Attachments of batches, lots, shipments, studies and cases'), ('import files', 'Imported files'), ('evidence packages', 'Evidence packages')], max_length=24, verbose_name='records')),
                ('reason', models.CharField(blank=True, max_length=500, verbose_name='note')),
                ('at', models.DateTimeField()),
                ('finished_at', models.DateTimeField(blank=True, null=True)),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='disposals', to=settings.AUTH_USER_MODEL)),
                ('rule', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='disposals', to='records.retentionrule')),
            ],
            options={
                'verbose_name': 'disposal',
                'ordering': ['-pk'],
            },
        ),
        migrations.CreateModel(
            name='DisposedFile',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kept_as', models.CharField(choices=[('document', 'issued document'), ('attachment', 'attachment'), ('controlled document', 'controlled document'), ('import', 'import'), ('evidence package', 'evidence package')], max_length=20)),
                ('row_id', models.BigIntegerField()),
                ('name', models.CharField(max_length=200)),
                ('stored', models.CharField(db_index=True, max_length=120)),
                ('sha256', models.CharField(max_length=64)),
                ('size', models.PositiveBigIntegerField()),
                ('made_at', models.DateTimeField()),
                ('due_on', models.DateField()),
                ('disposal', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='files', to='records.disposal')),
            ],
            options={
                'verbose_name': 'disposed file',
                'ordering': ['pk'],
                'constraints': [models.UniqueConstraint(fields=('kept_as', 'row_id', 'sha256'), name='file_disposed_once')],
            },
        ),
        migrations.CreateModel(
            name='SearchEntry',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(max_length=24)),
                ('subject_id', models.BigIntegerField()),
                ('name', models.CharField(max_length=160)),
                ('note', models.CharField(blank=True, max_length=240)),
                ('compact', models.CharField(max_length=160)),
                ('spelled', models.CharField(max_length=160)),
                ('alias', models.CharField(blank=True, max_length=160)),
                ('words', models.TextField()),
            ],
            options={
                'verbose_name': 'thing that can be found',
                'verbose_name_plural': 'things that can be found',
                'indexes': [models.Index(fields=['kind', 'compact'], name='search_compact', opclasses=['varchar_pattern_ops', 'varchar_pattern_ops']), models.Index(fields=['kind', 'spelled'], name='search_spelled', opclasses=['varchar_pattern_ops', 'varchar_pattern_ops']), models.Index(condition=models.Q(('alias', ''), _negated=True), fields=['alias'], name='search_alias')],
                'constraints': [models.UniqueConstraint(fields=('kind', 'subject_id'), name='search_entry_once')],
            },
        ),
        migrations.CreateModel(
            name='Signature',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('printed_name', models.CharField(max_length=120)),
                ('meaning', models.CharField(max_length=80)),
                ('signed_at', models.DateTimeField()),
                ('how', models.CharField(max_length=300)),
                ('content_sha256', models.CharField(max_length=64)),
                ('subject_kind', models.CharField(max_length=40)),
                ('subject_id', models.BigIntegerField()),
                ('entry', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='signature', to='records.ledgerentry')),
                ('person', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='signatures', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'signature',
                'ordering': ['entry_id'],
                'indexes': [models.Index(fields=['subject_kind', 'subject_id'], name='signature_subject')],
            },
        ),
        migrations.CreateModel(
            name='HarnessLot',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.CharField(max_length=60, unique=True, validators=[django.core.validators.RegexValidator('^[A-Za-z0-9][A-Za-z0-9 ._+\\-]*$', 'Use letters, digits, space and . _ + - and begin with a letter or digit.', code='data.key.characters')], verbose_name='harness lot')),
                ('kind', models.CharField(choices=[('harness', 'harnesses'), ('sub-assembly', 'sub-assemblies'), ('leads', 'leads')], default='harness', max_length=12, verbose_name='what it is')),
                ('quantity', models.PositiveIntegerField(verbose_name='harnesses')),
                ('kept_back', models.CharField(blank=True, max_length=300, verbose_name='kept back because')),
                ('built_at', models.DateTimeField(verbose_name='built')),
                ('built_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='harness_lots', to=settings.AUTH_USER_MODEL)),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='harness_lots', to='shop.job', verbose_name='job')),
            ],
            options={
                'verbose_name': 'harness lot',
                'ordering': ['-built_at', 'number'],
                'indexes': [models.Index(models.OrderBy(models.F('built_at'), descending=True), models.F('number'), name='harness_lot_newest_first')],
                'constraints': [models.CheckConstraint(condition=models.Q(('quantity__isnull', True), ('quantity__gt', 0), _connector='OR'), name='harness_lot_quantity_positive', violation_error_code='data.positive', violation_error_message='The value must be greater than zero.')],
            },
        ),
        migrations.CreateModel(
            name='HarnessLotBatch',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('quantity', models.PositiveIntegerField(verbose_name='pieces')),
                ('batch', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='lot_batches', to='inspection.batch')),
                ('lot', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='lot_batches', to='records.harnesslot')),
            ],
            options={
                'ordering': ['batch__number'],
                'constraints': [models.UniqueConstraint(fields=('lot', 'batch'), name='batch_once_in_a_lot'), models.CheckConstraint(condition=models.Q(('quantity__isnull', True), ('quantity__gt', 0), _connector='OR'), name='lot_batch_quantity_positive', violation_error_code='data.positive', violation_error_message='The value must be greater than zero.')],
            },
        ),
        migrations.CreateModel(
            name='HarnessSerial',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('serial', models.CharField(max_length=60, validators=[django.core.validators.RegexValidator('^[A-Za-z0-9][A-Za-z0-9 ._+\\-]*$', 'Use letters, digits, space and . _ + - and begin with a letter or digit.', code='data.key.characters')], verbose_name='serial number')),
                ('lot', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='serials', to='records.harnesslot')),
            ],
            options={
                'verbose_name': 'serial number',
                'ordering': ['serial', 'lot'],
                'indexes': [models.Index(fields=['serial'], name='serial_number')],
                'constraints': [models.UniqueConstraint(fields=('lot', 'serial'), name='serial_once_in_a_lot')],
            },
        ),
        migrations.CreateModel(
            name='LotLoss',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('quantity', models.PositiveIntegerField(verbose_name='quantity')),
                ('reason', models.CharField(max_length=300, verbose_name='reason')),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('lot', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='losses', to='records.harnesslot')),
            ],
            options={
                'ordering': ['pk'],
                'constraints': [models.CheckConstraint(condition=models.Q(('quantity__isnull', True), ('quantity__gt', 0), _connector='OR'), name='lot_loss_quantity_positive', violation_error_code='data.positive', violation_error_message='The value must be greater than zero.')],
            },
        ),
        migrations.CreateModel(
            name='Shipment',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.CharField(max_length=60, unique=True, validators=[django.core.validators.RegexValidator('^[A-Za-z0-9][A-Za-z0-9 ._+\\-]*$', 'Use letters, digits, space and . _ + - and begin with a letter or digit.', code='data.key.characters')], verbose_name='shipment')),
                ('delivery_note', models.CharField(blank=True, max_length=60, verbose_name='delivery note')),
                ('shipped_at', models.DateTimeField(verbose_name='shipped')),
                ('customer', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='shipments', to='shop.customer', verbose_name='customer')),
                ('shipped_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='shipments', to=settings.AUTH_USER_MODEL)),
            ],
            options={
                'verbose_name': 'shipment',
                'ordering': ['-shipped_at', 'number'],
                'indexes': [models.Index(models.OrderBy(models.F('shipped_at'), descending=True), models.F('number'), name='shipment_newest_first')],
            },
        ),
        migrations.CreateModel(
            name='LotPart',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(choices=[('built in', 'built in'), ('split off', 'split off'), ('merged', 'merged'), ('reworked', 'reworked'), ('returned', 'returned')], max_length=12)),
                ('quantity', models.PositiveIntegerField(verbose_name='quantity')),
                ('reason', models.CharField(blank=True, max_length=300, verbose_name='reason')),
                ('lot', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='parts', to='records.harnesslot')),
                ('used', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='gone_into', to='records.harnesslot')),
                ('shipment', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='returns', to='records.shipment')),
            ],
            options={
                'ordering': ['used__number', 'pk'],
                'constraints': [models.UniqueConstraint(fields=('lot', 'used'), name='lot_once_in_a_lot'), models.CheckConstraint(condition=models.Q(('quantity__isnull', True), ('quantity__gt', 0), _connector='OR'), name='lot_part_quantity_positive', violation_error_code='data.positive', violation_error_message='The value must be greater than zero.'), models.CheckConstraint(condition=models.Q(('used__lt', models.F('lot'))), name='lot_part_from_an_older_lot'), models.CheckConstraint(condition=models.Q(models.Q(('kind', 'returned'), ('shipment__isnull', False)), models.Q(models.Q(('kind', 'returned'), _negated=True), ('shipment__isnull', True)), _connector='OR'), name='lot_part_returned_from_a_shipment')],
            },
        ),
        migrations.CreateModel(
            name='DocumentOrder',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('trail_kind', models.CharField(blank=True, max_length=40)),
                ('trail_id', models.BigIntegerField(blank=True, null=True)),
                ('trail_name', models.CharField(blank=True, max_length=120)),
                ('trail_begin', models.DateTimeField(blank=True, null=True)),
                ('trail_end', models.DateTimeField(blank=True, null=True)),
                ('trail_person', models.CharField(blank=True, max_length=150)),
                ('state', models.CharField(choices=[('waiting', 'waits for the worker'), ('drawing', 'is being drawn'), ('done', 'issued'), ('broken', 'was not issued')], default='waiting', max_length=10, verbose_name='state')),
                ('pages', models.PositiveIntegerField(default=0)),
                ('fault', models.CharField(blank=True, max_length=500)),
                ('at', models.DateTimeField()),
                ('heard_at', models.DateTimeField()),
                ('batch', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='document_orders', to='inspection.batch')),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('lot', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='document_orders', to='records.harnesslot')),
                ('document', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='records.issueddocument')),
                ('shipment', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='document_orders', to='records.shipment')),
            ],
            options={
                'verbose_name': 'ordered document',
                'ordering': ['-pk'],
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('state', 'done'), _negated=True), ('document__isnull', False), _connector='OR'), name='document_order_done_has_document'), models.CheckConstraint(condition=models.Q(models.Q(('batch__isnull', False), ('lot__isnull', True), ('shipment__isnull', True), ('trail_id__isnull', True)), models.Q(('batch__isnull', True), ('lot__isnull', False), ('shipment__isnull', True), ('trail_id__isnull', True)), models.Q(('batch__isnull', True), ('lot__isnull', True), ('shipment__isnull', False), ('trail_id__isnull', True)), models.Q(('batch__isnull', True), ('lot__isnull', True), ('shipment__isnull', True), ('trail_id__isnull', False)), _connector='OR'), name='document_order_about_one_thing')],
            },
        ),
        migrations.CreateModel(
            name='ShipmentLot',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('quantity', models.PositiveIntegerField(verbose_name='harnesses')),
                ('lot', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='shipment_lots', to='records.harnesslot')),
                ('shipment', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='shipment_lots', to='records.shipment')),
            ],
            options={
                'ordering': ['lot__number'],
                'constraints': [models.UniqueConstraint(fields=('shipment', 'lot'), name='lot_once_in_a_shipment'), models.CheckConstraint(condition=models.Q(('quantity__isnull', True), ('quantity__gt', 0), _connector='OR'), name='shipment_lot_quantity_positive', violation_error_code='data.positive', violation_error_message='The value must be greater than zero.')],
            },
        ),
        migrations.CreateModel(
            name='ShippedSerial',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('line', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='serials', to='records.shipmentlot')),
                ('serial', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='shipped', to='records.harnessserial')),
            ],
            options={
                'ordering': ['serial__serial'],
                'constraints': [models.UniqueConstraint(fields=('line', 'serial'), name='serial_once_in_a_shipment')],
            },
        ),
        migrations.CreateModel(
            name='Suspect',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('place', models.CharField(choices=[('in process', 'in process'), ('pieces in stock', 'pieces in stock'), ('lot in stock', 'lot in stock'), ('shipped', 'shipped')], max_length=16, verbose_name='where')),
                ('quantity', models.PositiveIntegerField(verbose_name='quantity')),
                ('batch', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='suspected', to='inspection.batch')),
                ('case', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='suspects', to='records.containment')),
                ('lot', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='suspected', to='records.harnesslot')),
                ('shipment', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='suspected', to='records.shipment')),
            ],
            options={
                'verbose_name': 'suspect',
                'ordering': ['pk'],
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('batch__isnull', False), ('lot__isnull', True), ('place__in', ['in process', 'pieces in stock']), ('shipment__isnull', True)), models.Q(('batch__isnull', True), ('lot__isnull', False), ('place', 'lot in stock'), ('shipment__isnull', True)), models.Q(('batch__isnull', True), ('lot__isnull', False), ('place', 'shipped'), ('shipment__isnull', False)), _connector='OR'), name='suspect_is_somewhere'), models.UniqueConstraint(condition=models.Q(('batch__isnull', False)), fields=('case', 'batch'), name='suspect_batch_once'), models.UniqueConstraint(condition=models.Q(('place', 'lot in stock')), fields=('case', 'lot'), name='suspect_lot_once'), models.UniqueConstraint(condition=models.Q(('place', 'shipped')), fields=('case', 'lot', 'shipment'), name='suspect_shipped_once')],
            },
        ),
        migrations.CreateModel(
            name='SuspectDecision',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(choices=[('found good', 'looked at and found good'), ('scrap', 'scrap'), ('rework', 'rework'), ('use as is', 'use as is, by concession'), ('counted out', 'scrapped, destroyed or held when the batch was closed'), ('customer notified', 'customer notified'), ('returned', 'returned by the customer'), ('accepted by customer', 'accepted by the customer'), ('scrapped at customer', "scrapped at the customer's")], max_length=24, verbose_name='what becomes of them')),
                ('quantity', models.PositiveIntegerField(default=0, verbose_name='quantity')),
                ('note', models.CharField(max_length=300, verbose_name='why, and how it was proven')),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('concession', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='shop.concession')),
                ('suspect', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='decisions', to='records.suspect')),
            ],
            options={
                'verbose_name': 'decision on a suspect',
                'ordering': ['pk'],
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('kind', 'customer notified'), ('quantity', 0)), models.Q(models.Q(('kind', 'customer notified'), _negated=True), ('quantity__gt', 0)), _connector='OR'), name='suspect_decision_quantity'), models.CheckConstraint(condition=models.Q(models.Q(('concession__isnull', False), ('kind', 'use as is')), models.Q(models.Q(('kind', 'use as is'), _negated=True), ('concession__isnull', True)), _connector='OR'), name='suspect_as_is_by_concession')],
            },
        ),
        migrations.AddField(
            model_name='HarnessLot',
            name='batches',
            field=models.ManyToManyField(related_name='harness_lots', through='records.HarnessLotBatch', to='inspection.batch'),
        ),
        migrations.AddField(
            model_name='Shipment',
            name='lots',
            field=models.ManyToManyField(related_name='shipments', through='records.ShipmentLot', to='records.harnesslot'),
        ),
        migrations.RunPython(make_head, drop_head),
        migrations.RunPython(create_words, drop_words),
    ]
