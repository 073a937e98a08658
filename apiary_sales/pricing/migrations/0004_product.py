"""A price and a filling time belong to a product, whose key is that of the size before."""

import django.db.models.deletion
from django.db import migrations, models


def rename_in_the_trail(apps, schema_editor, old, new):
    """Let the trail of changes call the field by its other name, so that it is still shown."""
    entries = apps.get_model("auditlog", "LogEntry").objects.using(schema_editor.connection.alias)
    for entry in entries.filter(
        content_type__app_label="pricing", content_type__model__in=["pieceprice", "fillingtime"]
    ):
        if entry.changes and old in entry.changes:
            entry.changes = {
                new if name == old else name: change for name, change in entry.changes.items()
            }
            entry.save(update_fields=["changes"])


def to_product(apps, schema_editor):
    rename_in_the_trail(apps, schema_editor, "size", "product")


def to_size(apps, schema_editor):
    rename_in_the_trail(apps, schema_editor, "product", "size")


class Migration(migrations.Migration):

    dependencies = [
        ("auditlog", "0017_add_actor_email"),
        ("inventory", "0007_size_to_product"),
        ("pricing", "0003_plain_words"),
    ]

    operations = [
        migrations.AlterModelOptions(
            name="pieceprice",
            options={
                "ordering": ["product", "tier", "min_pieces", "-valid_from", "-id"],
                "permissions": [("manage_prices", "Can change prices and tax rates")],
                "verbose_name": "price",
                "verbose_name_plural": "prices",
            },
        ),
        migrations.RenameField(model_name="pieceprice", old_name="size", new_name="product"),
        migrations.AlterField(
            model_name="pieceprice",
            name="product",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="prices",
                to="inventory.product",
                verbose_name="product",
            ),
        ),
        migrations.RenameField(model_name="fillingtime", old_name="size", new_name="product"),
        migrations.AlterField(
            model_name="fillingtime",
            name="product",
            field=models.OneToOneField(
                on_delete=django.db.models.deletion.CASCADE,
                related_name="filling_time",
                to="inventory.product",
                verbose_name="product",
            ),
        ),
        migrations.RunPython(to_product, to_size),
    ]
