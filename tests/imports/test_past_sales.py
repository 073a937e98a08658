"""Past sales are figures: plans and reports count them once complete, and no day twice."""

from datetime import date, timedelta

import pytest

from apiary_sales.billing.models import Entry
from apiary_sales.imports.models import Import, PastSale
from apiary_sales.imports.services import bringing_in, undoing
from apiary_sales.orders.models import Order
from apiary_sales.planning.queries import past_sales as planned_from
from apiary_sales.reports.frames import sales
from apiary_sales.reports.frames.sales import SalesFilters
from inventory.shared.services.long_work import Stopped
from inventory.stock.models import Posting
from tests import builders
from tests.imports.lists import told, uploaded

pytestmark = pytest.mark.django_db

HEAD = ["Date", "Product", "Pieces", "Weight", "Amount", "Channel", "Customer"]


def year_ago(days: int = 0) -> str:
    return (builders.today() - timedelta(days=360 - days)).isoformat()


def checked(*rows: list[str]) -> Import:
    begun = uploaded("past-sales", [HEAD, *rows])
    assert told(begun) == {}
    return begun


def brought_in(begun: Import, **fields) -> Import:
    return bringing_in.bring_in(begun=begun, brought_in_by=builders.person(), **fields)


def sold_cents() -> int:
    return int(sales.lines(SalesFilters())["amount_cents"].sum())


def test_they_are_counted_by_plan_and_reports_and_marked_without_any_posting():
    jar = builders.product("One pound")
    shop = builders.customer("Corner Grocery", tier="shop")
    begun = checked(
        [year_ago(), "One pound", "24", "", "228.00", "", ""],
        [year_ago(), "One pound", "12", "", "90.00", "shop", "Corner Grocery"],
        [year_ago(1), "", "", "100 kg", "600.00", "", ""],
    )
    assert sold_cents() == 0

    made = brought_in(begun)

    frame = sales.lines(SalesFilters())
    assert frame["amount_cents"].tolist() == [9_000, 22_800, 60_000]
    assert frame["brought_in_cents"].sum() == frame["no_cost_cents"].sum() == 91_800
    assert frame["channel"].tolist() == ["shop", "stand", "bulk"]
    assert int(frame["grams"].sum()) == 100_000 + 10_886 + 5_443
    assert sales.lines(SalesFilters(customer=str(shop.pk)))["pieces"].tolist() == [12]
    history = planned_from.history(on=builders.today(), months=1)
    assert history.of(jar.pk, "stand").pieces == (24,)
    assert history.of(jar.pk, "shop").pieces == (12,)
    assert history.brought_in_pieces == 36
    assert not Posting.objects.exists()
    assert not Entry.objects.exists()

    undoing.undo(brought_in=made, undone_by=builders.person(), reason="No", key="undo")

    assert sold_cents() == 0
    assert not PastSale.objects.exists()


def test_a_day_that_the_books_have_is_refused_and_never_counted_twice():
    builders.product("One pound")
    brought_in(checked([year_ago(), "One pound", "24", "", "228.00", "stand", ""]))
    first = builders.today() - timedelta(days=300)
    own = {"created_by": builders.person(), "status": Order.Status.OPEN}
    Order.objects.create(number="K1", channel="stand", placed_on=first, idempotency_key="K1", **own)

    late = uploaded(
        "past-sales",
        [
            HEAD,
            [first.isoformat(), "One pound", "1", "", "9.00", "stand", ""],
            [first.isoformat(), "One pound", "1", "", "9.00", "shop", ""],
            [(first - timedelta(days=1)).isoformat(), "One pound", "1", "", "9", "stand", ""],
        ],
    )

    assert list(told(late)) == [2]
    assert "so this day would be counted twice" in told(late)[2][0][1]
    assert sold_cents() == 22_800
    # An own sale that is entered late, for a day before those that were brought in.
    Order.objects.create(
        number="K2", channel="stand", placed_on=date(2020, 1, 1), idempotency_key="K2", **own
    )
    assert sold_cents() == 0


def test_one_that_is_stopped_takes_back_what_it_wrote():
    builders.product("One pound")
    begun = checked(
        [year_ago(), "One pound", "24", "", "228.00", "", ""],
        [year_ago(), "One pound", "12", "", "90.00", "", ""],
    )
    written = []

    def stop(done: int, total: int) -> None:
        written.append((PastSale.objects.count(), PastSale.objects.counting().count()))
        raise Stopped

    with pytest.raises(Stopped):
        brought_in(begun, report=stop)

    assert written == [(2, 0)]
    assert not PastSale.objects.exists()
    begun.refresh_from_db()
    assert begun.state == Import.State.CHECKED
    assert brought_in(begun).rows_made == 2


def test_what_each_row_lacks_is_said_at_its_column():
    builders.product("One pound")

    begun = uploaded(
        "past-sales",
        [
            HEAD,
            [year_ago(), "One pound", "", "3 lb", "9.00", "", ""],
            [year_ago(), "", "3", "", "9.00", "", ""],
            [year_ago(), "Two pound", "3", "", "9.00", "", "Nobody"],
        ],
    )

    assert {row: [column for column, _s in found] for row, found in told(begun).items()} == {
        2: ["pieces"],
        3: ["grams"],
        4: ["product", "customer"],
    }
