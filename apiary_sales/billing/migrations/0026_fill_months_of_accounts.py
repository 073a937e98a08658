from django.db import migrations
from django.db.models import Max, Sum


def fill(apps, schema_editor):
    """Keep the months of the accounts, as they follow from all entries."""
    EntryLine, AccountMonth = (
        apps.get_model("billing", name) for name in ("EntryLine", "AccountMonth")
    )
    found = {}
    rows = (
        EntryLine._base_manager.order_by()
        .values_list("entry__entered_on", "account", "detail")
        .annotate(Sum("amount_cents"), Max("entry"))
    )
    for day, account, detail, cents, entry in rows.iterator():
        key = account, detail, day.replace(day=1)
        cents_before, last_entry = found.get(key, (0, 0))
        found[key] = cents_before + cents, max(last_entry, entry)
    AccountMonth.objects.bulk_create(
        [
            AccountMonth(
                account=account,
                detail=detail,
                begins_on=begins_on,
                cents=cents,
                last_entry_id=last_entry,
            )
            for (account, detail, begins_on), (cents, last_entry) in found.items()
        ],
        batch_size=500,
    )


class Migration(migrations.Migration):

    dependencies = [
        ('billing', '0025_months_of_accounts'),
    ]

    operations = [
        migrations.RunPython(fill, migrations.RunPython.noop),
    ]
