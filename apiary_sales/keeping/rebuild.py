"""What is worked out from the tables, and so is made anew once a house came in."""

from collections.abc import Callable

from apiary_sales.billing.services import account_months
from apiary_sales.finding.services import index
from inventory.bottling.services import part_closings
from inventory.stock.services import average_closings

# Each makes the rows of one derived table (`is_derived`) of the database of DATABASE_URL.
POST_IMPORT: tuple[Callable[[], object], ...] = (
    index.rebuild,
    average_closings.rebuild,
    part_closings.rebuild,
    account_months.rebuild,
)


def rebuild() -> None:
    for make in POST_IMPORT:
        make()
