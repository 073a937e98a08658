"""Name the certificate under which a line bore no tax, and the cent that a price leaves over."""

import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models


def name_certificates(apps, schema_editor):
    """What was billed free of tax names the certificate that its buyer had."""
    InvoiceLine = apps.get_model("billing", "InvoiceLine")
    Certificate = apps.get_model("customers", "ExemptionCertificate")
    for certificate in Certificate._base_manager.order_by("pk"):
        InvoiceLine._base_manager.filter(
            tax_category="E",
            invoice__customer=certificate.customer_id,
            invoice__exemption__endswith=certificate.number,
        ).update(certificate=certificate)


class Migration(migrations.Migration):

    dependencies = [
        ('billing', '0008_consignment_reports'),
        ('customers', '0005_exemption_certificates'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name='invoiceline',
            name='certificate',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='customers.exemptioncertificate'),
        ),
        migrations.AddField(
            model_name='invoiceline',
            name='rounding_cents',
            field=models.BigIntegerField(default=0),
        ),
        migrations.CreateModel(
            name='LateCertificate',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('note', models.CharField(max_length=300, verbose_name='why the law allows it')),
                ('accepted_at', models.DateTimeField(default=django.utils.timezone.now)),
                ('idempotency_key', models.CharField(max_length=100, unique=True)),
                ('accepted_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('certificate', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='late', to='customers.exemptioncertificate')),
                ('copy', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='billing.invoice')),
                ('invoice', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='late_certificate', to='billing.invoice')),
            ],
            options={
                'ordering': ['-id'],
                'permissions': [('accept_late_certificates', 'Can take tax back by a late certificate')],
            },
        ),
        migrations.RunPython(name_certificates, migrations.RunPython.noop),
    ]
