"""Give accounts of the chart the numbers and names that the accountant uses."""

from django.db import transaction
from django.utils.translation import gettext as _

from apiary_sales.billing import chart_of_accounts
from apiary_sales.billing.chart_of_accounts import ChartAccount
from apiary_sales.billing.models import LedgerAccount
from inventory.shared.errors import Problems


@transaction.atomic
def change(*, account: ChartAccount, number: str, name: str) -> LedgerAccount:
    """Give an account another number and name; what is entered on it stays.

    Entering the same again changes nothing. Raises `BadValue` without a number or a name, and for a
    number that another account has.
    """
    number, name = number.strip(), name.strip()
    problems = Problems()
    # Locked, so that two people don't give two accounts one number.
    rows = list(LedgerAccount.objects.select_for_update().all())
    others = [row for row in chart_of_accounts.chart(own=rows).values() if row.key != account.key]
    taken = next((row for row in others if row.number == number), None)
    if not number:
        problems.add("number", _("Enter a number."))
    elif taken is not None:
        problems.add(
            "number",
            _("%(account)s has this number already. Choose another.") % {"account": taken.title},
        )
    if not name:
        problems.add("name", _("Enter a name."))
    problems.raise_any()
    row = next((row for row in rows if row.key == account.key), LedgerAccount(key=account.key))
    row.number, row.name, row.kind = number, name, account.kind
    row.full_clean()
    row.save()
    return row
