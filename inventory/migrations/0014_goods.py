import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0013_honey_forms"),
    ]

    operations = [
        migrations.AlterModelOptions(
            name="product",
            options={
                "ordering": ["-kind", "size__brimful_ml", "size__name", "id"],
                "verbose_name": "product",
                "verbose_name_plural": "products",
            },
        ),
        migrations.CreateModel(
            name="GoodsMade",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("quantity", models.BigIntegerField(verbose_name="how much")),
                (
                    "materials_cents",
                    models.BigIntegerField(
                        blank=True, null=True, verbose_name="cost of the materials"
                    ),
                ),
                (
                    "labour_minutes",
                    models.PositiveIntegerField(
                        blank=True, null=True, verbose_name="minutes of work"
                    ),
                ),
                (
                    "labour_cents",
                    models.BigIntegerField(blank=True, null=True, verbose_name="cost of the work"),
                ),
                ("made_on", models.DateField(verbose_name="made")),
                (
                    "lot",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="goods_made",
                        to="inventory.lot",
                    ),
                ),
                (
                    "place",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="inventory.place",
                    ),
                ),
                (
                    "posting",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="goods_made",
                        to="inventory.posting",
                    ),
                ),
                (
                    "product",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="goods_made",
                        to="inventory.product",
                    ),
                ),
            ],
            options={
                "ordering": ["-made_on", "-id"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("quantity__gt", 0),
                            models.Q(
                                ("materials_cents__isnull", True),
                                ("materials_cents__gte", 0),
                                _connector="OR",
                            ),
                            models.Q(
                                ("labour_cents__isnull", True),
                                ("labour_cents__gte", 0),
                                _connector="OR",
                            ),
                        ),
                        name="goods_made_amounts",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="GoodsReceipt",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("quantity", models.BigIntegerField(verbose_name="how much")),
                ("cost_cents", models.BigIntegerField(verbose_name="cost of all")),
                (
                    "supplier",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="goods_receipts",
                        to="inventory.supplier",
                        verbose_name="supplier",
                    ),
                ),
                ("received_on", models.DateField(verbose_name="received")),
                (
                    "lot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="goods_receipts",
                        to="inventory.lot",
                    ),
                ),
                (
                    "place",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="inventory.place",
                    ),
                ),
                (
                    "posting",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="goods_receipt",
                        to="inventory.posting",
                    ),
                ),
                (
                    "product",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="goods_receipts",
                        to="inventory.product",
                    ),
                ),
            ],
            options={
                "ordering": ["-received_on", "-id"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("cost_cents__gte", 0), ("quantity__gt", 0)),
                        name="goods_receipt_amounts",
                    )
                ],
            },
        ),
    ]
