"""Each size becomes a product of the same key, so that what names a size can name the product."""

from django.core.management.color import no_style
from django.db import migrations

# What a size had that its product has now.
MOVED = (
    *("gtin", "item", "low_stock_pieces"),
    *("prices", "runs", "lots", "order_lines", "filling_time"),
)


def make_products(apps, schema_editor):
    database = schema_editor.connection.alias
    Product = apps.get_model("inventory", "Product")
    Product.objects.using(database).bulk_create(
        Product(
            pk=size.pk,
            item_id=size.item_id,
            kind="honey",
            code=size.code,
            name=size.name,
            size=size,
            form="liquid",
            gtin=size.gtin,
            low_stock_pieces=size.low_stock_pieces,
        )
        for size in apps.get_model("inventory", "Size").objects.using(database).order_by("pk")
    )
    with schema_editor.connection.cursor() as cursor:
        for sql in schema_editor.connection.ops.sequence_reset_sql(no_style(), [Product]):
            cursor.execute(sql)
    items = apps.get_model("inventory", "Item").objects.using(database)
    items.filter(kind="honey").update(is_weighed=True)
    give_runs_their_codes(apps, database)
    share_out_the_trail(apps, database)


def give_runs_their_codes(apps, database):
    """Recorded runs keep the code of their jars; planned ones get theirs, as when planned now."""
    runs = apps.get_model("inventory", "BottlingRun").objects.using(database)
    counters = apps.get_model("inventory", "Counter").objects.using(database)
    for run in runs.select_related("packed_lot").order_by("pk"):
        if run.packed_lot:
            run.lot_code = run.packed_lot.code
        elif run.status == "planned":
            day = run.planned_for.strftime("L%y%j")
            counter, _created = counters.get_or_create(series=f"packed-{day}")
            counter.last += 1
            counter.save(update_fields=["last"])
            run.lot_code = f"{day}-{counter.last}"
        run.save(update_fields=["lot_code"])


def share_out_the_trail(apps, database):
    """Tell of what moved from the size to the product in the trail of the product."""
    ContentType = apps.get_model("contenttypes", "ContentType")
    of_product, _created = ContentType.objects.using(database).get_or_create(
        app_label="inventory", model="product"
    )
    LogEntry = apps.get_model("auditlog", "LogEntry")
    entries = LogEntry.objects.using(database).filter(
        content_type__app_label="inventory", content_type__model="size"
    )
    for entry in entries:
        moved = {name: change for name, change in (entry.changes or {}).items() if name in MOVED}
        if not moved:
            continue
        entry.changes = {
            name: change for name, change in entry.changes.items() if name not in MOVED
        }
        entry.save(update_fields=["changes"])
        twin = LogEntry.objects.using(database).get(pk=entry.pk)
        twin.pk = None
        twin.content_type = of_product
        twin.changes = moved
        twin.save(force_insert=True)
        # The moment is the first entry's, not that of the upgrade.
        LogEntry.objects.using(database).filter(pk=twin.pk).update(timestamp=entry.timestamp)
        if not entry.changes:
            entry.delete()


class Migration(migrations.Migration):

    dependencies = [
        ("auditlog", "0017_add_actor_email"),
        ("contenttypes", "0002_remove_content_type_name"),
        ("inventory", "0005_product"),
        # These still name a size here: the key is the same, so they can name the product later.
        ("orders", "0002_size"),
        ("pricing", "0003_plain_words"),
    ]

    operations = [migrations.RunPython(make_products, migrations.RunPython.noop)]
