"""Labels and sentences in plain words; no row changes."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('pricing', '0002_size'),
    ]

    operations = [
        migrations.AlterField(
            model_name='bulkprice',
            name='price_per_pound',
            field=models.DecimalField(blank=True, decimal_places=4, max_digits=9, null=True, verbose_name='price per pound'),
        ),
        migrations.AlterField(
            model_name='fillingtime',
            name='minutes_each',
            field=models.DecimalField(decimal_places=3, max_digits=6, verbose_name='minutes per piece'),
        ),
        migrations.AlterField(
            model_name='pieceprice',
            name='min_pieces',
            field=models.PositiveIntegerField(default=1, verbose_name='from how many pieces'),
        ),
        migrations.AlterField(
            model_name='pieceprice',
            name='tier',
            field=models.CharField(choices=[('stand', 'stand'), ('shop', 'shop'), ('distributor', 'distributor'), ('bulk', 'bulk')], max_length=12, verbose_name='price list'),
        ),
        migrations.AlterConstraint(
            model_name='taxrate',
            name='tax_rate_percent_0_to_100',
            constraint=models.CheckConstraint(condition=models.Q(('percent__gte', 0), ('percent__lte', 100)), name='tax_rate_percent_0_to_100', violation_error_message='Enter a tax rate from 0 to 100 percent.'),
        ),
    ]
