"""A price of a piece and a filling time name the size, as everywhere."""

from django.db import migrations, models


def rename_permissions(apps, schema_editor, old, new):
    """Give the permissions that Django makes for a model the model's other name."""
    permissions = apps.get_model("auth", "Permission").objects.using(
        schema_editor.connection.alias
    )
    for action in ("add", "change", "delete", "view"):
        permissions.filter(
            content_type__app_label="pricing", codename=f"{action}_{old}"
        ).update(codename=f"{action}_{new}")


def rename_in_the_trail(apps, schema_editor, old, new):
    """Let the trail of changes call the field by its other name, so that it is still shown."""
    entries = apps.get_model("auditlog", "LogEntry").objects.using(schema_editor.connection.alias)
    for entry in entries.filter(
        content_type__app_label="pricing",
        content_type__model__in=["containerprice", "pieceprice", "fillingtime"],
    ):
        if entry.changes and old in entry.changes:
            entry.changes = {
                new if name == old else name: change for name, change in entry.changes.items()
            }
            entry.save(update_fields=["changes"])


def to_size(apps, schema_editor):
    rename_permissions(apps, schema_editor, "containerprice", "pieceprice")
    rename_in_the_trail(apps, schema_editor, "container", "size")


def to_container(apps, schema_editor):
    rename_permissions(apps, schema_editor, "pieceprice", "containerprice")
    rename_in_the_trail(apps, schema_editor, "size", "container")


class Migration(migrations.Migration):

    dependencies = [
        ("auditlog", "0017_add_actor_email"),
        ("auth", "0012_alter_user_first_name_max_length"),
        ("inventory", "0003_size"),
        ("pricing", "0001_initial"),
    ]

    operations = [
        migrations.RemoveConstraint(model_name="containerprice", name="container_price_amounts"),
        migrations.RemoveConstraint(
            model_name="containerprice", name="container_price_case_needs_a_piece_price"
        ),
        migrations.RenameModel(old_name="ContainerPrice", new_name="PiecePrice"),
        migrations.RenameField(model_name="pieceprice", old_name="container", new_name="size"),
        migrations.RenameField(model_name="fillingtime", old_name="container", new_name="size"),
        migrations.AlterModelOptions(
            name="pieceprice",
            options={
                "ordering": ["size", "tier", "min_pieces", "-valid_from", "-id"],
                "permissions": [("manage_prices", "Can change prices and tax rates")],
                "verbose_name": "price",
                "verbose_name_plural": "prices",
            },
        ),
        migrations.AddConstraint(
            model_name="pieceprice",
            constraint=models.CheckConstraint(
                condition=models.Q(("min_pieces__gte", 1), ("piece_cents__gte", 0)),
                name="piece_price_amounts",
            ),
        ),
        migrations.AddConstraint(
            model_name="pieceprice",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("case_cents__isnull", True),
                    models.Q(("case_cents__gte", 0), ("piece_cents__isnull", False)),
                    _connector="OR",
                ),
                name="piece_price_case_needs_a_piece",
            ),
        ),
        migrations.RunPython(to_size, to_container),
    ]
