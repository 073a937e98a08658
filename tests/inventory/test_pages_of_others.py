"""Pages that tell of honey of other beekeepers, and of bought honey, say what is so."""

import pytest
from django.urls import reverse

from inventory.bottling.services import reversals
from inventory.shared.errors import BadValue
from inventory.stock.models import Place, Posting
from inventory.stock.queries import honey
from inventory.stock.services import others, suppliers
from tests import builders
from tests.inventory import bottling_room, others_room, pages
from tests.inventory.others_room import act, bring, packed

pytestmark = pytest.mark.django_db


@pytest.fixture
def office():
    return pages.signed_in("office")


def of_lot(client, lot) -> str:
    return pages.text(client.get(reverse("inventory:lot_detail", args=[lot.code, lot.what])))


def test_a_customer_is_made_of_what_is_known_of_the_owner(office):
    hanna = others_room.hanna()
    suppliers.change(hanna, name="Hanna Birch", street="4 Ford Lane", city="Alder", country="US")

    form = office.get(reverse("customers:create"), {"supplier": hanna.pk}).context["form"]

    told = {name: form[name].value() for name in ("name", "phone", "email", "street", "city")}
    assert told == {
        "name": "Hanna Birch",
        "phone": "555 0142",
        "email": "hanna@birch.example",
        "street": "4 Ford Lane",
        "city": "Alder",
    }
    assert (form["country"].value(), form["supplier"].value()) == ("United States", hanna.pk)


def test_a_run_of_their_honey_costs_its_parts_and_labour(office):
    """98 jars at $0.60 and lids at $0.15 are $73.50; 8 cases at $0.90 are $7.20: $80.70."""
    _room, lot = packed(others_room.hanna())

    page = pages.text(office.get(reverse("inventory:run_detail", args=[lot.run.number])))

    assert "Honey not yours Parts $80.70" in page
    assert "Total without honey, which is theirs $80.70" in page
    assert "not known" not in page
    assert "Cost not yours" in of_lot(office, lot)


def test_what_is_bought_from_its_owner_moved_once(office):
    tank, drum = builders.place("tank", name="Tank"), builders.place("drum", Place.Kind.DRUM)
    theirs = bring(others_room.hanna(), tank)
    bought = act(others.buy, place=tank, grams=45_359, target=drum, cost_cents=10_000)
    posting = Posting.objects.get(kind="purchase")

    page = pages.text(office.get(reverse("inventory:posting_detail", args=[posting.pk])))
    undo = pages.text(office.get(reverse("inventory:posting_reverse", args=[posting.pk])))

    assert f"100.0 lb from Tank to drum lots {theirs.code}, {bought.code}" in page
    assert f"100.0 lb goes back from drum to Tank lots {theirs.code}, {bought.code}" in undo


def test_what_is_bought_where_it_stands_stays_there(office):
    tank = builders.place("tank", name="Tank")
    bring(others_room.hanna(), tank, 45_359)
    act(others.buy, place=tank, grams=None, cost_cents=10_000)
    posting = Posting.objects.get(kind="purchase")

    page = pages.text(office.get(reverse("inventory:posting_detail", args=[posting.pk])))

    assert "100.0 lb, which stays in Tank" in page


def test_a_purchase_that_was_undone_says_so(office):
    lot = builders.bought_lot(builders.place("tank"))
    kept = builders.lot_in(builders.place("tank-2"))
    undone = Posting.objects.get(kind="purchase")
    reversals.reverse(posting=undone, recorded_by=builders.person(), key="undone")

    row = pages.text(office.get(reverse("inventory:lot_list"), {"words": lot.code}))

    assert {each.code: each.is_undone for each in honey.lots()} == {
        lot.code: True,
        kept.code: False,
    }
    assert "all gone" not in row
    assert "Made – undone" in of_lot(office, lot)
    assert "none of it was ever here" not in of_lot(office, kept)


def test_a_beekeeper_with_honey_here_stays_in_use():
    hanna, tank = others_room.hanna(), builders.place("tank")
    bring(hanna, tank)

    with pytest.raises(BadValue) as refused:
        suppliers.change(hanna, name="Hanna Birch", is_active=False)

    assert refused.value.parameter == "is_active"
    assert refused.value.message == (
        "Honey of Hanna Birch is here, so they stay in use. Hand it back or buy it first; the "
        "statement says what there is."
    )
    act(others.hand_back, place=tank, grams=None)
    assert not suppliers.change(hanna, name="Hanna Birch", is_active=False).is_active


@pytest.mark.parametrize(
    ("role", "sees"), [("owner", True), ("office", True), ("bottling", True), ("stand", False)]
)
def test_who_sells_at_the_stand_does_not_see_what_honey_cost(role, sees):
    room = bottling_room.set_up(cost_cents=123_456)
    run = bottling_room.recorded(room)
    client = pages.signed_in(role)

    page = pages.text(client.get(reverse("inventory:run_detail", args=[run.number])))

    assert ("$1,234.56" in of_lot(client, room.lot)) == sees
    assert ("What it cost" in page) == sees


@pytest.mark.parametrize(
    ("grams", "typed", "told"),
    [
        # 45,359 g are 99.9995 lb, shown as 100.00; at $2.15 that is $215.00.
        (45_359, {"price_per_pound": "2.15"}, "What you pay 100.00 lb × $2.15 = $215.00"),
        # 200,000 g are 440.9245 lb; 440.92 × 2.00 would be a cent less than $881.85.
        (200_000, {"price_per_pound": "2"}, "What you pay 440.925 lb × $2.00 = $881.85"),
        (45_359, {"cost": "400"}, "What you pay $400.00"),
    ],
)
def test_the_preview_of_buying_shows_the_money(office, grams, typed, told):
    tank = builders.place("tank", name="Tank")
    bring(others_room.hanna(), tank, grams)
    asked = {"key": "k", "place": "tank", "everything": "on", "bought_on": "2026-09-01"}
    delivery = {
        "key": "k",
        "supplier": "Olmo Honey",
        "floral_source": "Rosemary",
        "season": "2026",
        "received_on": "2026-09-01",
        "moisture": "17",
        "place_1": builders.place("tank-2").code,
        "net_1": str(grams / 1000),
        "net_1_unit": "kg",
    }
    headers = {"HX-Request": "true"}

    from_owner = office.get(reverse("inventory:others_buy"), asked | typed, headers=headers)
    bought = office.get(reverse("inventory:purchase"), delivery | typed, headers=headers)

    assert told in pages.text(from_owner)
    assert told in pages.text(bought)


def test_pails_and_totes_have_their_figure_on_the_first_page():
    builders.lot_in(builders.place("tote", Place.Kind.TOTE), 45_359)

    page = pages.text(pages.signed_in("owner").get(reverse("web:today")))

    assert "In pails and totes 100 lb" in page
