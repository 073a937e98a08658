"""Keep the certificates that free customers from tax as rows of their own, several for each."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

# What a customer had that its certificate has now.
MOVED = {"certificate_number": "number", "certificate_expires": "expires"}


def move_certificates(apps, schema_editor):
    """Exempt customers get a certificate that counts from the beginning, as it did."""
    database = schema_editor.connection.alias
    Customer = apps.get_model("customers", "Customer")
    Certificate = apps.get_model("customers", "ExemptionCertificate")
    made = {}
    customers = Customer.objects.using(database).exclude(certificate_number="")
    for customer in customers.order_by("pk"):
        if customer.tax_status == "exempt":
            made[customer.pk] = Certificate.objects.using(database).create(
                customer=customer,
                number=customer.certificate_number,
                expires=customer.certificate_expires,
                idempotency_key=f"upgrade:certificate:{customer.pk}",
            )
        else:
            # It was entered and did not count; the number is kept where a person finds it.
            customer.note = f"{customer.note}\n{customer.certificate_number}".strip()
            customer.save(update_fields=["note"])
    share_out_the_trail(apps, database, made)


def share_out_the_trail(apps, database, made):
    """Who changed a certificate is kept with it; that a customer was exempt is said by having one."""
    ContentType = apps.get_model("contenttypes", "ContentType")
    LogEntry = apps.get_model("auditlog", "LogEntry")
    entries = LogEntry.objects.using(database).filter(
        content_type__app_label="customers", content_type__model="customer"
    )
    gone = {*MOVED, "tax_status"}
    for entry in entries:
        moved = {
            MOVED[name]: change for name, change in (entry.changes or {}).items() if name in MOVED
        }
        left = {name: change for name, change in (entry.changes or {}).items() if name not in gone}
        if left == (entry.changes or {}):
            continue
        entry.changes = left
        entry.save(update_fields=["changes"])
        certificate = made.get(entry.object_id)
        if moved and certificate is not None:
            of_certificate, _created = ContentType.objects.using(database).get_or_create(
                app_label="customers", model="exemptioncertificate"
            )
            twin = LogEntry.objects.using(database).get(pk=entry.pk)
            twin.pk = None
            twin.content_type = of_certificate
            twin.object_id, twin.object_pk = certificate.pk, str(certificate.pk)
            twin.object_repr = f"{entry.object_repr}: {certificate.number}"
            twin.changes = moved
            twin.save(force_insert=True)
            # The moment is the first entry's, not that of the upgrade.
            LogEntry.objects.using(database).filter(pk=twin.pk).update(timestamp=entry.timestamp)
        if not left:
            entry.delete()


class Migration(migrations.Migration):

    dependencies = [
        ('auditlog', '0017_add_actor_email'),
        ('contenttypes', '0002_remove_content_type_name'),
        ('customers', '0004_partial_and_late'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='ExemptionCertificate',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.CharField(max_length=60, verbose_name='certificate number')),
                ('jurisdiction', models.CharField(blank=True, max_length=60, verbose_name='state or authority')),
                ('reason', models.CharField(blank=True, choices=[('resale', 'resale'), ('farm', 'farm use'), ('organisation', 'exempt organisation'), ('other', 'other')], max_length=12, verbose_name='reason')),
                ('other_reason', models.CharField(blank=True, max_length=80, verbose_name='other reason')),
                ('valid_from', models.DateField(blank=True, null=True, verbose_name='valid from')),
                ('expires', models.DateField(blank=True, null=True, verbose_name='certificate expires')),
                ('accepted_on', models.DateField(blank=True, null=True, verbose_name='accepted on')),
                ('idempotency_key', models.CharField(max_length=100, unique=True)),
            ],
            options={
                'verbose_name': 'exemption certificate',
                'verbose_name_plural': 'exemption certificates',
                'ordering': ['customer__name', '-id'],
            },
        ),
        migrations.AddField(
            model_name='exemptioncertificate',
            name='accepted_by',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL, verbose_name='accepted by'),
        ),
        migrations.AddField(
            model_name='exemptioncertificate',
            name='customer',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='certificates', to='customers.customer', verbose_name='customer'),
        ),
        migrations.RunPython(move_certificates, migrations.RunPython.noop),
        migrations.RemoveConstraint(
            model_name='customer',
            name='customer_exempt_has_certificate',
        ),
        migrations.RemoveField(
            model_name='customer',
            name='certificate_expires',
        ),
        migrations.RemoveField(
            model_name='customer',
            name='certificate_number',
        ),
        migrations.RemoveField(
            model_name='customer',
            name='tax_status',
        ),
        migrations.AddConstraint(
            model_name='exemptioncertificate',
            constraint=models.CheckConstraint(condition=models.Q(('number', ''), _negated=True), name='certificate_has_a_number'),
        ),
        migrations.AddConstraint(
            model_name='exemptioncertificate',
            constraint=models.CheckConstraint(condition=models.Q(('valid_from__isnull', True), ('expires__isnull', True), ('expires__gte', models.F('valid_from')), _connector='OR'), name='certificate_expires_after_it_begins', violation_error_message='The certificate expires before it begins.'),
        ),
    ]
