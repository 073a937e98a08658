"""What a house did once, done many times: long books in a few seconds, all of it copied in SQL."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.apps import apps
from django.core.management.color import no_style
from django.db import connection
from django.db.models import CharField, ForeignKey, Max, Model, Sum

from apiary_sales.billing.models import EntryLine
from apiary_sales.customers.models import CustomerBalance
from apiary_sales.keeping import triggers
from inventory.stock.models import Balance, PostingLine

# Of the rows of these, what came within the block is copied, in this order.
COPIED = (
    "inventory.Posting",
    "inventory.PostingLine",
    "orders.Order",
    "orders.OrderLine",
    "orders.OrderEvent",
    "orders.Fulfilment",
    "orders.FulfilmentLine",
    "billing.Invoice",
    "billing.InvoiceLine",
    "billing.InvoiceLineTax",
    "billing.Payment",
    "billing.Allocation",
    "billing.StandSale",
    "billing.Entry",
    "billing.EntryLine",
)


@contextmanager
def many_times(times: int) -> Iterator[None]:
    """Let what happens within the block have happened so many times, with all its rows.

    Stock and what customers owe are as after all of it; nobody may reserve anything meanwhile.
    """
    models = [apps.get_model(label) for label in COPIED]
    before = {model: _last(model) for model in models}
    yield
    added = {model: _last(model) - before[model] for model in models}
    with triggers.lifted(), connection.cursor() as cursor:
        for model in models:
            if added[model]:
                cursor.execute(_copy(model, before, added, times))
        for statement in connection.ops.sequence_reset_sql(no_style(), models):
            cursor.execute(statement)
    _add_up()


def _last(model: type[Model]) -> int:
    return model._base_manager.aggregate(last=Max("pk"))["last"] or 0


def _copy(
    model: type[Model], before: dict[type[Model], int], added: dict[type[Model], int], times: int
) -> str:
    table, quote = model._meta.db_table, connection.ops.quote_name
    names, values = [], []
    for field in model._meta.concrete_fields:
        column = value = quote(field.column)
        target = field.remote_field.model if isinstance(field, ForeignKey) else None
        if field.primary_key:
            value = f"{column} + n * {added[model]}"
        elif target in added:
            old = f"{column} <= {before[target]}"
            value = f"CASE WHEN {old} THEN {column} ELSE {column} + n * {added[target]} END"
        elif field.unique and isinstance(field, CharField):
            value = f"{column} || '-' || n"
        elif (model._meta.label, field.name) == ("billing.Invoice", "number"):
            of_series = f"SELECT COUNT(*) FROM {table} o WHERE o.series = {table}.series"
            value = f"{column} + n * ({of_series} AND o.id > {before[model]})"
        names.append(column)
        values.append(value)
    return (
        f"WITH RECURSIVE numbers(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM numbers "
        f"WHERE n < {times - 1}) INSERT INTO {table} ({', '.join(names)}) "
        f"SELECT {', '.join(values)} FROM numbers, {table} WHERE id > {before[model]} "
        "ORDER BY n, id"
    )


def _add_up() -> None:
    """Let the balances be what the lines add up to."""
    for item, place, lot, total in (
        PostingLine.objects.order_by()
        .values_list("item", "place", "lot")
        .annotate(total=Sum("quantity"))
    ):
        Balance.objects.filter(item=item, place=place, lot=lot).update(quantity=total)
    for customer, cents in (
        EntryLine.objects.filter(account="receivable", customer__isnull=False)
        .order_by()
        .values_list("customer")
        .annotate(cents=Sum("amount_cents"))
    ):
        CustomerBalance.objects.filter(customer=customer).update(owed_cents=cents)
