"""Which rows programs follow by the moment of their last change, and what counts as one.

A row is changed when it is written, and when what belongs to it is: an order with its lines, an
invoice with what is put to it. The database itself notes the moment (`triggers.py`), so that no
writer can forget it.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from django.apps import apps
from django.db import models


@dataclass(frozen=True)
class PartOfRow:
    """Rows whose change is one of the row they belong to, which a column of theirs names.

    With `through`, the column names a row of that table, and its column the row they belong to.
    With `points_here`, the rows they belong to name them, in that column.
    """

    label: str
    column: str = ""
    through: tuple[str, str] | None = None
    points_here: str = ""


# What is followed, and the parts of each.
FOLLOWED: Mapping[str, tuple[PartOfRow, ...]] = MappingProxyType(
    {
        "billing.Expense": (),
        "billing.Invoice": (
            PartOfRow("billing.Adjustment", "invoice_id"),
            PartOfRow("billing.Allocation", "invoice_id"),
            PartOfRow("billing.Invoice", "corrects_id"),
            PartOfRow("billing.Invoice", "credits_id"),
        ),
        "billing.Payment": (
            PartOfRow("billing.Allocation", "payment_id"),
            PartOfRow("billing.BouncedCheck", "payment_id"),
            PartOfRow("billing.DepositedCheck", "payment_id"),
            PartOfRow("billing.Payment", "reverses_id"),
        ),
        "billing.PurchaseOrder": (
            PartOfRow("billing.PurchaseOrderLine", "order_id"),
            PartOfRow(
                "billing.PurchaseReceipt",
                "line_id",
                through=("billing.PurchaseOrderLine", "order_id"),
            ),
        ),
        "billing.SupplierBill": (PartOfRow("billing.SupplierAllocation", "bill_id"),),
        "customers.Customer": (
            PartOfRow("customers.DeliveryAddress", "customer_id"),
            PartOfRow("customers.ExemptionCertificate", "customer_id"),
        ),
        "inventory.BottlingRun": (
            PartOfRow("inventory.FillCheck", "run_id"),
            PartOfRow("inventory.RunComb", "run_id"),
            PartOfRow("inventory.RunCorrection", "run_id"),
        ),
        "inventory.Lot": (
            PartOfRow("inventory.LotCorrection", "lot_id"),
            PartOfRow("inventory.LotCost", "lot_id"),
            PartOfRow("inventory.LotHold", "lot_id"),
            PartOfRow("inventory.LotParent", "lot_id"),
            PartOfRow("inventory.Measurement", "lot_id"),
        ),
        "inventory.PackagingPart": (PartOfRow("inventory.Item", points_here="item_id"),),
        "inventory.Place": (PartOfRow("inventory.TankShape", "place_id"),),
        # Its price is one of what it says.
        "inventory.Product": (
            PartOfRow("inventory.BoxContent", "box_id"),
            PartOfRow("inventory.Item", points_here="item_id"),
            PartOfRow("inventory.ProductPart", "product_id"),
            PartOfRow("pricing.PiecePrice", "product_id"),
            PartOfRow("pricing.ProductTax", "product_id"),
        ),
        "inventory.Size": (PartOfRow("inventory.SizePart", "size_id"),),
        "orders.Order": (
            PartOfRow("billing.Invoice", "order_id"),
            PartOfRow("orders.Fulfilment", "order_id"),
            PartOfRow("orders.OrderLine", "order_id"),
        ),
        "pricing.BulkPrice": (),
        "pricing.WeightPrice": (),
    }
)


def table_of(label: str) -> str:
    return str(apps.get_model(label)._meta.db_table)


def kind_of(model: type[models.Model]) -> str:
    """Return the word under which changes of rows of a model are noted."""
    return model._meta.label_lower


def rows_told_by(table: str) -> Iterator[tuple[str, str]]:
    """Yield the kind of each row that is changed with a row of a table, and how it is found.

    That is a query of one column, with `{row}` for the row that is written.
    """
    for label, parts in FOLLOWED.items():
        kind = label.lower()
        if table_of(label) == table:
            yield kind, "SELECT {row}.id AS row_id"
        for part in parts:
            if table_of(part.label) != table:
                continue
            if part.points_here:
                yield (
                    kind,
                    f"SELECT id AS row_id FROM {table_of(label)} "
                    f"WHERE {part.points_here} = {{row}}.id",
                )
            elif part.through:
                between, column = part.through
                yield (
                    kind,
                    f"SELECT {column} AS row_id FROM {table_of(between)} "
                    f"WHERE id = {{row}}.{part.column}",
                )
            else:
                yield kind, f"SELECT {{row}}.{part.column} AS row_id"


def tables() -> list[str]:
    """Return the tables whose rows are followed, or change rows that are."""
    labels = {*FOLLOWED, *(part.label for parts in FOLLOWED.values() for part in parts)}
    return sorted(table_of(label) for label in labels)
