"""How a row of each kind is written, through the service of what it makes, and taken back."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import models

from apiary_sales.imports.models import Import, ImportKind
from apiary_sales.imports.rows import customers, expenses, prices, products, stock
from apiary_sales.imports.rules.cells import Figures
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
    ImportKind.CUSTOMERS: RowWriter(customers.write, customers.take_back),
    ImportKind.PRODUCTS: RowWriter(products.write, products.take_back),
    ImportKind.PRICES: RowWriter(prices.write, prices.take_back, order=prices.fewest_first),
    ImportKind.JARS: RowWriter(stock.write_jars, stock.take_back, lock=stock.lock_jars),
    ImportKind.HONEY: RowWriter(stock.write_honey, stock.take_back, order=stock.oldest_first),
    ImportKind.PARTS: RowWriter(stock.write_parts, stock.take_back),
    ImportKind.EXPENSES: RowWriter(expenses.write, expenses.take_back),
}
