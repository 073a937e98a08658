"""What the invented house sells besides its own honey in three sizes."""

from datetime import date, timedelta
from decimal import Decimal

from apiary_sales.accounts.models import User
from apiary_sales.customers.models import Customer
from apiary_sales.pricing.services import prices, private_labels, weight_prices
from apiary_sales.web.demo import story, yearly_prices
from apiary_sales.web.demo.fixtures import Say, celsius, cents, grams, key, once, read
from apiary_sales.web.demo.setting_up import DAYS_IN_FORCE
from inventory.bottling.models import Brand, PackagingPart, Product, Size, Variety
from inventory.bottling.services import gift_boxes, goods, parts, products
from inventory.bottling.services.gift_boxes import BoxLine
from inventory.bottling.services.goods import Material
from inventory.bottling.services.products import PartUse
from inventory.stock.models import Measurement, Place
from inventory.stock.services import measurements, purchases
from inventory.stock.services.arrivals import VesselReceived


def tell(today: date, say: Say) -> None:
    """Do everything in `fixtures_demo/products.toml` that has not been done yet."""
    rows = read("products")
    people = {user.role: user for user in User.objects.all()}
    bottler = people[User.Role.BOTTLING]
    _bring_in_parts(rows["parts"], today, bottler, say)
    _buy_honey(rows["bought_honey"], today, bottler, say)
    _measure_again(rows["measured_again"], today, bottler, say)
    story.bottle(rows["runs"], today, bottler, say)
    story.stock_the_stand(rows["moves"], today, bottler, say)
    _make_goods(rows, today, bottler, say)
    _put_boxes_together(rows["gift_box"], today, bottler, say)


def tell_of_today(today: date, say: Say) -> None:
    """Sell some of it, today."""
    rows = read("products")
    people = {user.role: user for user in User.objects.all()}
    seller = people[User.Role.OFFICE]
    story.sell_at_the_stand(
        rows["stand_sale"], today, people[User.Role.STAND], say, name="more-stand-sale"
    )
    story.fill_and_invoice_an_order(rows["shop_order"], "more-shop", today, seller, say)


def set_up(today: date, say: Say) -> None:
    """Add varieties, goods and a gift box, if they are not there."""
    rows = read("products")
    if Variety.objects.exists():
        return
    for row in rows["varieties"]:
        products.save_variety(**row)
    for row in rows["brands"]:
        brand = products.save_brand(name=row["name"])
        customer = Customer.objects.get(name=row["customer"])
        private_labels.set_customer(brand=brand, customer=customer)
    for row in rows["parts"]:
        if not PackagingPart.objects.filter(name=row["name"]).exists():
            parts.save(name=row["name"], kind=row["kind"], reorder_point=row["reorder_point"])
    for row in rows["products"]:
        label = row.get("label")
        product = products.save_honey(
            size=Size.objects.get(code=row["size"]),
            variety=Variety.objects.filter(name=row.get("variety")).first(),
            brand=Brand.objects.filter(name=row.get("brand")).first(),
            code=row["code"],
            low_stock_pieces=row["low"],
            parts=[PartUse(PackagingPart.objects.get(name=label))] if label else None,
        )
        set_prices(product, row, today)
    for row in rows["goods"]:
        made = goods.save(
            name=row["name"],
            code=row["code"],
            is_weighed=row.get("by_weight", False),
            low_stock=row.get("low", 0),
        )
        set_prices(made, row, today)
    box = rows["gift_box"]
    contents = [
        BoxLine(Product.objects.get(code=code), count) for code, count in box["contents"].items()
    ]
    carton = PartUse(PackagingPart.objects.get(name=box["carton"]))
    set_prices(gift_boxes.save(name=box["name"], contents=contents, parts=[carton]), box, today)
    say("  buckwheat, goldenrod, a private label, wax, candles and a gift box")


def set_prices(product: Product, row: dict, today: date) -> None:
    start = today - timedelta(days=DAYS_IN_FORCE)
    for tier, price in row.get("prices", {}).items():
        for valid_from, piece_cents in yearly_prices.rising(price, today):
            prices.set_piece(
                product=product,
                tier=Customer.Tier(tier),
                piece_cents=piece_cents,
                valid_from=valid_from,
            )
    for tier, price in row.get("prices_per_pound", {}).items():
        weight_prices.set_price(
            product=product,
            tier=Customer.Tier(tier),
            price_per_pound=Decimal(price),
            valid_from=start,
        )


def _bring_in_parts(rows: list[dict], today: date, person: User, say: Say) -> None:
    for row in rows:
        part = PackagingPart.objects.get(name=row["name"])
        once(
            say,
            f"received {row['pieces']} × {part.name}",
            parts.receive,
            part=part,
            place=Place.objects.get(code="storeroom"),
            pieces=row["pieces"],
            cost_cents=cents(row["cost"]),
            supplier="",
            received_on=today - timedelta(days=row["days_ago"]),
            recorded_by=person,
            key=key(f"more-parts-{part.code}"),
        )


def _buy_honey(row: dict, today: date, person: User, say: Say) -> None:
    day = today - timedelta(days=row["days_ago"])
    drum = Place.objects.get(code=row["drum"])
    once(
        say,
        f"bought a drum of {row['floral_source']} from {row['supplier']}",
        purchases.receive,
        supplier=row["supplier"],
        supplier_lot=row["supplier_lot"],
        country=row["country"],
        region=row["region"],
        vessels=[VesselReceived(drum, gross_grams=grams(row["gross_pounds"]))],
        price_per_pound=Decimal(row["price_per_pound"]),
        floral_source=row["floral_source"],
        season=day.year,
        received_on=day,
        moisture_percent=Decimal(row["moisture_percent"]),
        colour_mm=Decimal(row["colour_mm"]),
        recorded_by=person,
        key=key("bought-honey"),
    )


def _measure_again(row: dict, today: date, person: User, say: Say) -> None:
    place = Place.objects.get(code=row["place"])
    once(
        say,
        f"measured the honey in the {place.name} again: {row['moisture_percent']} %",
        measurements.measure_again,
        place=place,
        measured_on=today - timedelta(days=row["days_ago"]),
        moisture_percent=Decimal(row["moisture_percent"]),
        colour_mm=Decimal(row["colour_mm"]),
        celsius=celsius(row["fahrenheit"]),
        moisture_method=Measurement.Method.REFRACTOMETER,
        colour_method=Measurement.Method.PHOTOMETER,
        note=row["note"],
        recorded_by=person,
        key=key("measured-again"),
    )


def _make_goods(rows: dict, today: date, person: User, say: Say) -> None:
    storeroom = Place.objects.get(code="storeroom")
    wax, candle = (Product.objects.get(code=row["code"]) for row in rows["goods"])
    gathered, made = rows["wax"], rows["candles"]
    once(
        say,
        f"gathered {gathered['pounds']} lb of {wax.name}",
        goods.make,
        product=wax,
        place=storeroom,
        quantity=grams(gathered["pounds"]),
        made_on=today - timedelta(days=gathered["days_ago"]),
        labour_minutes=gathered["minutes"],
        recorded_by=person,
        key=key("wax"),
    )
    day = today - timedelta(days=made["days_ago"])
    once(
        say,
        f"made {made['made']} × {candle.name}",
        goods.make,
        product=candle,
        place=storeroom,
        quantity=made["made"],
        materials=[Material(wax, grams(made["wax_pounds"]), lost=grams(made["lost_pounds"]))],
        made_on=day,
        labour_minutes=made["minutes"],
        recorded_by=person,
        key=key("candles"),
    )
    story.carry_to_the_stand(candle, made["to_the_stand"], day, person, say)


def _put_boxes_together(row: dict, today: date, person: User, say: Say) -> None:
    box = Product.objects.get(name=row["name"])
    day = today - timedelta(days=row["days_ago"])
    once(
        say,
        f"put {row['boxes']} × {box.name} together",
        gift_boxes.put_together,
        box=box,
        place=Place.objects.get(code="storeroom"),
        target=Place.objects.get(code="stand"),
        boxes=row["boxes"],
        labour_minutes=row["minutes"],
        changed_on=day,
        changed_by=person,
        key=key("gift-boxes"),
    )
