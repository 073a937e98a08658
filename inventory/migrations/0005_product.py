"""What is sold is a product: a size with a variety, a form and a brand, or other goods."""

import django.db.models.deletion
from django.db import migrations, models
from django.db.models import F, Q
from django.db.models.functions import Coalesce


class Migration(migrations.Migration):

    dependencies = [
        ("inventory", "0004_plain_words"),
    ]

    operations = [
        migrations.AlterField(
            model_name="item",
            name="kind",
            field=models.CharField(
                choices=[
                    ("honey", "bulk honey"),
                    ("packed", "packed honey"),
                    ("part", "packaging part"),
                    ("goods", "other goods"),
                ],
                max_length=10,
            ),
        ),
        migrations.AlterField(
            model_name="item", name="name", field=models.CharField(max_length=100)
        ),
        migrations.AddField(
            model_name="item", name="is_weighed", field=models.BooleanField(default=False)
        ),
        migrations.AddField(
            model_name="productionsettings",
            name="lot_code_pattern",
            field=models.CharField(
                default="L{yy}{ddd}-{n}", max_length=30, verbose_name="pattern of lot codes"
            ),
        ),
        migrations.AddField(
            model_name="bottlingrun",
            name="lot_code",
            field=models.CharField(default="", max_length=30, verbose_name="lot code"),
            preserve_default=False,
        ),
        migrations.CreateModel(
            name="Brand",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("name", models.CharField(max_length=60, unique=True, verbose_name="name")),
                ("is_active", models.BooleanField(default=True, verbose_name="in use")),
            ],
            options={
                "verbose_name": "brand",
                "verbose_name_plural": "brands",
                "ordering": ["name"],
            },
        ),
        migrations.CreateModel(
            name="Variety",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("name", models.CharField(max_length=60, unique=True, verbose_name="name")),
                (
                    "floral_source",
                    models.CharField(blank=True, max_length=120, verbose_name="floral source"),
                ),
                ("is_active", models.BooleanField(default=True, verbose_name="in use")),
            ],
            options={
                "verbose_name": "variety",
                "verbose_name_plural": "varieties",
                "ordering": ["name"],
            },
        ),
        migrations.CreateModel(
            name="Product",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("honey", "honey"),
                            ("goods", "other goods"),
                            ("gift_box", "gift box"),
                        ],
                        default="honey",
                        max_length=8,
                        verbose_name="kind",
                    ),
                ),
                (
                    "code",
                    models.SlugField(max_length=40, unique=True, verbose_name="short name"),
                ),
                ("name", models.CharField(max_length=100, unique=True, verbose_name="name")),
                (
                    "form",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("liquid", "liquid"),
                            ("creamed", "creamed"),
                            ("comb", "comb"),
                            ("chunk", "chunk: comb in liquid honey"),
                        ],
                        default="liquid",
                        max_length=8,
                        verbose_name="form",
                    ),
                ),
                (
                    "is_unlabelled",
                    models.BooleanField(default=False, verbose_name="without a label"),
                ),
                (
                    "gtin",
                    models.CharField(
                        blank=True, max_length=14, verbose_name="GTIN (bar code number)"
                    ),
                ),
                (
                    "low_stock_pieces",
                    models.PositiveIntegerField(default=0, verbose_name="low when fewer than"),
                ),
                ("is_active", models.BooleanField(default=True, verbose_name="in use")),
                (
                    "brand",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="products",
                        to="inventory.brand",
                        verbose_name="brand",
                    ),
                ),
                (
                    "item",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="product",
                        to="inventory.item",
                    ),
                ),
                (
                    "size",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="products",
                        to="inventory.size",
                        verbose_name="size",
                    ),
                ),
                (
                    "variety",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="products",
                        to="inventory.variety",
                        verbose_name="variety",
                    ),
                ),
            ],
            options={
                "verbose_name": "product",
                "verbose_name_plural": "products",
                "ordering": ["-kind", "size__brimful_ml", "size__name", "id"],
                "constraints": [
                    models.CheckConstraint(
                        condition=Q(kind="honey", size__isnull=False)
                        | (
                            ~Q(kind="honey")
                            & Q(size__isnull=True, variety__isnull=True, brand__isnull=True)
                        ),
                        name="product_honey_has_a_size",
                    ),
                    models.UniqueConstraint(
                        F("size"),
                        Coalesce("variety", 0),
                        "form",
                        Coalesce("brand", 0),
                        "is_unlabelled",
                        condition=Q(kind="honey"),
                        name="product_honey_is_one",
                    ),
                    models.UniqueConstraint(
                        fields=["gtin"], condition=~Q(gtin=""), name="product_gtin_is_one"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="ProductPart",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("quantity", models.PositiveIntegerField(default=1, verbose_name="how many")),
                (
                    "per_pieces",
                    models.PositiveIntegerField(
                        default=1, verbose_name="for how many filled pieces"
                    ),
                ),
                (
                    "part",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="used_in_products",
                        to="inventory.packagingpart",
                        verbose_name="part",
                    ),
                ),
                (
                    "product",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="product_parts",
                        to="inventory.product",
                        verbose_name="product",
                    ),
                ),
            ],
            options={
                "verbose_name": "part of a product",
                "verbose_name_plural": "parts of products",
                "constraints": [
                    models.UniqueConstraint(
                        fields=["product", "part"], name="product_part_is_one"
                    ),
                    models.CheckConstraint(
                        condition=Q(quantity__gt=0, per_pieces__gt=0), name="product_part_gt_0"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="BoxContent",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("quantity", models.PositiveIntegerField(default=1, verbose_name="how many")),
                (
                    "box",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="contents",
                        to="inventory.product",
                        verbose_name="gift box",
                    ),
                ),
                (
                    "product",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="in_boxes",
                        to="inventory.product",
                        verbose_name="product",
                    ),
                ),
            ],
            options={
                "verbose_name": "content of a gift box",
                "verbose_name_plural": "contents of gift boxes",
                "ordering": ["id"],
                "constraints": [
                    models.UniqueConstraint(
                        fields=["box", "product"], name="box_content_is_one"
                    ),
                    models.CheckConstraint(
                        condition=Q(quantity__gt=0) & ~Q(box=F("product")),
                        name="box_content_gt_0",
                    ),
                ],
            },
        ),
    ]
