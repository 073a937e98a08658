"""The invented house at a market, and its box at the gate where nobody stands."""

from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import cast

from django.utils import timezone

from apiary_sales.accounts.models import User
from apiary_sales.billing.models import HonestyBox, MarketDay, PaidBy, Payment
from apiary_sales.billing.queries import market_days as found
from apiary_sales.billing.services import honesty_boxes, market_days, market_unloading, stand
from apiary_sales.billing.services.honesty_boxes import ShelfCounted
from apiary_sales.billing.services.market_unloading import CameHome
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.rules.pieces import PiecesWanted
from apiary_sales.pricing.queries import prices
from apiary_sales.web.demo.fixtures import Say, cents, key, once, read
from inventory.bottling.models import Product
from inventory.stock.models import Place
from inventory.stock.services import loads, places
from inventory.stock.services.loads import PiecesOf


def tell(today: date, say: Say) -> None:
    """Do everything in `fixtures_demo/market.toml` that has not been done yet."""
    rows = read("market")
    seller = User.objects.get(role=User.Role.STAND)
    _go_to_market(rows["market"], today, seller, say)
    _plan_the_next(rows, today, seller, say)
    _count_the_box(rows["honesty_box"], today, seller, say)


def _go_to_market(row: dict, today: date, person: User, say: Say) -> None:
    day = today - timedelta(days=row["days_ago"])
    once(say, f"planned a market day at {row['name']}", _plan, row, day, person, "market")
    market_day = MarketDay.objects.get(idempotency_key=key("market"))
    loaded = [PiecesWanted(product, pieces) for product, pieces in _products(row["load"])]
    once(
        say,
        "loaded the van",
        market_days.load,
        market_day=market_day,
        lines=loaded,
        loaded_by=person,
        key=key("market-load"),
    )
    for number, sold in enumerate(row["sales"], start=1):
        once(
            say, f"sold at the market, sale {number}", _sell, market_day, sold, person, str(number)
        )
    once(
        say,
        "unloaded the van",
        market_unloading.unload,
        market_day=market_day,
        lines=[
            CameHome(**{**line, "product": Product.objects.get(code=line["product"])})
            for line in row["came_home"]
        ],
        target=market_day.source,
        unloaded_by=person,
        key=key("market-unload"),
    )
    once(
        say,
        f"paid {row['fee']} for the stall",
        market_days.enter_cost,
        market_day=market_day,
        payee=row["name"],
        amount_cents=cents(row["fee"]),
        paid_by=PaidBy.CASH,
        entered_by=person,
        key=key("market-fee"),
    )
    market_days.close(market_day=market_day, labour_minutes=int(Decimal(row["labour_hours"]) * 60))


def _plan(row: dict, day: date, person: User, name: str) -> MarketDay:
    return market_days.plan(
        place=Place.objects.get(code="van"),
        day=day,
        market=row["name"],
        opens_at=time.fromisoformat(row["opens_at"]),
        closes_at=time.fromisoformat(row["closes_at"]),
        source=Place.objects.get(code="storeroom"),
        people=row["people"],
        lines=[PiecesWanted(product, pieces) for product, pieces in _products(row["load"])],
        planned_by=person,
        key=key(name),
    )


def _sell(market_day: MarketDay, sold: dict[str, int], person: User, number: str) -> None:
    listed = prices.price_list(Customer.Tier.STAND, market_day.day)
    lines = []
    for product, pieces in _products(sold):
        price = cast(Decimal, listed.of(product).unit_price(pieces))
        lines.append(LineWanted(OrderLine.Kind.PACKED, pieces, price, product))
    stand.sell(
        lines=lines,
        place=market_day.place,
        payments=[stand.PaymentMade(Payment.Method.CASH)],
        sold_by=person,
        key=key(f"market-sale-{number}"),
        sold_at=_noon(market_day.day),
        has_happened=True,
    )


def _plan_the_next(rows: dict, today: date, person: User, say: Say) -> None:
    day = today + timedelta(days=rows["next_market"]["days_ahead"])
    once(say, "planned the next market day", _plan, rows["market"], day, person, "market-next")
    market_day = MarketDay.objects.get(idempotency_key=key("market-next"))
    suggested = found.suggestions(
        market=market_day.market, place=market_day.place, day=market_day.day
    )
    market_days.set_load_list(
        market_day=market_day,
        lines=[PiecesWanted(product, each.pieces) for product, each in suggested.items()],
    )


def _count_the_box(row: dict, today: date, person: User, say: Say) -> None:
    begun = today - timedelta(days=row["days_ago"])
    place = Place.objects.filter(code=row["place"]["code"]).first() or places.create(**row["place"])
    once(
        say,
        f"carried jars to the {place.name}",
        loads.carry,
        things=[PiecesOf(product.item, pieces) for product, pieces in _products(row["stock"])],
        source=Place.objects.get(code="storeroom"),
        target=place,
        recorded_by=person,
        key=key("box-stock"),
        carried_at=_noon(begun),
    )
    once(
        say,
        f"set up the {place.name}",
        honesty_boxes.set_up,
        place=place,
        set_up_by=person,
        key=key("box"),
    )
    box = HonestyBox.objects.get(place=place)
    counted_on = today - timedelta(days=row["counted_days_ago"])
    for name, day, shelf, cash in (
        ("box-begun", begun, row["stock"], "0"),
        ("box-counted", counted_on, row["left"], row["cash"]),
    ):
        once(
            say,
            f"counted the {place.name}",
            honesty_boxes.count,
            box=box,
            lines=[ShelfCounted(product, pieces) for product, pieces in _products(shelf)],
            cash_cents=cents(cash),
            counted_on=day,
            counted_by=person,
            key=key(name),
        )


def _products(pieces: dict[str, int]) -> list[tuple[Product, int]]:
    found = {product.code: product for product in Product.objects.filter(code__in=pieces)}
    return [(found[code], count) for code, count in pieces.items()]


def _noon(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day, time(12)))
