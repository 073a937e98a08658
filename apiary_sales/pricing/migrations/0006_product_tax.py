import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('inventory', '0014_goods'),
        ('pricing', '0005_private_label'),
    ]

    operations = [
        migrations.CreateModel(
            name='ProductTax',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('taxed_as', models.CharField(choices=[('honey', 'honey in jars and drums'), ('other', 'other goods, drums and deposits'), ('freight', 'freight')], max_length=8, verbose_name='taxed as')),
                ('product', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='tax', to='inventory.product', verbose_name='product')),
            ],
            options={
                'verbose_name': 'tax class of a product',
                'verbose_name_plural': 'tax classes of products',
            },
        ),
    ]
