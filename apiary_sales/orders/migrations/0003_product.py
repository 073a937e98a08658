"""An order line names the product, whose key is that of the size it named before."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0007_size_to_product"),
        ("orders", "0002_size"),
    ]

    operations = [
        migrations.RemoveConstraint(model_name="orderline", name="order_line_packed_has_a_size"),
        migrations.RenameField(model_name="orderline", old_name="size", new_name="product"),
        migrations.AlterField(
            model_name="orderline",
            name="product",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="order_lines",
                to="inventory.product",
            ),
        ),
        migrations.AddConstraint(
            model_name="orderline",
            constraint=models.CheckConstraint(
                condition=~models.Q(kind="packed") | models.Q(product__isnull=False),
                name="order_line_packed_has_a_product",
            ),
        ),
    ]
