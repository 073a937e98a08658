"""The public page of a jar, off at first."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('inventory', '0007_size_to_product'),
    ]

    operations = [
        migrations.CreateModel(
            name='JarPage',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('is_on', models.BooleanField(default=False, verbose_name='jars have a page')),
                ('shows_floral_source', models.BooleanField(default=True, verbose_name='floral source')),
                ('region', models.CharField(blank=True, max_length=80, verbose_name='region')),
                ('dates', models.CharField(choices=[('none', 'no dates'), ('month', 'month and year'), ('day', 'day, month and year')], default='month', max_length=5, verbose_name='dates')),
                ('shows_colour', models.BooleanField(default=True, verbose_name='colour')),
                ('shows_moisture', models.BooleanField(default=False, verbose_name='moisture')),
                ('shows_phone', models.BooleanField(default=False, verbose_name='telephone')),
                ('shows_email', models.BooleanField(default=False, verbose_name='e-mail')),
                ('note', models.CharField(blank=True, max_length=600, verbose_name='note')),
                ('hold_sentence', models.CharField(blank=True, max_length=300, verbose_name='sentence for a lot on hold')),
            ],
            options={
                'verbose_name': 'page of a jar',
                'verbose_name_plural': 'page of a jar',
                'permissions': [('manage_jar_page', 'Can decide what the public page of a jar shows')],
                'constraints': [models.CheckConstraint(condition=models.Q(('pk', 1)), name='jar_page_is_one')],
            },
        ),
    ]
