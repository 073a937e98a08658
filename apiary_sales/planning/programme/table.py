"""A programme as columns and rows in exact figures: what a search maximises, and within what."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from apiary_sales.planning.programme.plan import Plan
from apiary_sales.planning.programme.pools import VesselPool
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

    Columns: ("pieces", vessel, product), ("run", vessel, product) counts its runs,
    ("begun", vessel, product, part) counts cases begun, ("sold", buyer), ("drums", vessel),
    ("whole", vessel), ("bought", part). In each of the `balances` the amounts add up to zero: what
    is filled is sold.

    With `sales`, each buyer gets exactly so many pieces. With `pools`, the honey is that of pools:
    nothing that the vessels allow is missing, so no plan earns more, but some of it may not come
    out at their borders. With `only`, no other product is filled from a vessel than is named; the
    runs that are `kept` are set up in any case.
    """

    def __init__(
        self,
        programme: Programme,
        sales: Mapping[str, int] | None = None,
        *,
        pools: Sequence[VesselPool] | None = None,
        only: Collection[tuple[str, str]] | None = None,
        kept: Collection[tuple[str, str]] = (),
    ) -> None:
        self.programme = programme
        self.sources: Sequence[Honey | VesselPool] = programme.honeys if pools is None else pools
        self.only, self.kept = only, kept
        self.is_pooled = pools is not None
        self.columns: dict[Name, int] = {}
        self.earns: list[Fraction] = []
        self.lowest: list[int] = []
        # The limits that are asked for, and those that follow from them for every column.
        self.highest: list[int | None] = []
        self.implied: list[int] = []
        # Whether a column counts whole things. In pools, only runs and drums do.
        self.is_whole: list[bool] = []
        self.rows: dict[Name, Row] = {}
        self.balances: list[Amounts] = []
        self._build(sales)

    def plan(self, counts: list[int]) -> Plan:
        """Return the plan that has these counts in the columns."""
        pieces, drums, sold, whole = {}, {}, {}, set()
        for name, column in self.columns.items():
            if not (count := counts[column]):
                continue
            match name:
                case ("pieces", honey, product):
                    pieces[honey, product] = count
                case ("drums", honey):
                    drums[honey] = count
                case ("whole", honey):
                    whole.add(honey)
                case ("sold", buyer):
                    sold[buyer] = count
        return Plan(self.programme, pieces, drums, sold, frozenset(whole))

    def pieces(self, counts: list[int]) -> dict[tuple[str, str], int]:
        """Return the pieces by vessel or pool, and product."""
        return {
            (name[1], name[2]): counts[column]
            for name, column in self.columns.items()
            if name[0] == "pieces" and counts[column]
        }

    def drums_left(self, counts: list[int]) -> dict[str, int]:
        """Return how many drums of each pool are left beside those sold whole, where counted."""
        found = {}
        for pool in self.sources:
            sold = [
                counts[column]
                for name, column in self.columns.items()
                if name[:2] == ("whole", pool.key)
            ]
            if sold and pool.runs_max > 1:
                column = self.columns.get(("count", pool.key))
                found[pool.key] = pool.runs_max - (sum(sold) if column is None else counts[column])
        return found

    def _column(
        self,
        name: Name,
        earns: Figure,
        *,
        implied: int,
        highest: int | None = None,
        lowest: int = 0,
        is_whole: bool | None = None,
    ) -> int:
        self.columns[name] = len(self.earns)
        self.earns.append(Fraction(earns))
        self.lowest.append(lowest)
        self.highest.append(highest)
        self.implied.append(implied)
        self.is_whole.append(not self.is_pooled if is_whole is None else is_whole)
        return self.columns[name]

    def _row(self, name: Name, there: Figure) -> Amounts:
        self.rows[name] = Row(Fraction(there))
        return self.rows[name].amounts

    def _build(self, sales: Mapping[str, int] | None) -> None:
        programme = self.programme
        parts = programme.part_of
        fit = {
            product.key: sum(honey.pieces_max(product) for honey in self.sources)
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
        drums_counted: list[Amounts] = []
        for honey in self.sources:
            grams = self._row(("honey", honey.key), honey.grams)
            wholes: Amounts = {}
            for number, bulk in enumerate(honey.bulk):
                name = (bulk.kind, honey.key)
                column = self._column(
                    name if honey.runs_max == 1 else (*name, str(number)),
                    bulk.cents,
                    implied=bulk.most,
                    is_whole=bulk.is_whole,
                )
                grams[column] = Fraction(bulk.grams)
                wholes[column] = Fraction(1)
            if len(wholes) > 1 and honey.runs_max > 1:
                # Drums of different weight: how many of all is a whole number.
                count = self._column(("count", honey.key), 0, implied=honey.runs_max, is_whole=True)
                drums_counted.append({**wholes, count: Fraction(-1)})
            for product in programme.products:
                # No more than anybody takes: the tighter the bound, the shorter the search. What
                # nobody takes still has its column: without it, a piece would seem to be free.
                fits = honey.pieces_max(product)
                is_named = self.only is None or (honey.key, product.key) in self.only
                if is_named and (most := min(fits, wanted_of[product.key] or fits)):
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
        self.balances = [*(row for row in balance.values() if row), *drums_counted]

    def _pieces(
        self,
        honey: Honey | VesselPool,
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
        if programme.minutes_per_run or programme.cents_per_run or programme.least_pieces > 1:
            key = (honey.key, product.key)
            run = self._column(
                ("run", *key),
                -programme.run_cents,
                implied=honey.runs_max,
                lowest=1 if key in self.kept else 0,
                is_whole=True,
            )
            minutes[run] = Fraction(programme.minutes_per_run)
            open_only = self._row(("run", *key), 0)
            open_only[column] = Fraction(1)
            open_only[run] = -Fraction(min(most, honey.run_max(product)))
            if programme.least_pieces > 1:
                least = self._row(("least", *key), 0)
                least[run], least[column] = Fraction(programme.least_pieces), Fraction(-1)
        return column
