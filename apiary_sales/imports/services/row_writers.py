"""How a row of each kind is written, through the service of what it makes, and taken back."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import models

from apiary_sales.imports.models import Import, ImportKind
from apiary_sales.imports.rules.cells import Figures
from apiary_sales.imports.services import (
    customer_rows,
    expense_rows,
    price_rows,
    product_rows,
    stock_rows,
)
from inventory.shared.people import Person

Made = Sequence[models.Model]


def _as_read(rows: Iterable[Figures]) -> None:
    """Lock nothing beforehand."""


@dataclass(frozen=True)
class RowWriter:
    """How rows of one kind are written and taken back.

    `write` makes what a row says and returns it; what it refuses names the column. `take_back`
    undoes one thing that was made. `lock` takes what all rows touch, once and in one order. Rows
    are written by `order`.
    """

    write: Callable[[Figures, Person, str], Made]
    take_back: Callable[[Any, Import, Person, str, str], None]
    lock: Callable[[Iterable[Figures]], None] = _as_read
    order: Callable[[Figures], Any] = lambda figures: 0


WRITERS: Mapping[str, RowWriter] = {
    ImportKind.CUSTOMERS: RowWriter(customer_rows.write, customer_rows.take_back),
    ImportKind.PRODUCTS: RowWriter(product_rows.write, product_rows.take_back),
    ImportKind.PRICES: RowWriter(
        price_rows.write, price_rows.take_back, order=price_rows.fewest_first
    ),
    ImportKind.JARS: RowWriter(
        stock_rows.write_jars, stock_rows.take_back, lock=stock_rows.lock_jars
    ),
    ImportKind.HONEY: RowWriter(
        stock_rows.write_honey, stock_rows.take_back, order=stock_rows.oldest_first
    ),
    ImportKind.PARTS: RowWriter(stock_rows.write_parts, stock_rows.take_back),
    ImportKind.EXPENSES: RowWriter(expense_rows.write, expense_rows.take_back),
}
