"""Other goods through their pages, and goods by weight on the pages of every store."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.bottling.models import GoodsMade, GoodsReceipt, Product
from inventory.bottling.queries import goods as queries
from inventory.stock.models import Balance, Place, Posting
from tests import builders
from tests.inventory.pages import books_unchanged, errors, said, signed_in, text

pytestmark = pytest.mark.django_db


@pytest.fixture
def shelf():
    return builders.place("shelf", Place.Kind.SHELF, name="Shelf")


@pytest.fixture
def wax(shelf):
    """Ten kilograms of wax on the shelf, for 100.00."""
    wax = builders.goods("Wax", is_weighed=True)
    builders.goods_lot(wax, shelf, 10_000, cost_cents=10_000, maker_lot="W-1")
    return wax


@pytest.fixture
def bottler():
    return signed_in("bottling")


def post(client, name: str, data: dict, *args):
    return client.post(reverse(f"inventory:{name}", args=args), {"key": builders.new_key()} | data)


def there(product) -> Balance:
    return Balance.objects.get(item=product.item, is_physical=True)


def test_goods_are_set_up_by_weight_and_are_low_below_a_weight(bottler):
    response = post(
        bottler,
        "goods_create",
        {
            "name": "Wax",
            "counted_in": "weight",
            "low_stock": "20",
            "low_stock_unit": "lb",
            "is_active": "on",
        },
    )

    product = Product.objects.get(code="wax")
    # 20 lb × 453.59237 g
    assert (product.item.is_weighed, product.low_stock_pieces) == (True, 9_072)
    assert said(response) == ["Added Wax."]
    assert "Low when less than 20.00 lb is free." in text(bottler.get(response.url))


def test_a_low_mark_in_the_wrong_unit_is_refused_at_its_field(bottler):
    response = post(
        bottler, "goods_create", {"name": "Book", "counted_in": "pieces", "low_stock": "2 lb"}
    )

    assert errors(response) == {"low_stock": ["Choose “pieces” as the unit."]}
    assert not Product.objects.exists()


def test_goods_are_changed_and_put_out_of_use(bottler, wax):
    url = reverse("inventory:goods_edit", args=["wax"])
    assert 'value="weight"' in bottler.get(url).text

    response = post(bottler, "goods_edit", {"name": "Block wax", "counted_in": "weight"}, "wax")

    wax.refresh_from_db()
    assert (wax.name, wax.code, wax.is_active) == ("Block wax", "wax", False)
    assert said(response) == ["Saved Block wax."]


def test_goods_are_received_by_the_pound(bottler, wax, shelf):
    response = post(
        bottler,
        "goods_receive",
        {
            "product": wax.pk,
            "quantity": "5 lb 8 oz",
            "quantity_unit": "pieces",
            "cost": "38.50",
            "supplier": "Valley Wax Works",
            "maker_lot": "W-2",
            "place": shelf.pk,
            "received_on": builders.today().isoformat(),
        },
    )

    # 5.5 lb × 453.59237 g = 2,494.76 g
    assert GoodsReceipt.objects.get(lot__code="W-2").quantity == 2_495
    assert said(response) == ["Received 5.50 lb of Wax for $38.50, lot W-2."]


@pytest.mark.parametrize(
    ("quantity", "unit", "message"),
    [
        ("5", "pieces", "Wax is kept by weight. Choose a unit of weight."),
        ("0", "lb", "Enter a weight of more than zero."),
        ("1.5", "pieces", "Enter a whole number of pieces, or choose a unit of weight."),
    ],
)
def test_wax_is_not_received_in_pieces(bottler, wax, shelf, quantity, unit, message):
    with books_unchanged():
        response = post(
            bottler,
            "goods_receive",
            {
                "product": wax.pk,
                "quantity": quantity,
                "quantity_unit": unit,
                "cost": "1",
                "place": shelf.pk,
                "received_on": builders.today().isoformat(),
            },
        )

    assert errors(response) == {"quantity": [message]}


def make_form(product, shelf, *lines):
    form = {
        "product": product.pk,
        "quantity": "8",
        "quantity_unit": "pieces",
        "place": shelf.pk,
        "made_on": builders.today().isoformat(),
        "materials-TOTAL_FORMS": str(len(lines)),
        "materials-INITIAL_FORMS": "0",
    }
    for number, line in enumerate(lines):
        form |= {f"materials-{number}-{name}": value for name, value in line.items()}
    return form


def test_candles_are_made_of_wax(bottler, wax, shelf):
    candle = builders.goods("Candle")
    line = {
        "thing": f"goods-{wax.pk}",
        "quantity": "2",
        "quantity_unit": "kg",
        "lost": "50",
        "lost_unit": "g",
    }

    response = post(bottler, "goods_make", make_form(candle, shelf, {}, line))

    made = GoodsMade.objects.get()
    # 2 kg of 10 kg for 100.00
    assert (made.materials_cents, made.quantity) == (2_000, 8)
    assert said(response) == [f"Made 8 pieces of Candle, lot {made.lot.code}."]
    page = text(bottler.get(response.url))
    assert "4.41 lb Wax" in page
    lot_page = text(bottler.get(reverse("inventory:lot_detail", args=["W-1"])))
    assert f"{made.lot.code} Candle" in lot_page


def test_a_material_in_the_wrong_unit_or_half_filled_in_is_told(bottler, wax, shelf):
    candle = builders.goods("Candle")
    lines = [
        {"thing": f"goods-{wax.pk}", "quantity": "2"},
        {"thing": "", "quantity": "3"},
        {"thing": f"goods-{wax.pk}"},
    ]

    with books_unchanged():
        response = post(bottler, "goods_make", make_form(candle, shelf, *lines))

    assert [form.errors for form in response.context["form"].material_lines] == [
        {"quantity": ["Wax is kept by weight. Choose a unit of weight."]},
        {"thing": ["Choose what was used."]},
        {"quantity": ["Enter how much was used."]},
    ]


def test_pages_of_stores_show_and_take_wax_by_weight(bottler, wax, shelf):
    stand = builders.place("stand", Place.Kind.STAND, name="Stand")
    balance = there(wax)
    for name, args in (("stock_list", []), ("place_detail", ["shelf"]), ("goods_list", [])):
        # 10 kg are 22.05 lb
        assert "22.05 lb" in text(bottler.get(reverse(f"inventory:{name}", args=args)))
    move = bottler.get(reverse("inventory:stock_transfer"), {"stock": balance.pk})
    assert '<option value="lb" selected>' in move.text

    moved = post(
        bottler,
        "stock_transfer",
        {"stock": balance.pk, "target": "stand", "pieces": "3", "pieces_unit": "kg"},
    )
    spoiled = post(
        bottler,
        "stock_write_off",
        {"stock": balance.pk, "pieces": "500 g", "reason": "spoilage"},
    )
    counted = post(
        bottler,
        "stock_count",
        {
            "place": "shelf",
            "thing": f"lot-{balance.lot_id}",
            "counted": "6",
            "counted_unit": "kg",
            "reason": "Weighed",
        },
    )

    assert said(moved) == ["6.61 lb of Wax moved from Shelf to Stand."]
    assert said(spoiled)[-1:] == ["1.10 lb of Wax written off: spoilage."]
    assert said(counted)[-1:] == ["Wax, Shelf: the books now say 13.23 lb."]
    assert Balance.objects.get(item=wax.item, place=shelf).quantity == 6_000
    assert Balance.objects.get(item=wax.item, place=stand).quantity == 3_000


def test_jars_are_not_moved_by_weight(bottler, shelf):
    jars = builders.packed_lot(builders.product(), shelf, 12)
    builders.place("stand", Place.Kind.STAND)
    stock = Balance.objects.get(lot=jars, place=shelf).pk

    with books_unchanged():
        response = post(
            bottler, "stock_transfer", {"stock": stock, "target": "stand", "pieces": "2 lb"}
        )

    assert errors(response) == {
        "pieces": ["One pound is counted in pieces. Choose “pieces” as its unit."]
    }


def test_a_count_of_zero_needs_no_unit(bottler, wax):
    lot = there(wax).lot_id

    post(
        bottler,
        "stock_count",
        {"place": "shelf", "thing": f"lot-{lot}", "counted": "0", "reason": "Sold"},
    )

    assert there(wax).quantity == 0


def test_lots_of_goods_are_apart_from_lots_of_honey(bottler, wax):
    builders.lot_in(builders.place("tank"))

    page = bottler.get(reverse("inventory:lot_list"))

    assert [lot.kind for lot in page.context["page"]] == ["extraction"]
    lot_page = text(bottler.get(reverse("inventory:lot_detail", args=["W-1", "wax"])))
    assert "Moisture" not in lot_page
    assert "Cost of all $100.00" in lot_page


def test_entries_are_found_by_a_code_that_two_lots_bear(bottler, wax, shelf):
    builders.goods_lot(builders.goods("Candle"), shelf, maker_lot="W-1")
    url = reverse("inventory:posting_list")

    found = bottler.get(url, {"lot": "W-1"})

    assert len(found.context["rows"]) == 2
    assert "There is no lot with this code." in bottler.get(url, {"lot": "W-2"}).text


def test_a_delivery_is_undone_from_the_page_of_its_goods(bottler, wax):
    posting = Posting.objects.get(kind="goods_receipt")
    url = reverse("inventory:posting_reverse", args=[posting.pk])
    assert url in signed_in("owner").get(reverse("inventory:goods_detail", args=["wax"])).text

    signed_in("owner").post(url, {"key": "undo"})

    assert there(wax).quantity == 0
    page = text(bottler.get(reverse("inventory:goods_detail", args=["wax"])))
    assert "undone" in page
    assert "There are none in stock." in page


def test_only_those_who_manage_parts_bring_goods_in(wax):
    client = signed_in("stand")

    for name, args in (
        ("goods_create", []),
        ("goods_edit", ["wax"]),
        ("goods_receive", []),
        ("goods_make", []),
    ):
        assert client.get(reverse(f"inventory:{name}", args=args)).status_code == 403
    assert client.get(reverse("inventory:goods_list")).status_code == 200


def test_a_honey_has_no_page_among_other_goods(bottler):
    product = builders.product()

    response = bottler.get(reverse("inventory:goods_detail", args=[product.code]))

    assert response.status_code == 404


def test_goods_are_read_in_a_constant_number_of_queries(shelf):
    def ask() -> int:
        with CaptureQueriesContext(connection) as asked:
            assert all(row.stock.on_hand == 24 for row in queries.all_goods())
        return len(asked)

    builders.goods_lot(builders.goods("Book"), shelf)
    few = ask()
    for number in range(4):
        builders.goods_lot(builders.goods(f"Candle {number}"), shelf)

    assert ask() == few
