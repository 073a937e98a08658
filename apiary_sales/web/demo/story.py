"""The season's work of the invented house, in the order it was done."""

from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from functools import partial
from typing import cast

from django.utils import timezone

from apiary_sales.accounts.models import User
from apiary_sales.billing.models import Invoice, Payment, StandSale
from apiary_sales.billing.services import invoices, payments, stand
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders, quotes
from apiary_sales.pricing.queries import prices
from apiary_sales.web.demo.fixtures import (
    STORY_DAYS,
    Say,
    celsius,
    cents,
    grams,
    key,
    once,
    read,
)
from apiary_sales.web.demo.seasons.telling import Seasons
from inventory.bottling.models import BottlingRun, PackagingPart, Product
from inventory.bottling.services import parts, runs
from inventory.physics import units
from inventory.shared import words
from inventory.shared.errors import AlreadyRecorded
from inventory.stock.models import Balance, DipReading, Lot, Measurement, Place
from inventory.stock.services import dips, drums, honey, stores


def _day(row: dict, today: date) -> date:
    return today - timedelta(days=row["days_ago"])


def tell(today: date, say: Say, seasons: Seasons) -> None:
    """Do everything in `fixtures_demo/story.toml` that has not been done yet.

    What `seasons` has beside it is told between, so that books and bills follow their days.
    """
    story = read("story")
    people = {user.role: user for user in User.objects.all()}
    bottler, seller = people[User.Role.BOTTLING], people[User.Role.OFFICE]
    seasons.tell(until_days_ago=STORY_DAYS)
    _bring_in_honey(story["extractions"], today, bottler, say)
    _dip(story["dip"], today, bottler, seller, say)
    _fill_drums(story["drum_fills"], today, bottler, say)
    _bring_in_parts(story["part_receipts"], today, bottler, say)
    seasons.tell(until_days_ago=max(row["days_ago"] for row in story["runs"]) + 1)
    bottle(story["runs"], today, bottler, say)
    stock_the_stand(story["moves"], today, bottler, say)
    seasons.tell(
        until_days_ago=1, beside=_look_back(story, today, people[User.Role.STAND], seller, say)
    )


def tell_of_today(today: date, say: Say) -> None:
    """Do what is done today, the last of all, so that nothing is entered before it later."""
    story = read("story")
    people = {user.role: user for user in User.objects.all()}
    seller = people[User.Role.OFFICE]
    _quote(story["quote"], today, seller, say)
    sell_at_the_stand(story["stand_sale"], today, people[User.Role.STAND], say)
    _fill_a_shop_order(story["shop_order"], today, seller, say)
    _take_an_order(story["open_order"], today, seller, say)


def _bring_in_honey(rows: list[dict], today: date, person: User, say: Say) -> None:
    for number, row in enumerate(rows, start=1):
        day = _day(row, today)
        place = Place.objects.get(code=row["place"])
        readings = {
            name: Decimal(row[source])
            for name, source in (
                ("moisture_percent", "moisture_percent"),
                ("refractive_index", "refractive_index"),
                ("refractometer_celsius", "celsius"),
                ("colour_mm", "colour_mm"),
            )
            if source in row
        }
        once(
            say,
            f"received {row['pounds']} lb of {row['floral_source']} into the {place.name}",
            honey.receive,
            place=place,
            grams=grams(row["pounds"]),
            season=day.year,
            floral_source=row["floral_source"],
            yard=row["yard"],
            extracted_on=day,
            moisture_method=Measurement.Method.REFRACTOMETER,
            colour_method=Measurement.Method.PHOTOMETER,
            cost_cents=cents(row["cost"]),
            recorded_by=person,
            key=key(f"extraction-{number}"),
            **readings,
        )


def _dip(row: dict, today: date, reader: User, accepter: User, say: Say) -> None:
    place = Place.objects.get(code=row["place"])
    depth_mm = round(Decimal(row["depth_in"]) * units.MM_PER_INCH)

    def act() -> None:
        if DipReading.objects.filter(idempotency_key=key("dip"), accepted__isnull=False).exists():
            raise AlreadyRecorded("")
        reading = dips.record(
            place=place,
            depth_mm=depth_mm,
            celsius=celsius(row["fahrenheit"]),
            recorded_by=reader,
            key=key("dip"),
            read_on=_day(row, today),
        )
        dips.accept(
            reading=reading, reason=row["reason"], recorded_by=accepter, key=key("dip-accepted")
        )

    once(say, f"dipped the {place.name} at {row['depth_in']} in and accepted the reading", act)


def _fill_drums(rows: list[dict], today: date, person: User, say: Say) -> None:
    for row in rows:
        drum = Place.objects.get(code=row["drum"])
        once(
            say,
            f"filled {drum.name} to {row['gross_pounds']} lb gross",
            drums.fill,
            tank=Place.objects.get(code=row["tank"]),
            drum=drum,
            gross_grams=grams(row["gross_pounds"]),
            recorded_by=person,
            key=key(f"fill-{row['drum']}"),
            filled_on=_day(row, today),
        )


def _bring_in_parts(rows: list[dict], today: date, person: User, say: Say) -> None:
    storeroom = Place.objects.get(code="storeroom")
    for row in rows:
        part = PackagingPart.objects.get(name=row["part"])
        once(
            say,
            f"received {row['pieces']} × {part.name}",
            parts.receive,
            part=part,
            place=storeroom,
            pieces=row["pieces"],
            cost_cents=cents(row["cost"]),
            supplier="",
            received_on=_day(row, today),
            recorded_by=person,
            key=key(f"parts-{part.code}"),
        )


def bottle(rows: list[dict], today: date, person: User, say: Say) -> None:
    storeroom = Place.objects.get(code="storeroom")
    for row in rows:
        product = Product.objects.get(code=row["product"])

        def act(row=row, product=product) -> None:
            run = BottlingRun.objects.filter(idempotency_key=key(f"run-{row['product']}")).first()
            run = run or runs.plan(
                product=product,
                source=Place.objects.get(code=row["source"]),
                target=storeroom,
                pieces=row["planned"],
                planned_for=_day(row, today),
                planned_by=person,
                key=key(f"run-{row['product']}"),
            )
            runs.record(
                run=run,
                pieces_filled=row["filled"],
                pieces_broken=row["broken"],
                drawn_grams=grams(row["drawn_pounds"]),
                drawn_by=BottlingRun.DrawnBy.SCALE,
                loss_grams=grams(row["loss_pounds"]),
                labour_minutes=row["minutes"],
                celsius=None,
                bottled_on=_day(row, today),
                recorded_by=person,
                key=key(f"run-{row['product']}-recorded"),
            )

        once(say, f"bottled {row['filled']} × {product.name}", act)


def stock_the_stand(rows: list[dict], today: date, person: User, say: Say) -> None:
    for row in rows:
        product = Product.objects.get(code=row["product"])
        carry_to_the_stand(product, row["pieces"], _day(row, today), person, say)


def carry_to_the_stand(product: Product, pieces: int, day: date, person: User, say: Say) -> None:
    """Carry pieces of the product's newest lot there is then from the storeroom to the stand."""
    storeroom, shelf = Place.objects.get(code="storeroom"), Place.objects.get(code="stand")
    once(
        say,
        f"carried {pieces} × {product.name} to the {shelf.name}",
        stores.transfer,
        item=product.item,
        lot=Lot.objects.filter(product=product).latest("id"),
        source=storeroom,
        target=shelf,
        pieces=pieces,
        recorded_by=person,
        key=key(f"carry-{product.code}"),
        carried_on=day,
    )


def _look_back(
    story: dict, today: date, minder: User, seller: User, say: Say
) -> list[tuple[date, Callable[[], None]]]:
    """Return the days and acts by which stand and shops bought in the weeks before."""
    acts: list[tuple[date, Callable[[], None]]] = []
    for row in story["stand_weeks"]:
        day = today - timedelta(weeks=row["weeks_ago"])
        acts.append((day, partial(_sell_in_a_week, row, day, minder, say)))
    for row in story["past_orders"]:
        day = _day(row, today)
        words = f"filled and invoiced an order of {row['customer']} {row['days_ago']} days ago"
        act = partial(once, say, words, _fill_a_past_order, row, day, seller)
        # Its money came on a later day, between what was done beside it.
        acts.append((day, act))
        if "paid_after_days" in row:
            paid_on = day + timedelta(days=row["paid_after_days"])
            acts.append((paid_on, partial(_take_money, row, paid_on, seller, say)))
    return acts


def _sell_in_a_week(row: dict, day: date, minder: User, say: Say) -> None:
    once(
        say,
        f"sold at the stand {row['weeks_ago']} weeks ago",
        _sell,
        row,
        day,
        minder,
        f"stand-week-{row['weeks_ago']}",
        sold_at=timezone.make_aware(datetime.combine(day, time(12))),
        issued_on=day,
    )


def _fill_a_past_order(row: dict, day: date, seller: User) -> None:
    name = f"past-{row['days_ago']}"
    _fill_and_invoice(_order(row, name, day, seller), name, day, seller)


def _take_money(row: dict, day: date, seller: User, say: Say) -> None:
    name = f"past-{row['days_ago']}"
    invoice = Invoice.objects.get(idempotency_key=key(f"{name}-invoice"))
    once(
        say,
        f"received {words.money(invoice.total_cents)} from {row['customer']}",
        payments.receive,
        customer=invoice.customer,
        amount_cents=invoice.total_cents,
        method=Payment.Method.TRANSFER,
        received_by=seller,
        key=key(f"{name}-payment"),
        received_on=day,
        allocations={invoice: invoice.total_cents},
    )


def _sell(
    row: dict,
    day: date,
    minder: User,
    name: str,
    *,
    sold_at: datetime | None,
    issued_on: date | None = None,
) -> StandSale:
    return stand.sell(
        lines=_jar_lines(row["lines"], Customer.Tier.STAND, day),
        place=Place.objects.get(code="stand"),
        payments=[
            stand.PaymentMade(
                row["method"],
                tendered_cents=cents(row["cash_given"]) if "cash_given" in row else None,
            )
        ],
        sold_by=minder,
        key=key(name),
        sold_at=sold_at,
        issued_on=issued_on,
    )


def _quote(row: dict, today: date, person: User, say: Say) -> None:
    customer = Customer.objects.get(name=row["customer"])

    def act() -> None:
        order = Order.objects.filter(idempotency_key=key("quote")).first()
        if order is None:
            order = quotes.quote(
                customer=customer,
                lines=_drum_lines(row),
                valid_until=today + timedelta(days=14),
                created_by=person,
                key=key("quote"),
            )
        quotes.accept(order=order, accepted_by=person, key=key("quote-accepted"))

    once(say, f"quoted {' and '.join(row['drums'])} to {customer.name}, who took them", act)


def _drum_lines(row: dict) -> list[LineWanted]:
    lines = []
    for code in row["drums"]:
        drum = Place.objects.get(code=code)
        there = Balance.objects.get(place=drum, quantity__gt=0)
        lines.append(
            LineWanted(
                kind=OrderLine.Kind.HONEY,
                quantity=there.quantity,
                unit_price=Decimal(row["price_per_pound"]),
                drum=drum,
                lot=there.lot,
            )
        )
        lines.append(
            LineWanted(
                kind=OrderLine.Kind.DRUM_DEPOSIT,
                quantity=1,
                unit_price=Decimal(row["deposit_each"]),
                drum=drum,
            )
        )
    lines.append(
        LineWanted(kind=OrderLine.Kind.FREIGHT, quantity=1, unit_price=Decimal(row["freight"]))
    )
    return lines


def sell_at_the_stand(
    row: dict, today: date, person: User, say: Say, *, name: str = "stand-sale"
) -> None:
    paid = f"for cash, {row['cash_given']} given" if "cash_given" in row else "by card"
    once(say, f"sold at the stand {paid}", _sell, row, today, person, name, sold_at=None)


def _jar_lines(rows: list[dict], tier: str, day: date) -> list[LineWanted]:
    price_list = prices.price_list(tier, day)
    lines = []
    for row in rows:
        product = Product.objects.get(code=row["product"])
        lines.append(
            LineWanted(
                kind=OrderLine.Kind.PACKED,
                product=product,
                quantity=row["pieces"],
                # The demo has set a price for every size it sells.
                unit_price=cast(Decimal, price_list.of(product).unit_price(row["pieces"])),
            )
        )
    return lines


def _order(row: dict, name: str, day: date, person: User, **details) -> Order:
    """Return the order of this name, taking it on first use."""
    customer = Customer.objects.get(name=row["customer"])
    return Order.objects.filter(idempotency_key=key(name)).first() or orders.take(
        customer=customer,
        channel=Order.Channel.SHOP,
        lines=_jar_lines(row["lines"], customer.tier, day),
        created_by=person,
        key=key(name),
        placed_on=day,
        **details,
    )


def _fill_and_invoice(order: Order, name: str, day: date, person: User) -> Invoice:
    if not order.fulfilments.exists():
        orders.fulfil(order=order, filled_by=person, key=key(f"{name}-filled"), filled_on=day)
    return invoices.issue(order=order, issued_by=person, key=key(f"{name}-invoice"), issued_on=day)


def fill_and_invoice_an_order(row: dict, name: str, today: date, person: User, say: Say) -> None:
    def bill() -> None:
        order = _order(row, name, today, person, customer_reference=row["reference"])
        _fill_and_invoice(order, name, today, person)

    once(say, f"filled and invoiced an order of {row['customer']}", bill)


def _fill_a_shop_order(row: dict, today: date, person: User, say: Say) -> None:
    fill_and_invoice_an_order(row, "shop", today, person, say)
    invoice = Invoice.objects.get(idempotency_key=key("shop-invoice"))
    paid = cents(row["part_payment"])
    once(
        say,
        f"received {words.money(paid)} from {row['customer']}",
        payments.receive,
        customer=invoice.customer,
        amount_cents=paid,
        method=Payment.Method.CHECK,
        received_by=person,
        key=key("shop-payment"),
        reference=row["check_number"],
        allocations={invoice: paid},
    )


def _take_an_order(row: dict, today: date, person: User, say: Say) -> None:
    def act() -> None:
        if Order.objects.filter(idempotency_key=key("open")).exists():
            raise AlreadyRecorded("")
        _order(row, "open", today, person, wanted_on=today + timedelta(days=row["wanted_in_days"]))

    once(say, f"took an order of {row['customer']}", act)
