"""What the seasons need that the story has not: a tank, drums, suppliers and comb."""

from datetime import date
from decimal import Decimal

from apiary_sales.pricing.services import prices
from apiary_sales.web.demo import more_products
from apiary_sales.web.demo.fixtures import Say, cents, grams, read
from inventory.bottling.models import Product, Size
from inventory.bottling.services import products
from inventory.physics import units
from inventory.stock.models import Place
from inventory.stock.services import places, suppliers
from inventory.stock.services.places import Shape


def set_up(today: date, say: Say) -> None:
    """Add what is not there yet."""
    rows = read("seasons")
    tank = dict(rows["tank"])
    code, name = tank.pop("code"), tank.pop("name")
    if Place.objects.filter(code=code).exists():
        return
    places.create(kind=Place.Kind.TANK, code=code, name=name, shape=Shape(**tank))
    drums, usual = rows["drums"], read("places")["drums"]
    places.create_drums(
        first_code=drums["first"],
        count=drums["count"],
        tare_grams=grams(usual["tare_lb"]),
        capacity_litres=units.litres_from(Decimal(usual["capacity_gal"]), "gal").quantize(
            Decimal("0.001")
        ),
    )
    for supplier in read("seasons_money")["suppliers"]:
        suppliers.add(**supplier)
    row = rows["comb_product"]
    comb = products.save_honey(
        size=Size.objects.get(code=row["size"]),
        form=Product.Form.COMB,
        code=row["code"],
        name=row["name"],
    )
    more_products.set_prices(comb, row, today)
    for row in read("seasons_money")["prices_to_come"]:
        for tier, price in row["prices"].items():
            prices.set_piece(
                product=Product.objects.get(code=row["product"]),
                tier=tier,
                piece_cents=cents(price),
                valid_from=date(today.year + 1, 1, 1),
            )
    say(f"  {name}, {drums['count']} drums and comb")
