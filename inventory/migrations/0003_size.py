"""What a jar is filled to has one name everywhere: size. Tables, columns and laws are renamed."""

import django.db.models.deletion
from django.db import migrations, models


def rename_permissions(apps, schema_editor, names):
    """Give the permissions that Django makes for a model the model's other name."""
    permissions = apps.get_model("auth", "Permission").objects.using(
        schema_editor.connection.alias
    )
    for old, new in names:
        for action in ("add", "change", "delete", "view"):
            permissions.filter(
                content_type__app_label="inventory", codename=f"{action}_{old}"
            ).update(codename=f"{action}_{new}")


def rename_in_the_trail(apps, schema_editor, names):
    """Let the trail of changes call fields by their other names, so that they are still shown."""
    entries = apps.get_model("auditlog", "LogEntry").objects.using(schema_editor.connection.alias)
    for entry in entries.filter(
        content_type__app_label="inventory",
        content_type__model__in=["containersize", "size", "containerpart", "sizepart"],
    ):
        if entry.changes and not names.keys().isdisjoint(entry.changes):
            entry.changes = {
                names.get(name, name): change for name, change in entry.changes.items()
            }
            entry.save(update_fields=["changes"])


def to_size(apps, schema_editor):
    names = [("containersize", "size"), ("containerpart", "sizepart")]
    rename_permissions(apps, schema_editor, names)
    fields = {"container": "size", "container_parts": "size_parts"}
    rename_in_the_trail(apps, schema_editor, fields)


def to_container(apps, schema_editor):
    names = [("size", "containersize"), ("sizepart", "containerpart")]
    rename_permissions(apps, schema_editor, names)
    fields = {"size": "container", "size_parts": "container_parts"}
    rename_in_the_trail(apps, schema_editor, fields)


class Migration(migrations.Migration):

    dependencies = [
        ("auditlog", "0017_add_actor_email"),
        ("auth", "0012_alter_user_first_name_max_length"),
        ("inventory", "0002_house"),
        # These point at the size by its old name, so they must be there before it gets the new one.
        ("orders", "0001_initial"),
        ("pricing", "0001_initial"),
    ]

    operations = [
        migrations.RemoveConstraint(model_name="lot", name="lot_packed_has_a_container"),
        migrations.RemoveConstraint(
            model_name="containersize", name="container_declared_amount_gt_0"
        ),
        migrations.RemoveConstraint(model_name="containersize", name="container_brimful_ml_gt_0"),
        migrations.RemoveConstraint(
            model_name="containersize", name="container_pieces_per_case_gt_0"
        ),
        migrations.RemoveConstraint(model_name="containersize", name="container_gtin_is_one"),
        migrations.RemoveConstraint(model_name="containerpart", name="container_part_is_one"),
        migrations.RemoveConstraint(model_name="containerpart", name="container_part_gt_0"),
        migrations.RenameModel(old_name="ContainerSize", new_name="Size"),
        migrations.RenameModel(old_name="ContainerPart", new_name="SizePart"),
        migrations.RenameField(model_name="sizepart", old_name="container", new_name="size"),
        migrations.RenameField(model_name="bottlingrun", old_name="container", new_name="size"),
        migrations.RenameField(model_name="lot", old_name="container", new_name="size"),
        migrations.AlterField(
            model_name="size",
            name="item",
            field=models.OneToOneField(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="size",
                to="inventory.item",
            ),
        ),
        migrations.AlterField(
            model_name="sizepart",
            name="size",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.CASCADE,
                related_name="size_parts",
                to="inventory.size",
                verbose_name="size",
            ),
        ),
        migrations.AlterModelOptions(
            name="size",
            options={
                "ordering": ["brimful_ml", "name"],
                "permissions": [("manage_parts", "Can edit sizes and receive packaging parts")],
                "verbose_name": "size",
                "verbose_name_plural": "sizes",
            },
        ),
        migrations.AddConstraint(
            model_name="lot",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("kind", "packed"), ("size__isnull", False)),
                    models.Q(
                        models.Q(("kind", "packed"), _negated=True), ("size__isnull", True)
                    ),
                    _connector="OR",
                ),
                name="lot_packed_has_a_size",
            ),
        ),
        migrations.AddConstraint(
            model_name="size",
            constraint=models.CheckConstraint(
                condition=models.Q(("declared_amount__gt", 0)), name="size_declared_amount_gt_0"
            ),
        ),
        migrations.AddConstraint(
            model_name="size",
            constraint=models.CheckConstraint(
                condition=models.Q(("brimful_ml__gt", 0)), name="size_brimful_ml_gt_0"
            ),
        ),
        migrations.AddConstraint(
            model_name="size",
            constraint=models.CheckConstraint(
                condition=models.Q(("pieces_per_case__gt", 0)), name="size_pieces_per_case_gt_0"
            ),
        ),
        migrations.AddConstraint(
            model_name="size",
            constraint=models.UniqueConstraint(
                condition=models.Q(("gtin", ""), _negated=True),
                fields=("gtin",),
                name="size_gtin_is_one",
            ),
        ),
        migrations.AddConstraint(
            model_name="sizepart",
            constraint=models.UniqueConstraint(fields=("size", "part"), name="size_part_is_one"),
        ),
        migrations.AddConstraint(
            model_name="sizepart",
            constraint=models.CheckConstraint(
                condition=models.Q(("per_pieces__gt", 0), ("quantity__gt", 0)),
                name="size_part_gt_0",
            ),
        ),
        migrations.RunPython(to_size, to_container),
    ]
