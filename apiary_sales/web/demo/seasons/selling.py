"""Who bought what: shops by the month, packers by the drum, the stand and the market."""

from collections import Counter
from collections.abc import Iterator
from datetime import date, time, timedelta
from decimal import Decimal
from functools import partial
from itertools import count
from math import ceil
from typing import cast

from apiary_sales.billing.models import Invoice, MarketDay, PaidBy, Payment
from apiary_sales.billing.rules import LineCredit
from apiary_sales.billing.services import (
    bounced_checks,
    credit_notes,
    invoices,
    market_days,
    market_unloading,
    payments,
    stand,
)
from apiary_sales.billing.services.market_unloading import CameHome
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import FulfilmentLine, Order, OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.rules.pieces import PiecesWanted
from apiary_sales.orders.rules.returns import GoodsBack
from apiary_sales.orders.services import drum_register, orders
from apiary_sales.web.demo.fixtures import cents, key, read
from apiary_sales.web.demo.seasons import harvest
from apiary_sales.web.demo.seasons.things import Things, at
from apiary_sales.web.demo.seasons.timeline import DatedAct, Turn, weekend_days
from inventory.stock.models import Place
from inventory.stock.services import loads
from inventory.stock.services.loads import PiecesOf

# Shops order in the first days of a month; the stand is filled after that, and sells.
STAND_FILLED_ON, SHELF_MARGIN = 5, 2
# The market of the story itself is in the last days.
DAYS_WITHOUT_MARKET = 14
TAX_AT_MOST, TWENTY = Decimal("1.06"), 20


class SalesOfSeasons:
    """Sales of the seasons, each with what it takes off the shelves."""

    def __init__(
        self, rows: dict, things: Things, sold_from: dict[str, date], gift_months: set[date]
    ) -> None:
        self.rows, self.things = rows, things
        # Before a product is first made, nobody buys it.
        self.sold_from, self.gift_months = sold_from, gift_months
        self._check_number = count(2101)

    def acts(self) -> Iterator[DatedAct]:
        for month in self.things.years.months():
            if f"{month:%Y-%m}" < f"{self.things.years.first}-{self.rows['months']['begins']}":
                continue
            for number, row in enumerate(self.rows["shops"]):
                if month.month in row["months"]:
                    yield from self._order(row, month, number)
            yield from self._stand_days(month)
            if month.month in self.rows["markets"]["months"]:
                yield from self._market(month)
        for number, row in enumerate(self.rows["drum_sales"]):
            yield from self._drums(row, number)

    def _pieces(self, base: dict[str, int], day: date) -> dict[str, int]:
        factor = Decimal(str(self.rows["months"]["factor"][day.month - 1]))
        growth = Decimal(self.things.years.figure(self.rows["months"]["growth_percent"], day)) / 100
        return {
            code: max(1, round(pieces * factor * growth))
            for code, pieces in base.items()
            if day >= self.sold_from.get(code, day)
        }

    # --- Shops ----------------------------------------------------------------------------------

    def _order(self, row: dict, month: date, number: int) -> Iterator[DatedAct]:
        day = month + timedelta(days=1 + number % 3)
        name = f"{month:%Y-%m}-shop-{number}"
        pieces = self._pieces(row["lines"], day)
        if not pieces:
            return
        yield DatedAct(
            day,
            Turn.ORDERED,
            name,
            "orders",
            partial(self._fill, row, pieces, day, name),
            takes=pieces,
        )
        turn = month.year * 12 + month.month
        after = row["paid_after_days"][turn // 2 % len(row["paid_after_days"])]
        if any(self._is_of(unpaid, row, month) for unpaid in self.rows["unpaid"]):
            return
        for returned in self.rows["returned"]:
            if self._is_of(returned, row, month):
                yield DatedAct(
                    day + timedelta(days=returned["after_days"]),
                    Turn.CREDITED,
                    name,
                    "credits",
                    partial(
                        self._take_back,
                        returned,
                        name,
                        day + timedelta(days=returned["after_days"]),
                    ),
                )
        paid_on = day + timedelta(days=after)
        for bounced in self.rows["bounced"]:
            if self._is_of(bounced, row, month):
                bounced_on = paid_on + timedelta(days=bounced["after_days"])
                yield self._payment(paid_on, name, "-bounced", row["method"])
                yield DatedAct(
                    bounced_on,
                    Turn.PAID,
                    name,
                    "",
                    partial(self._bounce, bounced, name, bounced_on),
                )
                paid_on = bounced_on + timedelta(days=bounced["paid_again_after_days"])
        yield self._payment(paid_on, name, "", row["method"])

    def _bounce(self, row: dict, name: str, day: date) -> None:
        bounced_checks.record(
            payment=Payment.objects.get(idempotency_key=key(f"{name}-paid-bounced")),
            recorded_by=self.things.seller,
            key=key(f"{name}-bounced"),
            bounced_on=day,
            bank_fee_cents=cents(row["bank_fee"]),
            reason="Not enough in the account",
        )

    def _is_of(self, rule: dict, row: dict, month: date) -> bool:
        year = self.things.years.last - rule["ago"]
        return rule["customer"] == row["customer"] and (year, rule["month"]) == (
            month.year,
            month.month,
        )

    def _fill(self, row: dict, pieces: dict[str, int], day: date, name: str) -> None:
        customer = self.things.customers[row["customer"]]
        order = orders.take(
            customer=customer,
            channel=Order.Channel(row.get("channel", Order.Channel.SHOP)),
            lines=self.things.lines(pieces, customer.tier, day),
            created_by=self.things.seller,
            key=key(name),
            placed_on=day - timedelta(days=1),
        )
        self._bill(order, day, name)

    def _bill(self, order: Order, day: date, name: str) -> None:
        orders.fulfil(
            order=order, filled_by=self.things.bottler, key=key(f"{name}-filled"), filled_on=day
        )
        invoices.issue(
            order=order, issued_by=self.things.seller, key=key(f"{name}-invoice"), issued_on=day
        )

    def _payment(self, day: date, name: str, end: str, method: str) -> DatedAct:
        return DatedAct(
            day, Turn.PAID, name, "payments", partial(self._receive, day, name, end, method)
        )

    def _receive(self, day: date, name: str, end: str, method: str) -> None:
        invoice = _invoice(name)
        is_check = method == Payment.Method.CHECK
        payments.receive(
            customer=invoice.customer,
            amount_cents=invoice.open_cents,
            method=method,
            received_by=self.things.seller,
            key=key(f"{name}-paid{end}"),
            received_on=day,
            reference=str(next(self._check_number)) if is_check else "",
            allocations={invoice: invoice.open_cents},
        )

    def _take_back(self, row: dict, name: str, day: date) -> None:
        invoice = _invoice(name)
        product = self.things.products[row["product"]]
        # Pieces of two lots are on two lines.
        of_product = invoice.lines.filter(fulfilment_line__order_line__product=product)
        line = of_product.order_by("-quantity")[0]
        credit_notes.credit(
            invoice=invoice,
            issued_by=self.things.seller,
            key=key(f"{name}-credit"),
            reason=row["reason"],
            lines=[LineCredit(line, quantity=Decimal(row["pieces"]))],
            goods_back=[
                GoodsBack(
                    cast(FulfilmentLine, line.fulfilment_line),
                    row["pieces"],
                    place=self.things.place("storeroom"),
                    is_fit=row["is_fit"],
                )
            ],
            returned_on=day,
            issued_on=day,
        )

    # --- Drums ----------------------------------------------------------------------------------

    def _drums(self, row: dict, number: int) -> Iterator[DatedAct]:
        day = self.things.years.day(row["ago"], row["on"])
        name = f"{day.year}-drums-{number}"
        yield DatedAct(
            day, Turn.ORDERED, name, "drum sales", partial(self._sell_drums, row, day, name)
        )
        if "light_pounds" in row:
            light_on = day + timedelta(days=row["light_after_days"])
            yield DatedAct(
                light_on,
                Turn.CREDITED,
                name,
                "credits",
                partial(self._credit_light_drum, row, name, light_on),
            )
        yield self._payment(
            day + timedelta(days=row["paid_after_days"]), name, "", Payment.Method.TRANSFER
        )
        back_on = day + timedelta(days=self.rows["drums_back"]["after_days"])
        yield DatedAct(back_on, Turn.CREDITED, name, "", partial(self._drums_back, name, back_on))

    def _sell_drums(self, row: dict, day: date, name: str) -> None:
        full = harvest.full_drums()[-row["drums"] :]
        lines = []
        for there in full:
            lines.append(
                LineWanted(
                    OrderLine.Kind.HONEY,
                    there.quantity,
                    Decimal(row["price_per_pound"]),
                    drum=there.place,
                    lot=there.lot,
                )
            )
            lines.append(
                LineWanted(OrderLine.Kind.DRUM_DEPOSIT, 1, Decimal("35.00"), drum=there.place)
            )
        lines.append(LineWanted(OrderLine.Kind.FREIGHT, 1, Decimal(row["freight"])))
        order = orders.take(
            customer=self.things.customers[row["customer"]],
            channel=Order.Channel.BULK,
            lines=lines,
            created_by=self.things.seller,
            key=key(name),
            placed_on=day - timedelta(days=4),
        )
        self._bill(order, day, name)

    def _credit_light_drum(self, row: dict, name: str, day: date) -> None:
        invoice = _invoice(name)
        light = invoice.lines.filter(fulfilment_line__order_line__kind=OrderLine.Kind.HONEY)[0]
        price = Decimal(row["price_per_pound"])
        credit_notes.credit(
            invoice=invoice,
            issued_by=self.things.seller,
            key=key(f"{name}-light"),
            reason=f"A drum weighed {row['light_pounds']} lb less at the buyer's scale",
            lines=[LineCredit(light, allowance_cents=round(cents(row["light_pounds"]) * price))],
            issued_on=day,
        )

    def _drums_back(self, name: str, day: date) -> None:
        invoice = _invoice(name)
        order = cast(Order, invoice.order)
        deposits = OrderLine.objects.filter(order=order, kind=OrderLine.Kind.DRUM_DEPOSIT)
        drums = [cast(Place, line.drum) for line in deposits.select_related("drum")]
        drum_register.take_back(
            outings=drum_register.outings_of(order, drums),
            received_by=self.things.bottler,
            key=key(f"{name}-back"),
            returned_on=day,
        )
        note = credit_notes.credit_deposit(
            invoice=invoice,
            drums=len(drums),
            issued_by=self.things.seller,
            key=key(f"{name}-deposit"),
            issued_on=day,
        )
        payments.refund(
            note=note,
            amount_cents=payments.to_refund_cents(note),
            method=Payment.Method.CHECK,
            paid_by=self.things.seller,
            key=key(f"{name}-refund"),
            paid_on=day,
            reference=str(next(self._check_number)),
        )

    # --- The stand ------------------------------------------------------------------------------

    def _stand_days(self, month: date) -> Iterator[DatedAct]:
        rows = self.rows["stand"]
        weekends = weekend_days(month, STAND_FILLED_ON)
        wanted = rows["days"][month.month - 1]
        spread = [weekends[number * len(weekends) // wanted] for number in range(wanted)]
        needed: Counter[str] = Counter()
        for number, day in enumerate(spread):
            turn = month.month * 5 + month.year + number
            basket = dict(rows["baskets"][turn % len(rows["baskets"])])
            pieces = self._pieces(basket, day)
            if number == wanted - 1 and month.month in rows["comb_months"]:
                pieces["cut-comb"] = rows["comb"]
            if number == 1 and month in self.gift_months:
                pieces["dark-gift-box"] = rows["gifts"]
            method = rows["methods"][turn % len(rows["methods"])]
            name = f"{month:%Y-%m}-stand-{number}"
            yield DatedAct(
                day,
                Turn.SOLD,
                name,
                "days at the stand",
                partial(self._sell, pieces, "stand", day, 14, method, name),
            )
            needed.update(pieces)
        filled_on, name = month + timedelta(days=STAND_FILLED_ON - 1), f"{month:%Y-%m}-to-the-stand"
        yield DatedAct(
            filled_on,
            Turn.CARRIED,
            name,
            "",
            partial(self._carry, needed, filled_on, name),
            takes=needed,
        )

    def _sell(
        self, pieces: dict[str, int], place: str, day: date, hour: int, method: str, name: str
    ) -> None:
        moment = at(day, hour)
        lines = self.things.lines(pieces, Customer.Tier.STAND, day)
        given = None
        if method == Payment.Method.CASH:
            # In notes of twenty, enough for the tax too.
            due = sum(line.quantity * line.unit_price for line in lines) * TAX_AT_MOST
            given = ceil(due / TWENTY) * TWENTY * 100
        stand.sell(
            lines=lines,
            place=self.things.place(place),
            payments=[stand.PaymentMade(method, tendered_cents=given)],
            sold_by=self.things.minder,
            key=key(name),
            sold_at=moment,
            not_before=moment,
            issued_on=day,
        )

    def _carry(self, needed: Counter[str], day: date, name: str) -> None:
        things = []
        needed = needed + self._told_by_the_story(day)
        for code, pieces in needed.items():
            missing = pieces + SHELF_MARGIN - self.things.on_hand(code, "stand")
            if there := min(missing, self.things.on_hand(code, "storeroom")):
                things.append(PiecesOf(self.things.products[code].item, there))
        things = [each for each in things if each.pieces > 0]
        if things:
            loads.carry(
                things=things,
                source=self.things.place("storeroom"),
                target=self.things.place("stand"),
                recorded_by=self.things.bottler,
                key=key(name),
                carried_at=at(day, 12),
            )

    def _told_by_the_story(self, day: date) -> Counter[str]:
        """Return what the story sells from a day on: the stand has to have that, too.

        An order takes the oldest jars, wherever they are.
        """
        story, today = read("story"), self.things.today
        if (today - day).days > max(row["days_ago"] for row in story["moves"]):
            return Counter()
        found: Counter[str] = Counter()
        for sale in [story["stand_sale"], story["shop_order"], story["open_order"]]:
            found.update(_pieces_of(sale))
        for sale in [*story["stand_weeks"], *story["past_orders"]]:
            days_ago = sale["days_ago"] if "days_ago" in sale else sale["weeks_ago"] * 7
            if today - timedelta(days=days_ago) >= day:
                found.update(_pieces_of(sale))
        return found

    # --- Markets --------------------------------------------------------------------------------

    def _market(self, month: date) -> Iterator[DatedAct]:
        saturdays = [day for day in weekend_days(month, 8) if day.weekday() == 5]
        day, rows = saturdays[0], self.rows["markets"]
        if (self.things.today - day).days <= DAYS_WITHOUT_MARKET:
            return
        turn = month.year * 6 + month.month
        tenths = rows["sold_tenths"][turn % len(rows["sold_tenths"])]
        load = dict(rows["load"].items())
        broken = rows["broken"][turn % len(rows["broken"])]
        sold = {code: min(pieces * tenths // 10, pieces - broken) for code, pieces in load.items()}
        name = f"{month:%Y-%m}-market"
        takes = dict(sold)
        takes["1-lb"] += broken
        yield DatedAct(
            day,
            Turn.SOLD,
            name,
            "market days",
            partial(self._go_to_market, load, sold, broken, day, name),
            takes=takes,
        )

    def _go_to_market(
        self, load: dict[str, int], sold: dict[str, int], broken: int, day: date, name: str
    ) -> None:
        rows, things = self.rows["markets"], self.things
        wanted = [PiecesWanted(things.products[code], pieces) for code, pieces in load.items()]
        market_day: MarketDay = market_days.plan(
            place=things.place("van"),
            day=day,
            market=rows["name"],
            opens_at=time.fromisoformat(rows["opens_at"]),
            closes_at=time.fromisoformat(rows["closes_at"]),
            source=things.place("storeroom"),
            people=rows["people"],
            lines=wanted,
            planned_by=things.minder,
            key=key(name),
        )
        market_days.load(
            market_day=market_day, lines=wanted, loaded_by=things.minder, key=key(f"{name}-load")
        )
        self._sell(sold, "van", day, 12, Payment.Method.CASH, f"{name}-sale")
        market_unloading.unload(
            market_day=market_day,
            lines=[
                CameHome(
                    things.products[code],
                    pieces - sold[code] - (broken if code == "1-lb" else 0),
                    broken=broken if code == "1-lb" else 0,
                )
                for code, pieces in load.items()
            ],
            target=things.place("storeroom"),
            unloaded_by=things.minder,
            key=key(f"{name}-unload"),
        )
        market_days.enter_cost(
            market_day=market_day,
            payee=rows["name"],
            amount_cents=cents(things.years.figure(rows["fees"], day)),
            paid_by=PaidBy.CASH,
            entered_by=things.minder,
            key=key(f"{name}-fee"),
        )
        market_days.close(
            market_day=market_day, labour_minutes=int(Decimal(rows["labour_hours"]) * 60)
        )


def _pieces_of(sale: dict) -> dict[str, int]:
    return {row["product"]: row["pieces"] for row in sale["lines"]}


def _invoice(name: str) -> Invoice:
    return Invoice.objects.select_related("customer", "order").get(
        idempotency_key=key(f"{name}-invoice")
    )
