"""Labels and sentences in plain words; no row changes."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('inventory', '0003_size'),
    ]

    operations = [
        migrations.AlterField(
            model_name='house',
            name='quote_days',
            field=models.PositiveSmallIntegerField(default=14, verbose_name='a quote is valid for, days'),
        ),
        migrations.AlterField(
            model_name='house',
            name='tax_rounding',
            field=models.CharField(choices=[('line', 'tax rounded line by line'), ('invoice', 'tax rounded once per invoice')], default='line', max_length=8, verbose_name='rounding of tax'),
        ),
        migrations.AlterField(
            model_name='posting',
            name='kind',
            field=models.CharField(choices=[('extraction', 'extraction'), ('transfer', 'transfer'), ('blend', 'blend'), ('drum_fill', 'drum filled'), ('bottling', 'bottling'), ('part_receipt', 'parts received'), ('count', 'count'), ('breakage', 'breakage'), ('spoilage', 'spoilage'), ('own_use', 'own use'), ('gift', 'gift'), ('sale', 'sale'), ('return', 'return'), ('reversal', 'undo')], max_length=20, verbose_name='kind'),
        ),
        migrations.AlterField(
            model_name='tankshape',
            name='end',
            field=models.CharField(choices=[('flat', 'flat'), ('cone', 'cone'), ('elliptical', 'dished, 2:1 ellipse'), ('hemisphere', 'dished, half ball')], default='flat', max_length=12, verbose_name='bottom, or both ends of a tank on its side'),
        ),
        migrations.AlterConstraint(
            model_name='balance',
            name='balance_physical_quantity_gte_0',
            constraint=models.CheckConstraint(condition=models.Q(('is_physical', False), ('quantity__gte', 0), _connector='OR'), name='balance_physical_quantity_gte_0', violation_error_message="The quantity in a place can't be below zero."),
        ),
        migrations.AlterConstraint(
            model_name='balance',
            name='balance_reserved_between_0_and_quantity',
            constraint=models.CheckConstraint(condition=models.Q(('reserved__gte', 0), models.Q(('reserved', 0), models.Q(('is_physical', True), ('reserved__lte', models.F('quantity'))), _connector='OR')), name='balance_reserved_between_0_and_quantity', violation_error_message="You can't reserve more than there is in stock."),
        ),
        migrations.AlterConstraint(
            model_name='balance',
            name='balance_vessel_holds_one_lot',
            constraint=models.UniqueConstraint(condition=models.Q(('is_vessel', True), ('quantity__gt', 0)), fields=('place',), name='balance_vessel_holds_one_lot', violation_error_message='A vessel can have honey of only one lot at a time.'),
        ),
        migrations.AlterConstraint(
            model_name='lot',
            name='lot_moisture_percent_10_to_30',
            constraint=models.CheckConstraint(condition=models.Q(('moisture_percent__gte', 10), ('moisture_percent__lte', 30)), name='lot_moisture_percent_10_to_30', violation_error_message='Enter a moisture from 10 to 30 percent.'),
        ),
        migrations.AlterConstraint(
            model_name='lot',
            name='lot_colour_mm_0_to_150',
            constraint=models.CheckConstraint(condition=models.Q(('colour_mm__isnull', True), models.Q(('colour_mm__gte', 0), ('colour_mm__lte', 150)), _connector='OR'), name='lot_colour_mm_0_to_150', violation_error_message='Enter a colour from 0 to 150 mm Pfund.'),
        ),
        migrations.AlterConstraint(
            model_name='place',
            name='place_capacity_litres_gt_0',
            constraint=models.CheckConstraint(condition=models.Q(('capacity_litres__isnull', True), ('capacity_litres__gt', 0), _connector='OR'), name='place_capacity_litres_gt_0', violation_error_message='Enter a capacity of more than zero.'),
        ),
    ]
