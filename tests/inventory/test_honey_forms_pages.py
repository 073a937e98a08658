"""The pages of creamed, chunk and comb honey."""

import pytest
from django.urls import reverse
from django.utils import timezone

from inventory.bottling.models import BottlingRun, CombCut, Product
from inventory.stock.models import Balance, Lot, Shortage
from tests import builders
from tests.inventory import bottling_room, forms_room

pytestmark = pytest.mark.django_db


@pytest.fixture
def room():
    return bottling_room.set_up()


@pytest.fixture
def bottler(client):
    client.force_login(builders.person("bottling"))
    return client


def at(name, *args):
    return reverse(f"inventory:{name}", args=args)


def plan_form(room, product, **changes) -> dict:
    return {
        "key": builders.new_key(),
        "product": product.pk,
        "source": room.tank.code,
        "target": room.shelf.pk,
        "pieces": "10",
        "planned_for": timezone.localdate().isoformat(),
        "celsius": "90",
        "celsius_unit": "F",
    } | changes


def record_form(room, **changes) -> dict:
    return {
        "key": builders.new_key(),
        "pieces_filled": "10",
        "drawn": "4500",
        "drawn_unit": "g",
        "target": room.shelf.pk,
        "bottled_on": timezone.localdate().isoformat(),
    } | changes


def test_the_fields_of_creamed_and_chunk_honey_are_only_where_the_house_has_them(bottler, room):
    plain = bottler.get(at("run_plan")).content.decode()
    forms_room.honey_of(room.size, Product.Form.CREAMED)

    page = bottler.get(at("run_plan")).content.decode()

    assert "Seed from" not in plain
    assert "Comb in one jar" not in plain
    assert "Seed from" in page
    assert "Comb in one jar" not in page


def test_creamed_honey_is_planned_and_recorded_through_its_pages(bottler, room):
    pail, seed = forms_room.seed_in()
    product = forms_room.honey_of(room.size, Product.Form.CREAMED)
    beside = {"seed_source": pail.code, "seed_percent": "10", "setting_place": "Cellar"}
    asked = plan_form(room, product, **beside)

    preview = bottler.get(at("run_plan_preview"), asked).content.decode()
    bottler.post(at("run_plan"), asked)
    run = BottlingRun.objects.get()
    record_page = bottler.get(at("run_record", run.number)).content.decode()
    bottler.post(
        at("run_record", run.number), record_form(room, seed_grams="450", seed_grams_unit="g")
    )

    assert "Seed from Seed pail" in preview
    assert "Ready from" in preview
    assert "Seed drawn" in record_page
    assert "Comb used" not in record_page
    run = BottlingRun.objects.get()
    assert run.creaming.seed_grams == 450
    page = bottler.get(at("run_detail", run.number)).content.decode()
    assert "is setting: ready from" in page
    assert seed.code in page
    assert "Cellar" in page


def test_an_odd_share_of_seed_is_confirmed_with_a_tick(bottler, room):
    pail, _seed = forms_room.seed_in(grams=100_000)
    product = forms_room.honey_of(room.size, Product.Form.CREAMED)
    asked = plan_form(room, product, seed_source=pail.code, seed_percent="40")

    refused = bottler.post(at("run_plan"), asked)
    bottler.post(at("run_plan"), asked | {"share_is_right": "on"})

    assert refused.status_code == 422
    assert "40 % of seed is unusual" in refused.content.decode()
    assert BottlingRun.objects.get().creaming.seed_percent == 40


def test_chunk_honey_is_planned_and_recorded_through_its_pages(bottler, room):
    lot = forms_room.comb_at(room.shelf, forms_room.comb_by_piece(), 24)
    product = forms_room.honey_of(room.size, Product.Form.CHUNK)
    comb = Balance.objects.get(lot=lot, place=room.shelf)
    each = {"comb": comb.pk, "comb_grams_each": "150", "comb_grams_each_unit": "g"}

    without = bottler.get(at("run_plan_preview"), plan_form(room, product)).content.decode()
    preview = bottler.get(at("run_plan_preview"), plan_form(room, product, **each)).content
    bottler.post(at("run_plan"), plan_form(room, product, **each))
    run = BottlingRun.objects.get()
    bottler.post(
        at("run_record", run.number),
        record_form(room, drawn="2800", comb_pieces="6"),
    )

    assert "Choose the comb that goes into the jars." in without
    assert f"Comb of lot {lot.code} from Shelf" in preview.decode()
    run = BottlingRun.objects.get()
    assert (run.comb.quantity, run.added_grams) == (6, 1_800)
    page = bottler.get(at("lot_detail", run.packed_lot.code, run.product.code)).content.decode()
    assert lot.code in page


def test_more_pieces_of_comb_than_the_books_have_is_said_before_and_to_be_settled(bottler, room):
    lot = forms_room.comb_at(room.shelf, forms_room.comb_by_piece(), 5)
    comb = Balance.objects.get(lot=lot, place=room.shelf)
    product = forms_room.honey_of(room.size, Product.Form.CHUNK)
    run = forms_room.plan(room, product, comb=comb, comb_grams_each=150)
    typed = record_form(room, drawn="2800", comb_pieces="6")

    preview = bottler.get(at("run_record_preview", run.number), typed).content.decode()
    answer = bottler.post(at("run_record", run.number), typed)

    assert "The run used 6 pieces, but the books have only 5 pieces in Shelf." in preview
    assert answer.status_code == 302
    [short] = Shortage.objects.open()
    assert (short.lot, short.place, short.quantity) == (lot, room.shelf, 1)


def receive_form(room, product, **changes) -> dict:
    return {
        "key": builders.new_key(),
        "product": product.pk,
        "place": room.shelf.pk,
        "floral_source": "Clover",
        "harvested_on": timezone.localdate().isoformat(),
        "season": str(timezone.localdate().year),
    } | changes


def test_comb_is_received_and_cut_through_its_pages(bottler, room):
    bulk, squares = forms_room.comb_by_weight(), forms_room.comb_by_piece()

    bottler.post(
        at("comb_receive"), receive_form(room, bulk, weight="5", weight_unit="kg", cost="100")
    )
    lot = Lot.objects.get(product=bulk)
    bottler.post(
        at("comb_cut"),
        {
            "key": builders.new_key(),
            "comb": Balance.objects.get(lot=lot, place=room.shelf).pk,
            "comb_grams": "4",
            "comb_grams_unit": "kg",
            "product": squares.pk,
            "pieces": "12",
            "target": room.shelf.pk,
            "loss": "200",
            "loss_unit": "g",
            "cut_on": timezone.localdate().isoformat(),
        },
    )

    assert (lot.quantity_made, lot.cost_cents) == (5_000, 10_000)
    made = CombCut.objects.get()
    assert made.packed_lot.quantity_made == 12
    page = bottler.get(at("lot_detail", lot.code, lot.what)).content.decode()
    assert "Straight from the bees: this lot is comb honey." in page
    assert "not measured" in page


@pytest.mark.parametrize(
    ("by_weight", "typed", "field", "sentence"),
    [
        (True, {"pieces": "5"}, "weight", "Enter the weight: this comb is counted by weight."),
        (False, {"weight": "5"}, "pieces", "Enter the pieces: this comb is counted by the piece."),
        (False, {"pieces": "0"}, "pieces", "Enter one piece or more."),
        (
            False,
            {"pieces": "5", "weight": "5"},
            "weight",
            "Leave this empty for the comb that you chose.",
        ),
    ],
)
def test_comb_is_asked_for_as_it_is_counted(bottler, room, by_weight, typed, field, sentence):
    product = forms_room.comb_by_weight() if by_weight else forms_room.comb_by_piece()

    answer = bottler.post(
        at("comb_receive"), receive_form(room, product, weight_unit="lb", **typed)
    )

    assert answer.status_code == 422
    assert sentence in answer.context["form"].errors[field]


def test_jars_are_let_out_before_their_day_on_a_page(bottler, room):
    run = forms_room.record(forms_room.creamed(room))
    lot = run.packed_lot

    answer = bottler.post(at("lot_ready", lot.code, lot.what), {"key": "k"}, follow=True)

    assert f"Lot {lot.code} is ready and can be sold." in answer.content.decode()
    assert "said by Bottling" in bottler.get(at("run_detail", run.number)).content.decode()


@pytest.mark.parametrize("name", ["comb_receive", "comb_cut"])
def test_only_who_may_opens_the_pages_of_comb(client, name):
    client.force_login(builders.person("stand"))

    assert client.get(at(name)).status_code == 403


def test_comb_that_is_to_be_cut_is_not_offered_for_sale(room):
    bulk, squares = forms_room.comb_by_weight(), forms_room.comb_by_piece()

    offered = set(Product.objects.for_sale())

    assert squares in offered
    assert bulk not in offered


def test_the_way_to_comb_honey_starts_with_a_product(bottler, room):
    way = at("product_create") + "?form=comb"
    for name in ("comb_receive", "comb_cut"):
        assert way in bottler.get(at(name)).content.decode()

    assert bottler.get(way).context["form"]["form"].value() == "comb"


@pytest.mark.parametrize(("counted", "is_weighed"), [("pieces", False), ("weight", True)])
def test_comb_is_set_up_by_the_piece_or_by_weight(bottler, room, counted, is_weighed):
    typed = {"key": builders.new_key(), "size": room.size.pk, "form": "comb", "counted": counted}
    no_parts = {"parts-TOTAL_FORMS": "0", "parts-INITIAL_FORMS": "0"}
    bottler.post(at("product_create"), typed | no_parts | {"low_stock_pieces": "0"})

    assert Product.objects.get(form="comb").item.is_weighed is is_weighed


def test_liquid_honey_by_weight_is_refused_at_its_field(bottler, room):
    typed = {"key": builders.new_key(), "size": room.size.pk, "form": "creamed"}
    no_parts = {"parts-TOTAL_FORMS": "0", "parts-INITIAL_FORMS": "0", "low_stock_pieces": "0"}
    answer = bottler.post(at("product_create"), typed | no_parts | {"counted": "weight"})

    assert answer.context["form"].errors["counted"] == ["Only comb honey is counted by weight."]


def test_comb_by_weight_is_shown_in_pounds_and_never_kept_apart_by_the_piece(bottler, room):
    lot = forms_room.comb_at(room.shelf, forms_room.comb_by_weight(), 5_000)

    products = bottler.get(at("product_list")).content.decode()
    jars = bottler.get(at("lot_jars", lot.code, lot.what)).content.decode()

    # 5 kg of 453.59237 g a pound.
    assert "11.0 lb" in products
    assert "11.0 lb free of 11.0 lb" in jars
    assert "They came back" not in jars
