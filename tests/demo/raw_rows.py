"""The tables of the demo as they are stored, and what follows from their rows alone.

Nothing here calls the frames of the reports, their queries or the models: rows are read as they
are, joined and added up by pandas. A pound is the exact one of NIST Handbook 44, appendix C.
"""

from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction
from zoneinfo import ZoneInfo

import pandas as pd
from django.db import connection

POUND = Fraction("453.59237")
UNITS = {"lb": POUND, "oz": POUND / 16, "g": Fraction(1), "kg": Fraction(1000)}
HERE = ("tank", "drum", "shelf", "stand", "van")
HOUSE_TIME = ZoneInfo("America/Chicago")


def table(name: str, *columns: str) -> pd.DataFrame:
    """Return these columns of a table as they are stored."""
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {', '.join(columns)} FROM {name} ORDER BY id")
        return pd.DataFrame(cursor.fetchall(), columns=list(columns), dtype=object)


def day_of(value: object) -> date:
    """Return the day of a moment where the house is; a day as it is."""
    if isinstance(value, str):
        value = pd.Timestamp(value).to_pydatetime()
    if not hasattr(value, "hour"):
        return value
    if value.tzinfo is None:
        value = value.replace(tzinfo=ZoneInfo("UTC"))
    return value.astimezone(HOUSE_TIME).date()


def half_even(number: Fraction) -> int:
    exact = Decimal(number.numerator) / Decimal(number.denominator)
    return int(exact.quantize(Decimal(1), ROUND_HALF_EVEN))


def products() -> pd.DataFrame:
    """Return the products with the grams that their label declares; 0 for what is no honey."""
    found = table("inventory_product", "id", "kind", "code", "size_id", "item_id")
    sizes = table("inventory_size", "id", "code", "declared_amount", "declared_unit")
    sizes["label"] = [
        Fraction(str(row.declared_amount)) * UNITS[row.declared_unit] for row in sizes.itertuples()
    ]
    joined = found.merge(
        sizes[["id", "code", "label"]].rename(columns={"id": "size_id", "code": "size"}),
        on="size_id",
        how="left",
    )
    return joined.rename(columns={"id": "product_id", "kind": "what", "code": "product"})


def sales() -> pd.DataFrame:
    """Return what was handed over, less what came back, at what was billed less what was credited.

    Deposits are no sales. The cost is what was recorded, less that of what can be sold again.
    """
    lines = table(
        "orders_fulfilmentline",
        "id",
        "quantity",
        "cost_cents",
        "fulfilment_id",
        "lot_id",
        "order_line_id",
    )
    for name, columns in (
        ("orders_orderline", ("id", "kind", "product_id", "order_id")),
        ("orders_fulfilment", ("id", "is_taken_back", "filled_on")),
        ("orders_order", ("id", "channel", "customer_id")),
        ("customers_customer", ("id", "name", "tier")),
        ("inventory_lot", ("id", "season")),
    ):
        key = {
            "orders_orderline": "order_line_id",
            "orders_fulfilment": "fulfilment_id",
            "orders_order": "order_id",
            "customers_customer": "customer_id",
            "inventory_lot": "lot_id",
        }[name]
        lines = lines.merge(table(name, *columns).rename(columns={"id": key}), on=key, how="left")
    lines = lines.merge(products(), on="product_id", how="left")
    lines = lines[~lines["is_taken_back"].astype(bool) & (lines["kind"] != "drum_deposit")]

    billed = table("billing_invoiceline", "fulfilment_line_id", "amount_cents")
    amounts = billed.groupby("fulfilment_line_id")["amount_cents"].sum()
    lines["amount"] = lines["id"].map(amounts).fillna(0).astype(int)
    back = table("orders_goodsreturn", "fulfilment_line_id", "quantity", "is_fit", "cost_cents")
    returned = back.groupby("fulfilment_line_id")["quantity"].sum()
    lines["quantity"] = lines["quantity"] - lines["id"].map(returned).fillna(0).astype(int)
    fit = back[back["is_fit"].astype(bool)].groupby("fulfilment_line_id")["cost_cents"].sum()
    lines["cost"] = lines["cost_cents"] - lines["id"].map(fit).fillna(0)
    # What drums and freight cost nobody recorded.
    is_known = lines["cost"].notna() & lines["kind"].isin(["packed", "honey", "weighed"])
    lines["known"] = lines["amount"].where(is_known, 0)
    lines["no_cost"] = lines["amount"] - lines["known"]
    lines["cost"] = lines["cost"].where(is_known, 0).fillna(0).astype(int)
    lines["margin"] = lines["known"] - lines["cost"]

    is_jar = (lines["kind"] == "packed") & (lines["what"] == "honey")
    is_bulk = lines["kind"] == "honey"
    lines["goods"] = "charges"
    lines.loc[lines["kind"].isin(["packed", "weighed"]), "goods"] = "goods"
    lines.loc[is_jar, "goods"] = "packed"
    lines.loc[is_bulk, "goods"] = "bulk"
    lines["pieces"] = lines["quantity"].where(is_jar, 0).astype(int)
    lines["grams"] = [
        half_even(row.label * row.quantity)
        if row.goods == "packed"
        else row.quantity
        if row.goods == "bulk"
        else 0
        for row in lines.itertuples()
    ]
    days = lines["filled_on"].map(day_of)
    lines["month"] = days.map(lambda day: f"{day:%Y-%m}")
    return lines


def season_shares() -> dict[int, dict[int, Fraction]]:
    """Return of which seasons the honey in each lot is, down to the lots that came in."""
    own = table("inventory_lot", "id", "season").set_index("id")["season"].to_dict()
    parents: dict[int, list[tuple[int, int]]] = {}
    for row in table("inventory_lotparent", "lot_id", "parent_id", "grams").itertuples():
        if row.grams:
            parents.setdefault(row.lot_id, []).append((row.parent_id, row.grams))

    def shares(lot: int) -> dict[int, Fraction]:
        if lot not in parents:
            return {own[lot]: Fraction(1)}
        whole = sum(grams for _parent, grams in parents[lot])
        found: dict[int, Fraction] = {}
        for parent, grams in parents[lot]:
            for season, share in shares(parent).items():
                found[season] = found.get(season, Fraction(0)) + share * Fraction(grams, whole)
        return found

    return {lot: shares(lot) for lot in own}


def ledger() -> pd.DataFrame:
    """Return the lines of all postings with their place, their item and the day they were on."""
    lines = table(
        "inventory_postingline", "id", "posting_id", "item_id", "lot_id", "place_id", "quantity"
    )
    for name, key, columns in (
        ("inventory_posting", "posting_id", ("id", "kind", "occurred_at", "reverses_id")),
        ("inventory_place", "place_id", ("id", "kind", "code")),
        ("inventory_item", "item_id", ("id", "kind", "is_weighed")),
    ):
        stem = key.removesuffix("_id")
        renamed = {"id": key, "kind": f"{stem}_kind", "code": f"{stem}_code"}
        lines = lines.merge(table(name, *columns).rename(columns=renamed), on=key)
    lines["day"] = lines["occurred_at"].map(day_of)
    return lines


def part_values() -> dict[str, int]:
    """Return what there is of each part at the moving average, in whole cents, by its code.

    Common practice, from memory: what is taken costs the average of what is there, what comes in
    is added to it; movements count in the order in which they were written down. All that was taken
    since more came in last is rounded to the cent together.
    """
    codes = table("inventory_packagingpart", "id", "code", "item_id").set_index("item_id")["code"]
    paid = table("inventory_partreceipt", "posting_id", "cost_cents").set_index("posting_id")
    lines = ledger()
    lines = lines[lines["item_id"].isin(codes.index) & lines["place_kind"].isin(HERE)]
    moved = lines.groupby(["posting_id", "item_id"])["quantity"].sum().sort_index()
    worth = {}
    for item, code in codes.items():
        there = whole = cents = 0
        for posting, quantity in moved.xs(item, level="item_id").items():
            if posting in paid.index:
                cents -= half_even(Fraction(cents * (whole - there), whole)) if whole else 0
                cents += int(paid.loc[posting, "cost_cents"])
                whole = there = there + int(quantity)
            else:
                there += int(quantity)
        worth[code] = cents - half_even(Fraction(cents * (whole - there), whole))
    return worth
