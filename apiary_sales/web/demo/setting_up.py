"""Set up the house: its people, places, sizes, prices and customers."""

from datetime import date, timedelta
from decimal import Decimal

from django.db import transaction

from apiary_sales.accounts.models import User
from apiary_sales.accounts.services import people
from apiary_sales.customers.models import Customer
from apiary_sales.customers.services import certificates, customers
from apiary_sales.pricing.services import channels, prices, service_list, taxes, weight_prices
from apiary_sales.web.demo import yearly_prices
from apiary_sales.web.demo.fixtures import Say, celsius, cents, grams, read
from inventory.bottling.models import PackagingPart
from inventory.bottling.services import parts, sizes
from inventory.bottling.services.products import PartUse
from inventory.physics import units
from inventory.shared.models import House
from inventory.shared.services import house as house_details
from inventory.stock.models import Place, ProductionSettings
from inventory.stock.services import places, production
from inventory.stock.services.places import Shape

# Rates and certificates hold from well before the first sale of the demo.
DAYS_IN_FORCE = 1300


class HouseIsNotTheDemo(Exception):
    """The database has a house of its own, which the demo must not touch."""


@transaction.atomic
def set_up(today: date, say: Say) -> None:
    """Make the invented house in an empty database; leave it alone where it is there.

    Raises `HouseIsNotTheDemo` when the database holds anything else.
    """
    house = read("house")
    if House.objects.filter(name=house["house"]["name"]).exists():
        say(f"  was there: {house['house']['name']}")
        return
    if House.objects.exists() or User.objects.exists() or Place.objects.exists():
        raise HouseIsNotTheDemo
    _set_up_house(house, today)
    say(f"  {house['house']['name']}: {len(house['people'])} people")
    _set_up_places(read("places"))
    say("  tanks, drums, storeroom, stand and van")
    sizes = read("sizes")
    _set_up_sizes(sizes, today)
    say(f"  {len(sizes['sizes'])} sizes, their parts and prices")
    buyers = read("customers")["customers"]
    for buyer in buyers:
        limit = buyer.pop("credit_limit", None)
        paper = buyer.pop("certificate", None)
        added = customers.add(**buyer, credit_limit_cents=None if limit is None else cents(limit))
        if paper is not None:
            certificates.accept(
                **paper,
                customer=added,
                valid_from=today - timedelta(days=DAYS_IN_FORCE),
                accepted_by=User.objects.get(role=User.Role.OWNER),
                key=f"demo:certificate:{paper['number']}",
            )
    say(f"  {len(buyers)} customers")


def _set_up_house(house: dict, today: date) -> None:
    details = house["house"]
    for name in ("drum_deposit", "drum_price"):
        details[f"{name}_cents"] = cents(details.pop(name))
    house_details.change(**details)
    production.change(
        labour_cents_per_hour=cents(house["production"]["labour_per_hour"]),
        honey_house_celsius=celsius(house["production"]["filling_fahrenheit"]),
        cost_method=ProductionSettings.CostMethod.FIRST_IN_FIRST_OUT,
    )
    for person in house["people"]:
        people.add(**person, password=house["sign_in"]["password"])
    for said in house["tax_categories"]:
        taxes.set_category(**said, valid_from=today - timedelta(days=DAYS_IN_FORCE))
    for rate in house["tax_rates"]:
        prices.set_tax_rate(
            name=rate["name"],
            goods=rate["goods"],
            jurisdiction=rate["jurisdiction"],
            percent=Decimal(rate["percent"]),
            valid_from=today - timedelta(days=DAYS_IN_FORCE),
        )


def _set_up_places(rows: dict) -> None:
    for tank in rows["tanks"]:
        code, name = tank.pop("code"), tank.pop("name")
        places.create(kind=Place.Kind.TANK, code=code, name=name, shape=Shape(**tank))
    drums = rows["drums"]
    places.create_drums(
        first_code=drums["first"],
        count=drums["count"],
        tare_grams=grams(drums["tare_lb"]),
        capacity_litres=units.litres_from(Decimal(drums["capacity_gal"]), "gal").quantize(
            Decimal("0.001")
        ),
    )
    for store in rows["stores"]:
        places.create(**store)


def _set_up_sizes(rows: dict, today: date) -> None:
    start = today - timedelta(days=DAYS_IN_FORCE)
    for part in rows["parts"]:
        parts.save(**part)
    usual = {each.code: each for each in sizes.standard_sizes()}
    for row in rows["sizes"]:
        standard = usual[row["code"]]
        used = [PartUse(_part(name)) for name in row.get("parts", [])]
        if case := row.get("case"):
            used.append(PartUse(_part(case), per_pieces=12))
        size = sizes.save(
            code=standard.code,
            name=str(standard.name),
            declared_amount=Decimal(standard.amount),
            declared_unit=standard.unit,
            brimful_ml=Decimal(standard.brimful_ml),
            tare_grams=standard.tare_grams,
            pieces_per_case=12 if case else standard.pieces_per_case,
            gtin=row.get("gtin", ""),
            low_stock_pieces=row["low"],
            parts=used,
        )
        for tier, price in row["prices"].items():
            for valid_from, piece_cents in yearly_prices.rising(price, today):
                prices.set_piece(
                    product=size.standard_product,
                    tier=Customer.Tier(tier),
                    piece_cents=piece_cents,
                    valid_from=valid_from,
                )
    for row in rows["bulk_prices"]:
        prices.set_bulk(
            price_per_pound=Decimal(row["price_per_pound"]),
            colour_class=row.get("colour_class", ""),
            moisture_percent_max=Decimal(row["moisture_percent_max"]),
            valid_from=start,
        )
    for row in rows["weight_prices"]:
        weight_prices.set_price(
            tier=Customer.Tier(row["tier"]),
            price_per_pound=Decimal(row["price_per_pound"]),
            valid_from=start,
        )
    usual_prices = {row["code"]: Decimal(row["price"]) for row in rows["services"]}
    for service in service_list.add_usual():
        service_list.change(
            service=service,
            name=service.name,
            unit=service.unit,
            usual_price=usual_prices.get(service.code),
            unit_cost=None,
            taxed_as=service.taxed_as,
            is_active=True,
        )
    for row in rows["channel_costs"]:
        channels.set_cost(
            channel=row["channel"],
            discount_percent=Decimal(row["discount_percent"]),
            card_percent=Decimal(row["card_percent"]),
            piece_cents=cents(row["piece"]),
            per_pound=Decimal(row["per_pound"]),
        )


def _part(name: str) -> PackagingPart:
    return PackagingPart.objects.get(name=name)
