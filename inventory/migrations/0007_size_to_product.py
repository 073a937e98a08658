"""Lots and runs name the product; a code may be stamped on several products of one day."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ("inventory", "0006_products_of_sizes"),
    ]

    operations = [
        migrations.RemoveConstraint(model_name="lot", name="lot_packed_has_a_size"),
        migrations.RenameField(model_name="lot", old_name="size", new_name="product"),
        migrations.AlterField(
            model_name="lot",
            name="product",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="lots",
                to="inventory.product",
            ),
        ),
        migrations.AlterField(
            model_name="lot",
            name="kind",
            field=models.CharField(
                choices=[
                    ("extraction", "extraction"),
                    ("blend", "blend"),
                    ("packed", "packed"),
                    ("goods", "other goods"),
                ],
                max_length=12,
                verbose_name="kind",
            ),
        ),
        migrations.AlterField(
            model_name="lot",
            name="code",
            field=models.CharField(max_length=30, verbose_name="lot code"),
        ),
        migrations.AlterField(
            model_name="lot",
            name="floral_source",
            field=models.CharField(blank=True, max_length=120, verbose_name="floral source"),
        ),
        migrations.AlterField(
            model_name="lot",
            name="moisture_percent",
            field=models.DecimalField(
                blank=True,
                decimal_places=2,
                max_digits=4,
                null=True,
                verbose_name="moisture, percent",
            ),
        ),
        migrations.AddConstraint(
            model_name="lot",
            constraint=models.CheckConstraint(
                condition=models.Q(kind__in=["packed", "goods"], product__isnull=False)
                | (~models.Q(kind__in=["packed", "goods"]) & models.Q(product__isnull=True)),
                name="lot_packed_has_a_product",
            ),
        ),
        migrations.AddConstraint(
            model_name="lot",
            constraint=models.CheckConstraint(
                condition=models.Q(moisture_percent__isnull=False)
                | models.Q(kind__in=["packed", "goods"]),
                name="lot_bulk_honey_has_a_moisture",
                violation_error_message="Enter the moisture, or the refractometer index.",
            ),
        ),
        migrations.AddConstraint(
            model_name="lot",
            constraint=models.UniqueConstraint(
                condition=models.Q(product__isnull=False),
                fields=("code", "product"),
                name="lot_code_of_a_product_is_one",
            ),
        ),
        migrations.AddConstraint(
            model_name="lot",
            constraint=models.UniqueConstraint(
                condition=models.Q(product__isnull=True),
                fields=("code",),
                name="lot_code_of_bulk_honey_is_one",
            ),
        ),
        migrations.RenameField(model_name="bottlingrun", old_name="size", new_name="product"),
        migrations.AlterField(
            model_name="bottlingrun",
            name="product",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="runs",
                to="inventory.product",
                verbose_name="product",
            ),
        ),
        migrations.AddConstraint(
            model_name="bottlingrun",
            constraint=models.UniqueConstraint(
                condition=~models.Q(status="cancelled"),
                fields=("lot_code", "product"),
                name="bottling_run_lot_code_of_a_product_is_one",
            ),
        ),
        migrations.RemoveConstraint(model_name="size", name="size_gtin_is_one"),
        migrations.RemoveField(model_name="size", name="gtin"),
        migrations.RemoveField(model_name="size", name="item"),
        migrations.RemoveField(model_name="size", name="low_stock_pieces"),
    ]
