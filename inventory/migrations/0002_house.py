"""The house's own details move to the inventory, with their table as it is.

Only Django's idea of where the model is changes, so no row is touched. The content type moves
too, so that the trail of changes still finds what was changed before.
"""

from django.db import migrations, models


def move_content_type(apps, schema_editor, old_app, new_app):
    content_types = apps.get_model("contenttypes", "ContentType").objects.using(
        schema_editor.connection.alias
    )
    if not content_types.filter(app_label=new_app, model="house").exists():
        content_types.filter(app_label=old_app, model="house").update(app_label=new_app)


def to_inventory(apps, schema_editor):
    move_content_type(apps, schema_editor, "accounts", "inventory")


def to_accounts(apps, schema_editor):
    move_content_type(apps, schema_editor, "inventory", "accounts")


class Migration(migrations.Migration):

    dependencies = [
        ("accounts", "0001_initial"),
        ("contenttypes", "0002_remove_content_type_name"),
        ("inventory", "0001_initial"),
    ]

    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.CreateModel(
                    name='House',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('name', models.CharField(max_length=120, verbose_name='name')),
                        ('street', models.CharField(blank=True, max_length=160, verbose_name='street')),
                        ('city', models.CharField(blank=True, max_length=80, verbose_name='town')),
                        ('region', models.CharField(blank=True, max_length=80, verbose_name='state or region')),
                        ('postal_code', models.CharField(blank=True, max_length=20, verbose_name='postal code')),
                        ('country', models.CharField(blank=True, max_length=60, verbose_name='country')),
                        ('phone', models.CharField(blank=True, max_length=40, verbose_name='telephone')),
                        ('email', models.EmailField(blank=True, max_length=254, verbose_name='e-mail')),
                        ('tax_number', models.CharField(blank=True, max_length=40, verbose_name='tax number')),
                        ('payment_note', models.TextField(blank=True, verbose_name='how to pay')),
                        ('paper', models.CharField(choices=[('letter', 'Letter'), ('A4', 'A4')], default='letter', max_length=8, verbose_name='paper')),
                        ('tax_rounding', models.CharField(choices=[('line', 'tax rounded line by line'), ('invoice', 'tax rounded once an invoice')], default='line', max_length=8, verbose_name='rounding of tax')),
                        ('quote_days', models.PositiveSmallIntegerField(default=14, verbose_name='a quote is good for, days')),
                        ('drum_deposit_cents', models.PositiveIntegerField(default=0, verbose_name='deposit on a drum')),
                        ('drum_price_cents', models.PositiveIntegerField(default=0, verbose_name='price of an empty drum')),
                    ],
                    options={
                        'verbose_name': 'business details',
                        'verbose_name_plural': 'business details',
                        'db_table': 'accounts_house',
                        'constraints': [models.CheckConstraint(condition=models.Q(('pk', 1)), name='house_is_one')],
                    },
                ),
            ],
        ),
        migrations.RunPython(to_inventory, to_accounts),
    ]
