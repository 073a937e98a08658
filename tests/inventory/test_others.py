"""Honey of other beekeepers: here, and never the house's until it is bought."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from apiary_sales.billing.queries import house_today
from apiary_sales.billing.queries import stand as stand_queries
from apiary_sales.customers.services import customers
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.queries import drums as drum_queries
from apiary_sales.orders.queries import stock as stock_queries
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import quotes
from apiary_sales.planning.queries import books as plan_books
from apiary_sales.pricing.queries import costs as cost_queries
from apiary_sales.pricing.queries import seasons
from apiary_sales.reports.frames import bottling as bottling_frames
from apiary_sales.reports.frames import stock as stock_frames
from inventory.bottling.queries import packed_stock
from inventory.bottling.services import reversals
from inventory.shared.errors import BadValue, HouseError, NotAllowedNow, NotEnoughStock
from inventory.shared.services import house as house_details
from inventory.stock.models import Balance, Item, Lot, Place, Posting, PostingLine, Supplier
from inventory.stock.queries import books, honey, origin, owners
from inventory.stock.services import drums, others, stores
from inventory.stock.services import honey as honey_acts
from inventory.stock.services.arrivals import VesselReceived
from tests import builders
from tests.inventory import bottling_room, pages

pytestmark = pytest.mark.django_db


@pytest.fixture
def hanna():
    return builders.supplier("Hanna Birch", Supplier.Kind.BEEKEEPER)


def bring(owner: Supplier, place: Place, grams: int = 200_000, **changes) -> Lot:
    told = {
        "kind": Lot.Kind.EXTRACTION,
        "floral_source": "Linden",
        "season": 2026,
        "received_on": date(2026, 8, 10),
        "moisture_percent": Decimal("17.2"),
        "recorded_by": builders.person(),
        "key": builders.new_key(),
    }
    vessels = [VesselReceived(place, net_grams=grams)]
    return others.receive(owner=owner, vessels=vessels, **(told | changes))


def act(service, **told):
    return service(recorded_by=builders.person(), key=builders.new_key(), **told)


def test_honey_extracted_for_a_beekeeper_is_theirs_and_no_harvest(hanna):
    lot = bring(hanna, builders.place("tank"))

    assert (lot.code, lot.kind, lot.owner) == ("26-K01", "extraction", hanna)
    assert Posting.objects.get().kind == "owner_receipt"
    assert list(Lot.objects.extracted_in(2026)) == []
    assert (seasons.years(), seasons.season(2026).grams) == ([], 0)
    assert list(books.faults()) == []


def test_only_a_beekeeper_owns_honey_here():
    producer = builders.supplier("Olmo Honey")

    with pytest.raises(BadValue) as refused, pages.books_unchanged():
        bring(producer, builders.place("tank"))

    assert refused.value.parameter == "owner"
    assert refused.value.message == (
        "Olmo Honey is not a beekeeper. Change the kind of this supplier first."
    )


OURS_WITH_THEIRS = (
    "Honey of Hanna Birch can't be mixed with your own. Choose another vessel, or buy the honey "
    "of Hanna Birch first."
)


def test_ours_and_theirs_are_not_mixed_either_way_or_as_they_come_in(hanna):
    theirs, ours = builders.place("tank-1"), builders.place("tank-2")
    drum = builders.place("drum", Place.Kind.DRUM, tare_grams=18_000)
    bring(hanna, theirs)
    builders.lot_in(ours)

    for attempt, parameter in (
        (lambda: act(honey_acts.transfer, source=ours, target=theirs, grams=1_000), "target"),
        (lambda: act(honey_acts.transfer, source=theirs, target=ours, grams=1_000), "target"),
        (
            lambda: act(honey_acts.blend, sources=[(theirs, 1_000), (ours, 1_000)], target=drum),
            "target",
        ),
        (lambda: bring(hanna, ours), "vessels.0.place"),
        (lambda: builders.lot_in(theirs), "place"),
        (lambda: builders.bought_lot(theirs), "vessels.0.place"),
        (
            lambda: honey_acts.preview_transfer(source=ours, target=theirs, grams=1_000),
            "target",
        ),
    ):
        with pytest.raises(NotAllowedNow) as refused, pages.books_unchanged():
            attempt()
        assert (refused.value.message, refused.value.parameter) == (OURS_WITH_THEIRS, parameter)


def test_honey_of_two_beekeepers_is_not_mixed(hanna):
    other = builders.supplier("Ivo Reed", Supplier.Kind.BEEKEEPER)
    tank = builders.place("tank")
    bring(hanna, tank)

    with pytest.raises(NotAllowedNow) as refused:
        bring(other, tank)

    assert "can't be mixed with that of another beekeeper." in refused.value.message


def test_a_blend_of_one_owners_lots_keeps_the_owner(hanna):
    tank = builders.place("tank")
    bring(hanna, tank, 100_000)
    bring(hanna, tank, 50_000, kind=Lot.Kind.STORED)

    blend = Balance.objects.in_vessel(tank).lot
    assert (blend.kind, blend.owner, blend.quantity_made) == ("blend", hanna, 150_000)


def test_what_is_theirs_is_neither_used_nor_given_away(hanna):
    tank = builders.place("tank")
    bring(hanna, tank)

    with pytest.raises(NotAllowedNow) as refused:
        act(honey_acts.write_off, place=tank, grams=100, reason="gift")

    assert refused.value.message == (
        "Lot 26-K01 belongs to Hanna Birch, so it can't be used or given away. Hand it back, or "
        "buy it first."
    )
    act(honey_acts.write_off, place=tank, grams=100, reason="spoilage")


def test_honey_goes_back_to_its_owner_by_weight_and_ours_does_not(hanna):
    theirs, ours = builders.place("tank-1"), builders.place("tank-2")
    bring(hanna, theirs, 200_000)
    builders.lot_in(ours)

    back = act(others.hand_back, place=theirs, grams=150_000)

    assert back.kind == "owner_return"
    assert Balance.objects.in_vessel(theirs).quantity == 50_000
    with pytest.raises(NotAllowedNow) as refused:
        act(others.hand_back, place=ours, grams=None)
    assert refused.value.message == (
        "Lot 26-E01 is your own and belongs to no other beekeeper. Choose another."
    )
    reversals.reverse(posting=back, recorded_by=builders.person(), key="undone")
    assert Balance.objects.in_vessel(theirs).quantity == 200_000


def test_nothing_goes_back_before_the_day_it_came(hanna):
    tank = builders.place("tank")
    bring(hanna, tank, received_on=date(2026, 8, 10))

    with pytest.raises(BadValue) as refused, pages.books_unchanged():
        act(others.hand_back, place=tank, grams=None, handed_on=date(2026, 8, 9))

    assert refused.value.parameter == "handed_on"
    assert refused.value.message == (
        "Lot 26-K01 is in the books from Aug 10, 2026. Choose that day or a later one."
    )
    act(others.hand_back, place=tank, grams=None, handed_on=date(2026, 8, 10))


def test_all_of_a_vessel_is_bought_where_it_is(hanna):
    # 200 kg are 440.924524 lb; at $2.00 that is $881.85.
    tank = builders.place("tank")
    theirs = bring(hanna, tank, 200_000, country="US", supplier_lot="HB-3")

    bought = act(others.buy, place=tank, grams=None, price_per_pound=Decimal("2.00"))

    assert (bought.kind, bought.owner, bought.supplier) == ("bought", None, hanna)
    assert (bought.cost_cents, bought.supplier_lot) == (88_185, "HB-3")
    assert Balance.objects.in_vessel(tank).lot == bought
    row = honey.PostingRow.of(honey.postings(kind="purchase").get())
    assert [movement.quantity for movement in row.movements] == [200_000]
    assert [row.lot for row in bought.origins()] == [theirs]
    assert honey.in_hand().total.grams == 200_000
    assert list(Lot.objects.extracted_in(2026)) == []
    assert list(books.faults()) == []
    # Now it may be mixed with ours.
    builders.lot_in(tank, 1_000)


def test_a_part_is_bought_into_another_vessel_and_the_rest_stays_theirs(hanna):
    tank, drum = builders.place("tank"), builders.place("drum", Place.Kind.DRUM)
    bring(hanna, tank, 200_000)

    with pytest.raises(BadValue) as refused, pages.books_unchanged():
        act(others.buy, place=tank, grams=50_000, cost_cents=10_000)
    assert refused.value.parameter == "target"

    made = act(others.buy, place=tank, grams=50_000, target=drum, cost_cents=10_000)
    assert Balance.objects.in_vessel(drum).lot == made
    left = Balance.objects.in_vessel(tank)
    assert (left.quantity, left.lot.owner) == (150_000, hanna)
    posting = Posting.objects.get(kind="purchase")
    reversals.reverse(posting=posting, recorded_by=builders.person(), key="undone")
    assert Balance.objects.in_vessel(tank).quantity == 200_000
    assert Balance.objects.in_vessel(drum) is None


def test_a_purchase_from_an_owner_has_a_price(hanna):
    tank = builders.place("tank")
    bring(hanna, tank)

    with pytest.raises(BadValue) as refused:
        act(others.buy, place=tank, grams=None)

    assert refused.value.message == "Enter what you pay for it, or the price of a pound."


def test_their_honey_is_of_an_unknown_country_unless_it_is_told(hanna):
    house = house_details.change(name="Hillside", origin_country="US")
    tank = builders.place("tank")

    theirs = bring(hanna, tank)

    assert [row.country for row in origin.by_country(theirs, house)] == [""]


@pytest.fixture
def mixed_house(hanna):
    """Ours and theirs side by side: in tanks, in drums, and in jars packed by one run each."""
    room = bottling_room.set_up(200_000)
    bottling_room.recorded(room)
    tank = builders.place("tank-9", name="Their tank")
    bring(hanna, tank, 300_000)
    bottling_room.record(bottling_room.plan(room, source=tank))
    bottling_room.plan(room, source=tank, pieces=24)
    for number, source, grams in ((1, room.tank, 50_000), (2, tank, 60_000)):
        drum = builders.place(f"d-{number}", Place.Kind.DRUM, tare_grams=18_000)
        act(drums.fill, tank=source, drum=drum, gross_grams=18_000 + grams)
    room.owner = hanna
    return room


def test_no_reading_of_our_stock_counts_what_is_theirs(mixed_house):
    """Ours: 200 kg less the 45 kg of a run, of which 50 kg in a drum; 96 jars.

    Theirs: 300 kg less 45 kg, of which 60 kg in a drum; 96 jars, and 24 planned.
    """
    room, today = mixed_house, timezone.localdate()
    theirs = set(Lot.objects.exclude(owner=None))
    assert {lot.kind for lot in theirs} == {"extraction", "packed"}

    in_hand = honey.in_hand()
    assert (in_hand.total.grams, in_hand.in_tanks.grams) == (155_000, 105_000)
    assert (in_hand.in_drums.grams, in_hand.in_drums.count) == (50_000, 1)
    assert sum(vessel.grams for vessel in in_hand.others) == 255_000
    assert {vessel.state for vessel in in_hand.drums} == {"full", "others"}

    assert [row.on_hand for row in packed_stock.sizes()] == [96]
    for_sale = stock_queries.of(room.product)
    assert (for_sale.stock.free, for_sale.coming) == (96, 0)
    assert stand_queries.pieces_at(room.shelf)[room.product.item_id][0] == 96
    assert [row.drum.code for row in drum_queries.free_drums(today)] == ["d-1"]
    assert {lot for lot, _grams in cost_queries.honey_in_hand()}.isdisjoint(theirs)

    plan = plan_books.read(today, months=3)
    assert sorted(row.place.code for row in plan.vessels) == ["d-1", "tank-1"]

    value = stock_frames.value(stock_frames.StockFilters())
    on_a_day = stock_frames.value(stock_frames.StockFilters(on=today))
    codes = {lot.code for lot in theirs}
    assert codes.isdisjoint(value["key"])
    assert codes.isdisjoint(on_a_day["key"])
    slow = stock_frames.slow(stock_frames.StockFilters(days=0))
    assert codes.isdisjoint(slow["key"])
    runs = bottling_frames.runs(bottling_frames.RunFilters())
    assert codes.isdisjoint(runs["packed_lot"])
    # 45 kg of our honey at 50 cents a kilogram, jars, lids and cases, whatever theirs cost.
    ours = Lot.objects.get(kind="packed", owner=None)
    averages = PostingLine.objects.average_costs([room.product.item_id])
    assert averages[room.product.item_id].unit_cost_cents == ours.unit_cost_cents

    glance = house_today.today(builders.person())
    assert (glance.in_hand.total.grams, [jar.pieces for jar in glance.jars]) == (155_000, [96])

    client = pages.signed_in("owner")
    in_stock = client.get(reverse("api:balance-list"), {"page_size": 100}).json()["results"]
    assert {row["owner"] for row in in_stock if row["lot"] in codes} == {"Hanna Birch"}
    assert {row["free"] for row in in_stock if row["lot"] in codes} == {0}
    packed = next(lot for lot in theirs if lot.kind == "packed")
    lot = client.get(reverse("api:lot-detail", args=[packed.code])).json()
    assert (lot["owner"], lot["supplier"], lot["country"]) == ("Hanna Birch", None, "")
    overview = pages.text(client.get(reverse("inventory:honey")))
    assert "Of other beekeepers, not yours 562.2 lb" in overview
    others_page = pages.text(client.get(reverse("inventory:others")))
    assert "Hanna Birch Bulk honey" in others_page
    assert "belongs to Hanna Birch" in pages.text(client.get(reverse("inventory:stock_list")))


def test_what_is_theirs_is_not_sold_or_reserved(mixed_house):
    room = mixed_house
    item = room.product.item

    with pytest.raises(NotEnoughStock) as refused:
        stores.pick(item=item, places=[room.shelf], pieces=97)
    assert refused.value.figures["there"] == 96

    drum = Place.objects.get(code="d-2")
    line = LineWanted(
        kind=OrderLine.Kind.HONEY, quantity=60_000, unit_price=Decimal("2.15"), drum=drum
    )
    with pytest.raises(HouseError) as refused:
        quotes.quote(
            customer=builders.customer(),
            lines=[line],
            valid_until=timezone.localdate() + timedelta(days=7),
            created_by=builders.person(),
            key=builders.new_key(),
        )
    assert str(refused.value.message).endswith(
        "belongs to Hanna Birch and can't be sold. Choose another."
    )


def test_their_jars_go_back_by_the_piece(mixed_house):
    room = mixed_house
    balance = Balance.objects.get(item=room.product.item, place=room.shelf, lot__owner=room.owner)
    client = pages.signed_in()

    answer = client.post(
        reverse("inventory:others_hand_back_jars"),
        {
            "key": "back",
            "stock": balance.pk,
            "pieces": "90",
            "handed_on": timezone.localdate().isoformat(),
        },
    )

    assert answer.status_code == 302
    assert pages.said(answer) == ["90 pieces of One pound handed back to Hanna Birch."]
    balance.refresh_from_db()
    assert balance.quantity == 6


def test_a_statement_adds_up_to_what_is_here(mixed_house):
    """300 kg came; a run drew 45 kg: 0.5 kg lost, 2 broken of 453.59 g each = 907 g, 43,593 g
    packed. 96 jars, of which 10 went back; 55 kg handed back, 100 kg bought.
    """
    owner, today = mixed_house.owner, timezone.localdate()
    tank = Place.objects.get(code="tank-9")
    tote = builders.place("tote", Place.Kind.TOTE)
    jars = Balance.objects.get(item__kind="packed", lot__owner=owner, is_physical=True)
    act(others.hand_back, place=tank, grams=55_000)
    act(others.buy, place=tank, grams=100_000, target=tote, cost_cents=20_000)
    act(others.hand_back_jars, item=jars.item, lot=jars.lot, place=jars.place, pieces=10)
    undone = act(others.hand_back, place=tank, grams=1_000)
    reversals.reverse(posting=undone, recorded_by=builders.person(), key="undone")

    made = owners.statement(owner, date(2026, 1, 1), today)

    in_bulk, packed = made.sums
    assert in_bulk.changes == {
        "came": 300_000,
        "packed": -43_593,
        "lost": -1_407,
        "counted": 0,
        "handed_back": -55_000,
        "bought": -100_000,
    }
    assert (packed.changes["packed"], packed.changes["handed_back"]) == (96, -10)
    assert (in_bulk.closing, packed.closing) == (100_000, 86)
    here = {Item.Kind.HONEY: 0, Item.Kind.PACKED: 0}
    for balance in owners.here(owner):
        here[balance.item.kind] += balance.quantity
    assert here == {Item.Kind.HONEY: in_bulk.closing, Item.Kind.PACKED: packed.closing}
    # From the day after it came: what came before is where the statement starts.
    later = owners.statement(owner, date(2026, 8, 11), today)
    assert (later.sums[0].opening, later.sums[0].changes["came"]) == (300_000, 0)
    assert later.sums[0].closing == in_bulk.closing


def test_the_statement_is_a_page_a_paper_and_a_table(mixed_house):
    owner = mixed_house.owner
    customers.add(name="Birch Farm", supplier=owner)
    client = pages.signed_in("office")
    asked = {"since": "2026-08-01", "until": "2026-08-31"}

    page = client.get(reverse("inventory:owner_statement", args=[owner.pk]), asked)
    paper = client.get(reverse("inventory:owner_statement_pdf", args=[owner.pk]), asked)
    table = client.get(reverse("inventory:owner_statement_csv", args=[owner.pk]), asked)

    assert "Bill the work to this customer" in pages.text(page)
    assert paper.content[:5] == b"%PDF-"
    assert table.content.decode("utf-8-sig").splitlines() == [
        "Day,What,Lot,Item,Quantity,Unit",
        "2026-08-10,came in,26-K01,Bulk honey,300000,g",
        "2026-08-31,here at the end,,Bulk honey,300000,g",
    ]


def test_the_statement_and_the_list_ask_a_constant_number_of_questions(
    hanna, django_assert_num_queries
):
    for number in range(5):
        bring(hanna, builders.place(f"tote-{number}", Place.Kind.TOTE))

    with django_assert_num_queries(1):
        owners.statement(hanna, date(2026, 1, 1), timezone.localdate())
    with django_assert_num_queries(1):
        assert len({row.lot.owner.name for row in owners.all_here()}) == 1


def test_a_lot_that_changed_hands_without_a_purchase_is_a_fault(hanna):
    tank = builders.place("tank")
    bring(hanna, tank)
    bring(hanna, tank)
    blend = Balance.objects.in_vessel(tank).lot
    assert list(books.faults()) == []

    Lot.objects.filter(pk=blend.pk).update(owner=None)

    assert list(books.faults()) == [
        "Lot 26-B01 was made of lot 26-K01, which belongs to somebody else.",
        "Lot 26-B01 was made of lot 26-K02, which belongs to somebody else.",
    ]


def test_a_beekeeper_is_one_customer(hanna):
    customers.add(name="Birch Farm", supplier=hanna)

    with pytest.raises(BadValue) as refused:
        customers.add(name="Hanna", supplier=hanna)

    assert refused.value.message == "Hanna Birch is the customer Birch Farm already."


def test_the_pages_receive_hand_back_and_buy(hanna):
    builders.place("tank", name="Tank")
    client = pages.signed_in()
    facts = {"floral_source": "Linden", "season": "2026", "received_on": "2026-08-10"}

    received = client.post(
        reverse("inventory:others_receive"),
        {
            **facts,
            "key": "in",
            "owner": hanna.pk,
            "kind": "stored",
            "moisture": "17.2",
            "place_1": "tank",
            "net_1": "200",
            "net_1_unit": "kg",
        },
    )
    lot = Lot.objects.get()
    assert received.url == reverse("inventory:lot_detail", args=[lot.code])
    assert "This honey belongs to Hanna Birch." in pages.text(client.get(received.url))

    back = {"key": "back", "place": "tank", "weight": "50", "weight_unit": "kg"}
    client.post(reverse("inventory:others_hand_back"), {**back, "handed_on": "2026-08-12"})
    bought = client.post(
        reverse("inventory:others_buy"),
        {
            "key": "buy",
            "place": "tank",
            "everything": "on",
            "cost": "400",
            "bought_on": "2026-08-13",
        },
    )

    made = Lot.objects.get(kind="bought")
    assert bought.url == reverse("inventory:lot_detail", args=[made.code])
    assert (made.quantity_made, made.cost_cents) == (150_000, 40_000)
    empty = pages.text(client.get(reverse("inventory:others_buy")))
    assert "No vessel has honey of another beekeeper." in empty
