"""Labels and sentences in plain words; no row changes."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('customers', '0001_initial'),
    ]

    operations = [
        migrations.AlterField(
            model_name='customer',
            name='contact',
            field=models.CharField(blank=True, max_length=120, verbose_name='contact person'),
        ),
        migrations.AlterField(
            model_name='customer',
            name='tier',
            field=models.CharField(choices=[('stand', 'stand'), ('shop', 'shop'), ('distributor', 'distributor'), ('bulk', 'bulk')], default='shop', max_length=12, verbose_name='price list'),
        ),
    ]
