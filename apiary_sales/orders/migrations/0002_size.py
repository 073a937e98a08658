"""An order line names the size, as everywhere."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ("inventory", "0003_size"),
        ("orders", "0001_initial"),
    ]

    operations = [
        migrations.RemoveConstraint(
            model_name="orderline", name="order_line_packed_has_a_container"
        ),
        migrations.RenameField(model_name="orderline", old_name="container", new_name="size"),
        migrations.AddConstraint(
            model_name="orderline",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("kind", "packed"), _negated=True),
                    ("size__isnull", False),
                    _connector="OR",
                ),
                name="order_line_packed_has_a_size",
            ),
        ),
    ]
