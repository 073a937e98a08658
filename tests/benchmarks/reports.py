"""What each report over all days takes, beside one aggregate over the same rows by hand in SQL.

Each is read as a page in a process of its own, which says how much memory it had at most; the
aggregate is asked in the same process, by turns. What a page shows of a report is the same for a
file and an answer of the API, which read no more rows at a time.
"""

from collections.abc import Iterator

from tests.benchmarks.visitor import visit

NAME = "reports"
# How many times as long as the aggregate a report may take, and how many megabytes of memory.
RATIO, MEMORY = 2, 300
ROUNDS = 2

SALES = """
    SELECT o.product_id, f.filled_on, sum(l.quantity - l.returned),
        sum(coalesce(l.billed_cents, l.amount_cents)), sum(l.cost_cents)
    FROM orders_fulfilmentline l
    JOIN orders_fulfilment f ON f.id = l.fulfilment_id
    JOIN orders_orderline o ON o.id = l.order_line_id
    GROUP BY o.product_id, f.filled_on"""
RUNS = """
    SELECT r.lot_id, sum(r.drawn_grams), sum(r.pieces_filled) FROM inventory_bottlingrun r
    GROUP BY r.lot_id"""
THERE = """
    SELECT b.item_id, b.lot_id, sum(b.quantity) FROM inventory_balance b
    WHERE b.quantity > 0 AND b.is_physical GROUP BY b.item_id, b.lot_id"""
GONE = """
    SELECT p.kind, l.item_id, l.lot_id, sum(l.quantity) FROM inventory_postingline l
    JOIN inventory_place p ON p.id = l.place_id
    JOIN inventory_posting o ON o.id = l.posting_id
    WHERE p.kind NOT IN ('tank', 'drum', 'shelf', 'stand', 'customer', 'supplier')
    GROUP BY p.kind, l.item_id, l.lot_id"""
MONEY = """
    SELECT l.account, e.entered_on, sum(l.amount_cents) FROM billing_entryline l
    JOIN billing_entry e ON e.id = l.entry_id GROUP BY l.account, e.entered_on"""
BOOKS = """
    SELECT l.account, e.entered_on, sum(l.amount_cents) FROM billing_entryline l
    JOIN billing_entry e ON e.id = l.entry_id GROUP BY l.account, e.entered_on
    UNION ALL
    SELECT p.kind, l.lot_id, sum(l.quantity) FROM inventory_postingline l
    JOIN inventory_place p ON p.id = l.place_id GROUP BY p.kind, l.lot_id"""
INVOICES = """
    SELECT e.entered_on, sum(i.net_cents), sum(i.tax_cents), sum(i.total_cents), sum(i.open_cents)
    FROM billing_invoice i JOIN billing_entry e ON e.invoice_id = i.id GROUP BY e.entered_on"""
PAYMENTS = """
    SELECT e.entered_on, sum(p.amount_cents)
    FROM billing_payment p JOIN billing_entry e ON e.payment_id = p.id GROUP BY e.entered_on"""
TAXES = """
    SELECT l.invoice_id, t.name, t.percent, sum(t.base_cents), sum(t.tax_cents)
    FROM billing_invoicelinetax t JOIN billing_invoiceline l ON l.id = t.line_id
    GROUP BY l.invoice_id, t.name, t.percent"""
HONEY = """
    SELECT l.lot_id, p.kind, sum(l.quantity) FROM inventory_postingline l
    JOIN inventory_place p ON p.id = l.place_id WHERE l.lot_id IS NOT NULL
    GROUP BY l.lot_id, p.kind"""
# The reports by their short names, with the aggregate that each is held against.
AGGREGATES = {
    "margin-by-size": SALES,
    "margin-by-product": SALES,
    "bulk-against-retail": SALES,
    "sales-by-size": SALES,
    "sales-by-product": SALES,
    "sales-by-variety": SALES,
    "sales-by-channel": SALES,
    "sales-by-customer": SALES,
    "sales-by-month": SALES,
    "year-on-year": SALES,
    "sales-by-season": SALES,
    "season-against-season": SALES,
    "sale-lines": SALES,
    "margin-after-selling-by-customer": SALES,
    "margin-after-selling-by-channel": SALES,
    "overfill": RUNS,
    "yield-by-run": RUNS,
    "stock-value": THERE,
    "slow-stock": THERE,
    "gone-by-reason": GONE,
    "money-by-month": MONEY,
    "money-in-and-out": MONEY,
    "money-to-come-by-month": MONEY,
    "money-to-come": MONEY,
    "trial-balance": BOOKS,
    "journal": BOOKS,
    "invoices": INVOICES,
    "payments": PAYMENTS,
    "tax-by-document": TAXES,
}
ALL_DAYS = "?since=&until="


def addresses() -> dict[str, tuple[str, str]]:
    """Return the address of each report over all days by its name, and its aggregate."""
    found = {slug: (f"/reports/{slug}/{ALL_DAYS}", sql) for slug, sql in AGGREGATES.items()}
    return found | {"flow of honey": ("/honey/flow/", HONEY)}


def rows(url: str) -> Iterator[tuple[str, str, float, float, bool]]:
    """Yield what each report of a house takes in time and in memory, and what it may take."""
    for name, (address, sql) in addresses().items():
        best = [float("inf"), float("inf")]
        with visit(url) as house:
            for _round in range(ROUNDS):
                made = house.read("owner", address)
                best = [min(best[0], house.ask(act="total", sql=sql)), min(best[1], made.ms)]
            memory = house.ask(act="memory")
        ratio = round(best[1] / best[0], 2)
        against = f"{best[0]:.0f} ms → {best[1]:.0f} ms"
        held = made.status == 200 and ratio <= RATIO
        yield f"reports: {name}", against, ratio, RATIO, held
        yield f"reports: memory of {name}", "MB at most", memory, MEMORY, memory <= MEMORY
