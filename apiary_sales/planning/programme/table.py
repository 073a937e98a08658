"""A programme as columns and rows in exact figures: what a search maximises, and within what."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from apiary_sales.planning.programme.plan import Plan
from apiary_sales.planning.programme.problem import Figure, Honey, PlannedProduct, Programme

Name = tuple[str, ...]
# How much of something each column takes, by the number of the column.
Amounts = dict[int, Fraction]


@dataclass(frozen=True)
class Row:
    """What the columns take of one thing together may not be more than there is."""

    there: Fraction
    amounts: Amounts = field(default_factory=dict)


class Table:
    """The programme as columns and rows: maximise what the columns earn, within the rows.

    Columns: ("pieces", vessel, product), ("run", vessel, product) is 1 when there are any,
    ("begun", vessel, product, part) counts cases begun, ("sold", buyer), ("drums", vessel),
    ("bought", part). In each of the `balances` the amounts add up to zero: what is filled is sold.

    With `sales`, each buyer gets exactly so many pieces.
    """

    def __init__(self, programme: Programme, sales: Mapping[str, int] | None = None) -> None:
        self.programme = programme
        self.columns: dict[Name, int] = {}
        self.earns: list[Fraction] = []
        self.lowest: list[int] = []
        # The limits that are asked for, and those that follow from them for every column.
        self.highest: list[int | None] = []
        self.implied: list[int] = []
        self.rows: dict[Name, Row] = {}
        self.balances: list[Amounts] = []
        self._build(sales)

    def plan(self, counts: list[int]) -> Plan:
        """Return the plan that has these counts in the columns."""
        pieces, drums, sold = {}, {}, {}
        for name, column in self.columns.items():
            if not (count := counts[column]):
                continue
            match name:
                case ("pieces", honey, product):
                    pieces[honey, product] = count
                case ("drums", honey):
                    drums[honey] = count
                case ("sold", buyer):
                    sold[buyer] = count
        return Plan(self.programme, pieces, drums, sold)

    def _column(
        self,
        name: Name,
        earns: Figure,
        *,
        implied: int,
        highest: int | None = None,
        lowest: int = 0,
    ) -> int:
        self.columns[name] = len(self.earns)
        self.earns.append(Fraction(earns))
        self.lowest.append(lowest)
        self.highest.append(highest)
        self.implied.append(implied)
        return self.columns[name]

    def _row(self, name: Name, there: Figure) -> Amounts:
        self.rows[name] = Row(Fraction(there))
        return self.rows[name].amounts

    def _build(self, sales: Mapping[str, int] | None) -> None:
        programme = self.programme
        parts = programme.part_of
        fit = {
            product.key: sum(honey.pieces_max(product) for honey in programme.honeys)
            for product in programme.products
        }
        minutes = self._row(("minutes", ""), programme.minutes)
        part_rows = {part.key: self._row(("part", part.key), part.stock) for part in parts.values()}
        wanted_of = {product.key: 0 for product in programme.products}
        balance: dict[str, Amounts] = {product.key: {} for product in programme.products}
        for buyer in programme.buyers:
            most = fit[buyer.product]
            wanted = None if sales is None else sales.get(buyer.key, 0)
            column = self._column(
                ("sold", buyer.key),
                buyer.cents_each,
                implied=most if buyer.pieces_max is None else min(most, buyer.pieces_max),
                highest=buyer.pieces_max if wanted is None else wanted,
                lowest=0 if wanted is None else wanted,
            )
            balance[buyer.product][column] = Fraction(-1)
            wanted_of[buyer.product] += self.implied[column] if wanted is None else wanted
        for honey in programme.honeys:
            grams = self._row(("honey", honey.key), honey.grams)
            if honey.bulk_grams is not None:
                column = self._column(
                    ("drums", honey.key), honey.bulk_cents, implied=honey.bulk_max
                )
                grams[column] = Fraction(honey.bulk_grams)
            for product in programme.products:
                # No more than anybody takes: the tighter the bound, the shorter the search. What
                # nobody takes still has its column: without it, a piece would seem to be free.
                fits = honey.pieces_max(product)
                if most := min(fits, wanted_of[product.key] or fits):
                    column = self._pieces(honey, product, most, minutes, part_rows)
                    grams[column] = Fraction(product.grams_each)
                    balance[product.key][column] = Fraction(1)
        for part in parts.values():
            if part.order_max:
                column = self._column(
                    ("bought", part.key),
                    Fraction(part.stock_cents) - part.order_cents,
                    implied=part.order_max,
                    highest=part.order_max,
                )
                part_rows[part.key][column] = Fraction(-1)
        self.balances = [row for row in balance.values() if row]

    def _pieces(
        self,
        honey: Honey,
        product: PlannedProduct,
        most: int,
        minutes: Amounts,
        part_rows: Mapping[str, Amounts],
    ) -> int:
        programme, parts = self.programme, self.programme.part_of
        rate = Fraction(programme.cents_per_minute)
        column = self._column(
            ("pieces", honey.key, product.key), -rate * product.minutes_each, implied=most
        )
        minutes[column] = Fraction(product.minutes_each)
        for need in product.needs:
            cents = Fraction(parts[need.part].stock_cents)
            if need.quantity % need.per_pieces == 0:
                each, counted = need.quantity // need.per_pieces, column
            else:
                name = (honey.key, product.key, need.part)
                each, counted = 1, self._column(("begun", *name), 0, implied=need.of(most))
                begun = self._row(("begun", *name), 0)
                begun[column] = Fraction(need.quantity)
                begun[counted] = -Fraction(need.per_pieces)
            self.earns[counted] -= each * cents
            row = part_rows[need.part]
            row[counted] = row.get(counted, Fraction(0)) + each
        if programme.minutes_per_run:
            run = self._column(
                ("run", honey.key, product.key), -rate * programme.minutes_per_run, implied=1
            )
            minutes[run] = Fraction(programme.minutes_per_run)
            open_only = self._row(("run", honey.key, product.key), 0)
            open_only[column] = Fraction(1)
            open_only[run] = -Fraction(most)
        return column
