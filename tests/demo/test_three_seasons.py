"""Every report of the demo's three seasons is what its stored rows come to, to the cent and gram.

The figures expected are worked out by pandas in `raw_rows.py`, from the tables as they are stored.
"""

from datetime import timedelta
from fractions import Fraction

import pandas as pd
import pytest

from apiary_sales.reports.frames import bottling, cash, sales, selling_cost, stock
from apiary_sales.reports.frames.bottling import RunFilters
from apiary_sales.reports.frames.cash import CashFilters
from apiary_sales.reports.frames.sales import SalesFilters
from apiary_sales.reports.frames.stock import GoneFilters, StockFilters
from tests.demo import raw_rows

# What a frame calls it, and what it is called here.
MEASURES = {
    "pieces": "pieces",
    "grams": "grams",
    "amount_cents": "amount",
    "no_cost_cents": "no_cost",
    "cost_cents": "cost",
    "margin_cents": "margin",
}


@pytest.fixture(scope="module")
def sold(loaded, django_db_blocker):
    with django_db_blocker.unblock():
        return raw_rows.sales()


def of_frame(frame, *keys, measures=MEASURES):
    """Return the sums of a frame by its keys as plain numbers; unknown figures add nothing."""
    return {
        tuple(row[key] for key in keys): tuple(
            0 if pd.isna(row[name]) else int(row[name]) for name in measures
        )
        for row in frame.to_dict("records")
        if any(not pd.isna(row[name]) and row[name] for name in measures)
    }


def expected(rows, *keys, measures=MEASURES):
    sums = rows.groupby(list(keys), dropna=False)[list(measures.values())].sum()
    return {
        key if isinstance(key, tuple) else (key,): tuple(int(figure) for figure in figures)
        for key, figures in zip(sums.index, sums.itertuples(index=False), strict=True)
        if any(figures)
    }


def honey_of(rows):
    return rows[rows["goods"].isin(["packed", "bulk"])]


def test_sales_by_product_size_and_channel(sold):
    in_all = SalesFilters(goods=sales.ALL)
    named = sold.assign(
        product=sold["product"].where(sold["goods"] != "bulk").fillna(""),
        size=sold["size"].where(sold["goods"] == "packed").fillna(""),
    )

    by_product = of_frame(sales.by_product(in_all), "goods", "product_key")
    by_size = of_frame(sales.by_size(in_all), "goods", "size_key")

    assert by_product == expected(named, "goods", "product")
    assert by_size == expected(named, "goods", "size")
    assert of_frame(sales.by_channel(in_all), "channel") == expected(sold, "channel")


def test_sales_by_customer_and_month(sold):
    names = sold.assign(customer=sold["name"].fillna("Buyers at the stand"))

    by_customer = of_frame(sales.by_customer(SalesFilters(goods=sales.ALL)), "customer")
    by_month = of_frame(sales.by_month(SalesFilters()), "month")

    assert by_customer == expected(names, "customer")
    assert by_month == expected(honey_of(sold), "month")
    assert len(by_month) >= 27


def test_bulk_against_retail(sold):
    rows = honey_of(sold)
    ways = rows.assign(channel=rows["channel"].where(rows["goods"] == "packed", ""))

    found = of_frame(sales.bulk_against_retail(SalesFilters()), "goods", "channel")

    assert found == expected(ways, "goods", "channel")


def test_sales_by_season_through_blends(sold):
    shares, exact = raw_rows.season_shares(), {}
    for row in honey_of(sold).itertuples():
        for season, share in shares[row.lot_id].items():
            sums = exact.setdefault(season, [Fraction(0)] * 3)
            for at, figure in enumerate((row.amount, row.known, row.cost)):
                sums[at] += figure * share

    found = sales.by_season(SalesFilters()).set_index("season")

    assert sorted(found.index) == sorted(exact)
    for season, (amount, known, cost) in exact.items():
        row = found.loc[season]
        # Whole cents of each lot go to one season or the other, at most one each way.
        lots = honey_of(sold)["lot_id"].nunique()
        assert abs(int(row["amount_cents"]) - amount) <= lots
        assert abs(int(row["known_cents"]) - known) <= lots
        assert abs(int(row["cost_cents"]) - cost) <= lots
    assert int(found["amount_cents"].sum()) == honey_of(sold)["amount"].sum()
    assert int(found["cost_cents"].sum()) == honey_of(sold)["cost"].sum()


def test_pieces_and_honey_sold_are_what_the_ledger_sent_to_customers(sold):
    lines = raw_rows.ledger()
    lines = lines[(lines["place_kind"] == "customer") & (lines["item_kind"] != "part")]
    products = raw_rows.products().set_index("item_id")["product"]
    sent = lines.assign(product=lines["item_id"].map(products).fillna("honey"))

    by_product = sent.groupby("product")["quantity"].sum()

    stocked = sold[sold["kind"].isin(["packed", "honey", "weighed"])]
    counted = stocked.assign(product=stocked["product"].fillna("honey"))
    assert by_product.to_dict() == counted.groupby("product")["quantity"].sum().to_dict()


def test_what_runs_drew_gave_away_and_lost(loaded):
    rows = raw_rows.table(
        "inventory_bottlingrun",
        "number",
        "status",
        "product_id",
        "pieces_filled",
        "pieces_broken",
        "drawn_grams",
        "loss_grams",
        "labour_minutes",
    ).merge(raw_rows.products(), on="product_id")
    rows = rows[rows["status"] == "recorded"]
    rows["labelled"] = [raw_rows.half_even(r.label * r.pieces_filled) for r in rows.itertuples()]
    rows["lost_with"] = [raw_rows.half_even(r.label * r.pieces_broken) for r in rows.itertuples()]
    rows["over"] = rows["drawn_grams"] - rows["loss_grams"] - rows["labelled"] - rows["lost_with"]
    measures = {
        "filled": "pieces_filled",
        "broken": "pieces_broken",
        "drawn_grams": "drawn_grams",
        "label_grams": "labelled",
        "over_grams": "over",
        "loss_grams": "loss_grams",
        "minutes": "labour_minutes",
    }

    by_run = of_frame(bottling.runs(RunFilters()), "run", measures=measures)
    by_product = of_frame(bottling.overfill(RunFilters()), "product_key", measures=measures)

    assert by_run == expected(rows, "number", measures=measures)
    assert by_product == expected(rows, "product", measures=measures)
    assert len(by_run) >= 60


def lots():
    found = raw_rows.table("inventory_lot", "id", "code", "made_on", "quantity_made", "cost_cents")
    return found.set_index("id")


def is_here(lines):
    return lines[lines["place_kind"].isin(raw_rows.HERE)]


def quantity_of(frame):
    return frame["pieces"].fillna(frame["grams"]).fillna(frame["goods_grams"]).astype(int)


def test_what_stock_is_worth(loaded):
    lines, facts = is_here(raw_rows.ledger()), lots()
    there = lines.groupby(["item_kind", "item_id", "lot_id", "place_id"], dropna=False)["quantity"]
    worth, unknown, count = 0, set(), {}
    for (kind, item, lot, _place), quantity in there.sum().items():
        if not quantity:
            continue
        if kind != "part":
            made, cost = facts.loc[lot, ["quantity_made", "cost_cents"]]
            if pd.isna(cost):
                unknown.add((item, lot))
            else:
                worth += raw_rows.half_even(Fraction(int(cost), int(made)) * quantity)
        key = item if kind == "part" else lot
        count[kind, key] = count.get((kind, key), 0) + quantity
    worth += sum(raw_rows.part_values().values())

    found = stock.value(StockFilters())

    assert sorted(quantity_of(found)) == sorted(count.values())
    assert int(found["value_cents"].sum()) == worth
    assert int(found["value_cents"].isna().sum()) == len(unknown)


@pytest.mark.parametrize("days_ago", [940, 700, 430, 200, 75, 1])
def test_stock_of_a_past_day(loaded, days_ago):
    on = loaded.today - timedelta(days=days_ago)
    lines = is_here(raw_rows.ledger())
    lines = lines[lines["day"] <= on]
    sums = lines.groupby(["item_id", "lot_id"], dropna=False)["quantity"].sum()

    found = stock.value(StockFilters(on=on))

    assert sorted(quantity_of(found)) == sorted(sums[sums != 0])


def test_what_does_not_move(loaded):
    uses = ("sale", "bottling", "labelling", "emptying", "boxing", "goods_made")
    lines, facts = is_here(raw_rows.ledger()), lots()
    there = lines[lines["lot_id"].notna()].groupby("lot_id")["quantity"].sum()
    used = lines[(lines["quantity"] < 0) & lines["posting_kind"].isin(uses)]
    last = used.groupby("lot_id")["day"].max().to_dict()
    idle = []
    for lot in there[there > 0].index:
        begun = last.get(lot) or raw_rows.day_of(facts.loc[lot, "made_on"])
        if (days := (loaded.today - begun).days) >= stock.DAYS:
            idle.append((facts.loc[lot, "code"], days))

    found = stock.slow(StockFilters())

    assert sorted(zip(found["key"], found["idle_days"], strict=True)) == sorted(idle)
    assert idle


def test_what_was_written_off(loaded):
    reasons = [str(reason) for reason in stock.REASONS]
    lines = raw_rows.ledger()
    lines = lines[lines["place_kind"].isin(reasons)]
    sums = lines.groupby(["place_kind", "item_id", "lot_id"], dropna=False)["quantity"].sum()
    gone = sorted((kind, quantity) for (kind, _i, _l), quantity in sums.items() if quantity)

    found = stock.gone(GoneFilters())

    assert sorted(zip(found["reason"], quantity_of(found), strict=True)) == gone
    assert {"broken", "sampled", "own_use", "count_difference"} <= {kind for kind, _q in gone}


def test_money_by_month(loaded):
    """What there is, by the book; what came in and went out, by the documents."""
    entries = raw_rows.table("billing_entry", "id", "entered_on")
    lines = raw_rows.table("billing_entryline", "entry_id", "account", "amount_cents")
    lines = lines.merge(entries.rename(columns={"id": "entry_id"}), on="entry_id")
    lines["month"] = lines["entered_on"].map(lambda day: f"{raw_rows.day_of(day):%Y-%m}")
    kept = lines[lines["account"].isin(["cash", "check", "card", "transfer"])]
    moved = kept.groupby("month")["amount_cents"].sum()

    def documents(name, day, cents):
        rows = raw_rows.table(name, day, cents)
        return rows.groupby(rows[day].map(lambda on: f"{raw_rows.day_of(on):%Y-%m}"))[cents].sum()

    bills = documents("billing_supplierpayment", "paid_on", "amount_cents")
    received = documents("billing_payment", "received_on", "amount_cents")
    spent = documents("billing_expense", "spent_on", "amount_cents")

    found = cash.by_month(CashFilters()).set_index("month")

    there = 0
    for month, row in found.iterrows():
        there += int(moved.get(month, 0))
        assert int(row["net_cents"] + row["other_cents"]) == moved.get(month, 0), month
        assert int(row["there_cents"]) == there, month
        assert int(row["bills_paid_cents"]) == bills.get(month, 0), month
        assert int(row["received_cents"]) == received.get(month, 0), month
        assert int(row["spent_cents"]) == spent.get(month, 0), month


def test_what_remains_after_selling(sold):
    """The typed rates of today, taken of each sale whose cost is known."""
    costs = raw_rows.table(
        "pricing_channelcost", "channel", "card_percent", "piece_cents", "per_pound"
    )
    by_channel = {row.channel: row for row in costs.itertuples()}
    rows = sold.assign(
        customer=sold["name"].fillna("Buyers at the stand"),
        way=sold["channel"],
    )
    is_distributor = (rows["tier"] == "distributor") & rows["channel"].isin(["shop", "delivery"])
    rows.loc[is_distributor, "way"] = "distributor"
    taken = []
    for row in rows.itertuples():
        rate = by_channel.get(row.way)
        is_known = row.known or row.cost
        if rate is None or not is_known or row.kind not in ("packed", "honey", "weighed"):
            taken.append(0)
            continue
        weight = row.label * row.quantity if row.goods == "packed" else Fraction(row.grams)
        pieces = row.quantity if row.kind == "packed" else 0
        card = Fraction(row.amount, 100) * Fraction(str(rate.card_percent))
        handling = pieces * rate.piece_cents
        handling += Fraction(str(rate.per_pound)) * 100 * weight / raw_rows.POUND
        taken.append(raw_rows.half_even(card) + raw_rows.half_even(handling))
    rows["typed"] = taken

    found = selling_cost.by_customer(SalesFilters())

    given = {
        row["customer"]: int(row["card_cents"]) + int(row["handling_cents"])
        for row in found.to_dict("records")
    }
    wanted = rows.groupby("customer")["typed"].sum().to_dict()
    assert {name: cents for name, cents in given.items() if cents} == {
        name: cents for name, cents in wanted.items() if cents
    }
    markets = raw_rows.table("billing_expense", "amount_cents", "category", "payee")
    fees = markets[markets["payee"] == "Millbrook Square"]["amount_cents"].sum()
    assert int(found["market_cents"].sum()) == fees
    for row in found.to_dict("records"):
        if not pd.isna(row["remains_cents"]):
            mine = rows[rows["customer"] == row["customer"]]
            recorded = sum(int(row[name]) for name in selling_cost.RECORDED)
            left = mine["known"].sum() - mine["cost"].sum() - mine["typed"].sum() - recorded
            assert int(row["remains_cents"]) == left, row["customer"]
