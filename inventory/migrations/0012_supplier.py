"""Suppliers, honey bought from them, and honey of other beekeepers; what was typed as a supplier
becomes one."""

import django.db.models.deletion
import inventory.shared.countries
from django.db import migrations, models


def make_suppliers(apps, schema_editor):
    """Make one supplier of each text that was typed, and point the receipts at it."""
    using = schema_editor.connection.alias
    receipts = apps.get_model("inventory", "PartReceipt").objects.using(using)
    suppliers = apps.get_model("inventory", "Supplier").objects.using(using)
    names = receipts.exclude(supplier_name="").order_by("supplier_name")
    for name in names.values_list("supplier_name", flat=True).distinct():
        # A text of spaces alone names nobody.
        if name.strip():
            supplier = suppliers.create(name=name, kind="parts")
            receipts.filter(supplier_name=name).update(supplier=supplier)


def write_names(apps, schema_editor):
    """Write the names of the suppliers back as text."""
    receipts = apps.get_model("inventory", "PartReceipt").objects.using(
        schema_editor.connection.alias
    )
    for receipt in receipts.exclude(supplier=None).select_related("supplier"):
        receipts.filter(pk=receipt.pk).update(supplier_name=receipt.supplier.name)


class Migration(migrations.Migration):

    dependencies = [
        ('inventory', '0011_label_sheet'),
    ]

    operations = [
        migrations.CreateModel(
            name='Supplier',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=120, unique=True, verbose_name='name')),
                ('kind', models.CharField(choices=[('parts', 'supplier of parts and goods'), ('producer', 'honey producer'), ('beekeeper', 'beekeeper')], default='parts', max_length=10, verbose_name='kind')),
                ('contact', models.CharField(blank=True, max_length=120, verbose_name='contact person')),
                ('phone', models.CharField(blank=True, max_length=40, verbose_name='telephone')),
                ('email', models.EmailField(blank=True, max_length=254, verbose_name='e-mail')),
                ('street', models.CharField(blank=True, max_length=160, verbose_name='street')),
                ('city', models.CharField(blank=True, max_length=80, verbose_name='town')),
                ('region', models.CharField(blank=True, max_length=80, verbose_name='state or region')),
                ('postal_code', models.CharField(blank=True, max_length=20, verbose_name='postal code')),
                ('country', models.CharField(blank=True, max_length=2, validators=[inventory.shared.countries.check_country], verbose_name='country')),
                ('is_active', models.BooleanField(default=True, verbose_name='in use')),
                ('note', models.CharField(blank=True, max_length=300, verbose_name='note')),
            ],
            options={
                'verbose_name': 'supplier',
                'verbose_name_plural': 'suppliers',
                'ordering': ['name'],
                'permissions': [('manage_suppliers', 'Can add and change suppliers')],
            },
        ),
        migrations.AddField(
            model_name='house',
            name='origin_country',
            field=models.CharField(blank=True, max_length=2, validators=[inventory.shared.countries.check_country], verbose_name='country of your own honey'),
        ),
        migrations.AddField(
            model_name='house',
            name='origin_region',
            field=models.CharField(blank=True, max_length=80, verbose_name='region of your own honey'),
        ),
        migrations.AddField(
            model_name='house',
            name='origin_rule',
            field=models.CharField(choices=[('none', 'no rule: the countries by name'), ('percentages', 'every country of a blend with its percentage')], default='none', max_length=12, verbose_name='origin on labels'),
        ),
        migrations.AddField(
            model_name='lot',
            name='country',
            field=models.CharField(blank=True, max_length=2, validators=[inventory.shared.countries.check_country], verbose_name='country of origin'),
        ),
        migrations.AddField(
            model_name='lot',
            name='region',
            field=models.CharField(blank=True, max_length=80, verbose_name='region of origin'),
        ),
        migrations.AddField(
            model_name='lot',
            name='supplier_lot',
            field=models.CharField(blank=True, max_length=60, verbose_name="supplier's lot code"),
        ),
        migrations.AlterField(
            model_name='lot',
            name='kind',
            field=models.CharField(choices=[('extraction', 'extraction'), ('bought', 'bought'), ('stored', 'stored for another'), ('blend', 'blend'), ('packed', 'packed'), ('goods', 'other goods')], max_length=12, verbose_name='kind'),
        ),
        migrations.AlterField(
            model_name='place',
            name='kind',
            field=models.CharField(choices=[('tank', 'tank'), ('drum', 'drum'), ('pail', 'pail'), ('tote', 'tote'), ('shelf', 'shelf'), ('stand', 'stand'), ('van', 'van'), ('harvest', 'harvest'), ('supplier', 'supplier'), ('owner', 'owners of honey kept here'), ('customer', 'customers'), ('packing', 'packing line'), ('filling_loss', 'filling loss'), ('broken', 'broken'), ('spoiled', 'spoiled'), ('own_use', 'own use'), ('given_away', 'given away'), ('count_difference', 'count difference')], max_length=20, verbose_name='kind'),
        ),
        migrations.AddField(
            model_name='lot',
            name='owner',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='owned_lots', to='inventory.supplier', verbose_name='belongs to'),
        ),
        migrations.AddField(
            model_name='lot',
            name='supplier',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='lots', to='inventory.supplier', verbose_name='supplier'),
        ),
        # What was typed of each receipt becomes one supplier a text, under the name that was typed.
        migrations.RenameField(
            model_name='partreceipt', old_name='supplier', new_name='supplier_name'
        ),
        migrations.AddField(
            model_name='partreceipt',
            name='supplier',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='part_receipts', to='inventory.supplier', verbose_name='supplier'),
        ),
        migrations.RunPython(make_suppliers, write_names),
        migrations.RemoveField(model_name='partreceipt', name='supplier_name'),
        migrations.AddConstraint(
            model_name='lot',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('kind', 'bought'), _negated=True), models.Q(('owner__isnull', True), ('supplier__isnull', False)), _connector='OR'), name='lot_bought_has_a_supplier'),
        ),
        migrations.AddConstraint(
            model_name='lot',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('kind', 'stored'), _negated=True), ('owner__isnull', False), _connector='OR'), name='lot_stored_has_an_owner'),
        ),
    ]
