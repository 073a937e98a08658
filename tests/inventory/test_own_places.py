"""Who sells at the stand acts at stands and vans alone, and counts there."""

import pytest
from django.urls import reverse

from inventory.shared.errors import BadValue, NotAllowedNow, SeveralProblems
from inventory.stock.models import Balance, CountSheet, Place, Posting, Shortage
from inventory.stock.services import count_sheets, honey, ledger, stores
from inventory.stock.services.count_sheets import CountedThing
from tests import builders
from tests.inventory.pages import books_unchanged, said, signed_in, text

pytestmark = pytest.mark.django_db

ELSEWHERE = "Shelf is not a stand or van. Ask the office to do this there."


@pytest.fixture
def shelf():
    return builders.place("shelf", Place.Kind.SHELF, name="Shelf")


@pytest.fixture
def stand():
    return builders.place("stand", Place.Kind.STAND, name="Stand")


@pytest.fixture
def van():
    return builders.place("van", Place.Kind.VAN, name="Van")


@pytest.fixture
def pounds():
    return builders.product("One pound")


@pytest.fixture
def on_shelf(pounds, shelf):
    return builders.packed_lot(pounds, shelf, 48, code="L26-1")


@pytest.fixture
def at_stand(pounds, stand):
    return builders.packed_lot(pounds, stand, 24, code="L26-2")


def by(role="stand"):
    return {"recorded_by": builders.person(role), "key": builders.new_key()}


def there(place, lot):
    balance = Balance.objects.filter(place=place, lot=lot).first()
    return balance.quantity if balance else 0


def at(name, *args):
    return reverse(f"inventory:{name}", args=args)


def write_off(lot, place, role="stand"):
    return stores.write_off(
        item=lot.product.item, lot=lot, place=place, pieces=1, reason="breakage", **by(role)
    )


def test_what_broke_is_written_off_at_stand_and_van_alone(on_shelf, at_stand, shelf, stand):
    write_off(at_stand, stand)

    with pytest.raises(BadValue) as refused, books_unchanged():
        write_off(on_shelf, shelf)

    assert (refused.value.parameter, refused.value.message) == ("place", ELSEWHERE)
    assert there(stand, at_stand) == 23
    for role in ("owner", "bottling"):
        write_off(on_shelf, shelf, role)
    assert there(shelf, on_shelf) == 46


def test_bulk_honey_is_not_written_off_by_who_sells_at_the_stand():
    tank = builders.place("tank-1", name="Tank 1")
    builders.lot_in(tank, 10_000)

    with pytest.raises(BadValue, match="Tank 1 is not a stand or van"), books_unchanged():
        honey.write_off(place=tank, grams=1_000, reason="spoilage", **by())

    assert signed_in("stand").get(at("write_off")).status_code == 403
    assert signed_in("bottling").get(at("write_off")).status_code == 200


@pytest.mark.parametrize(
    ("source", "target", "is_allowed"),
    [
        ("shelf", "stand", True),
        ("stand", "van", True),
        ("stand", "shelf", True),
        ("shelf", "other", False),
    ],
)
def test_goods_are_carried_to_a_stand_or_van_or_from_one(
    on_shelf, at_stand, shelf, stand, van, source, target, is_allowed
):
    builders.place("other", Place.Kind.SHELF, name="Other shelf")
    lot = on_shelf if source == "shelf" else at_stand

    def carry():
        stores.transfer(
            item=lot.product.item,
            lot=lot,
            source=Place.objects.get(code=source),
            target=Place.objects.get(code=target),
            pieces=6,
            **by(),
        )

    if is_allowed:
        carry()
        assert there(Place.objects.get(code=target), lot) == 6
        return
    with pytest.raises(BadValue) as refused, books_unchanged():
        carry()
    assert refused.value.parameter == "target"


def test_pages_offer_and_list_stand_and_van_alone(on_shelf, at_stand, stand, van):
    helper = signed_in("stand")

    listed = text(helper.get(at("stock_list")))
    offered = helper.get(at("stock_write_off")).context["form"].fields["stock"].queryset

    assert "L26-2" in listed
    assert "L26-1" not in listed
    assert [balance.lot for balance in offered] == [at_stand]
    office = text(signed_in("office").get(at("stock_list")))
    assert "L26-1" in office


def test_her_place_is_counted_in_one_act(on_shelf, at_stand, pounds, stand):
    helper = signed_in("stand")

    page = helper.get(at("count_now", "stand"))
    counted = helper.post(at("count_now", "stand"), {"key": "n", "row_0": "22"})

    assert "One pound" in text(page)
    # What the books have is not told, so that what is there is counted.
    assert "24" not in text(page)
    assert said(counted) == ["Stand: 1 of 1 counts differed, and the books match it now."]
    assert there(stand, at_stand) == 22
    sheet = CountSheet.objects.get()
    assert (sheet.place, sheet.closed_by.username, sheet.is_open) == (stand, "stand", False)
    assert counted.url == at("count_sheet", sheet.number)
    assert "−2 pieces" in text(helper.get(counted.url))


def test_a_count_that_agrees_says_so_and_books_nothing(at_stand, stand):
    helper = signed_in("stand")
    before = Posting.objects.count()

    counted = helper.post(at("count_now", "stand"), {"key": "n", "row_0": "24"})

    assert said(counted) == ["Stand: 1 thing counted, and the books agree."]
    assert Posting.objects.count() == before


def test_the_same_count_sent_twice_counts_once(at_stand, stand):
    helper = signed_in("stand")
    helper.post(at("count_now", "stand"), {"key": "n", "row_0": "22"})

    again = helper.post(at("count_now", "stand"), {"key": "n", "row_0": "22"})

    assert said(again)[-1] == "This was recorded already."
    assert CountSheet.objects.count() == 1


def test_a_count_of_nothing_is_refused_and_leaves_no_sheet(at_stand, stand):
    answer = signed_in("stand").post(at("count_now", "stand"), {"key": "n"})

    assert answer.status_code == 422
    assert "Enter at least one count." in text(answer)
    assert not CountSheet.objects.exists()


def test_more_than_was_made_is_for_the_owner_or_the_office_to_say_why(at_stand, stand):
    helper, owner = signed_in("stand"), signed_in("owner")

    refused = helper.post(at("count_now", "stand"), {"key": "n", "row_0": "30"})
    asked = owner.post(at("count_now", "stand"), {"key": "o", "row_0": "30"})
    booked = owner.post(
        at("count_now", "stand"), {"key": "o", "row_0": "30", "surplus_reason": "A case too few"}
    )

    assert refused.status_code == 422
    assert "the owner or the office can say why" in text(refused)
    assert asked.status_code == 422
    assert booked.status_code == 302
    assert there(stand, at_stand) == 30


def test_what_was_short_at_her_place_is_settled_by_counting_it(at_stand, pounds, stand):
    """30 were sold of the 24 that the books had."""
    ledger.lock_items([pounds.item])
    ledger.post(
        kind=Posting.Kind.SALE,
        lines=ledger.move(
            item=pounds.item,
            lot=at_stand,
            source=stand,
            target=Place.objects.outside(Place.Kind.CUSTOMER),
            quantity=30,
        ),
        recorded_by=builders.person("stand"),
        key="sold",
        has_happened=True,
    )
    assert Shortage.objects.open().get().quantity == 6
    helper = signed_in("stand")

    page = helper.get(at("count_now", "stand"))
    helper.post(at("count_now", "stand"), {"key": "n", "row_0": "0"})

    # The books have none left; it is asked for all the same.
    assert "L26-2" in text(page)
    assert not Shortage.objects.open().exists()
    assert there(stand, at_stand) == 0


def test_a_sheet_of_her_place_is_opened_filled_and_closed_by_her(on_shelf, at_stand, stand):
    helper = signed_in("stand")
    opened = helper.post(
        at("count_sheet_open"), {"key": "o", "place": "stand", "name": "Evening", "is_blind": "on"}
    )
    sheet = CountSheet.objects.get()
    assert opened.url == at("count_sheet", sheet.number)
    assert "L26-1" not in text(helper.get(opened.url))

    helper.post(at("count_sheet_place", sheet.number, "stand"), {"key": "e", "row_0": "20"})
    helper.post(
        at("count_sheet_close", sheet.number),
        {"key": "c", "reason": "Counted", "uncounted": "zero"},
    )

    sheet.refresh_from_db()
    assert sheet.is_open is False
    assert there(stand, at_stand) == 20
    # "Counted as zero" is about the place of the sheet alone.
    assert there(on_shelf.lines.get(quantity__gt=0).place, on_shelf) == 48


def test_she_opens_no_sheet_of_everything_and_none_of_a_shelf(on_shelf, at_stand, shelf):
    helper = signed_in("stand")
    typed = {"key": "o", "name": "All"}

    everything = helper.post(at("count_sheet_open"), typed)
    a_shelf = helper.post(at("count_sheet_open"), typed | {"place": "shelf"})

    assert (everything.status_code, a_shelf.status_code) == (422, 422)
    assert not CountSheet.objects.exists()
    with pytest.raises(BadValue, match="Choose the place that you count"):
        count_sheets.open_sheet(
            name="All", is_blind=True, opened_by=builders.person("stand"), key="all"
        )


def test_she_enters_counts_of_her_places_on_a_sheet_of_everything_alone(
    on_shelf, at_stand, shelf, stand
):
    sheet = count_sheets.open_sheet(
        name="Year end", is_blind=False, opened_by=builders.person("owner"), key="o"
    )
    helper = signed_in("stand")

    shown = text(helper.get(at("count_sheet", sheet.number)))
    there_page = helper.get(at("count_sheet_place", sheet.number, "stand"))

    assert "L26-2" in shown
    assert "L26-1" not in shown
    assert there_page.status_code == 200
    for address in (
        at("count_sheet_place", sheet.number, "shelf"),
        at("count_sheet_seals", sheet.number),
        at("count_sheet_close", sheet.number),
        at("count_sheet_cancel", sheet.number),
        at("count_now", "shelf"),
    ):
        assert helper.get(address).status_code == 403
    with pytest.raises(BadValue) as refused:
        count_sheets.enter(
            sheet=sheet,
            place=shelf,
            things=[CountedThing(on_shelf.product.item, on_shelf, 40)],
            counted_by=builders.person("stand"),
            key="e",
        )
    assert refused.value.message == ELSEWHERE
    with pytest.raises((BadValue, NotAllowedNow), match="Ask the office"):
        count_sheets.close(sheet=sheet, reason="x", closed_by=builders.person("stand"), key="c")


def test_a_sheet_of_one_place_takes_counts_of_no_other(on_shelf, at_stand, shelf, stand):
    owner = builders.person("owner")
    sheet = count_sheets.open_sheet(
        name="Stand", is_blind=True, opened_by=owner, key="o", place=stand
    )

    with pytest.raises((BadValue, SeveralProblems)) as refused:
        count_sheets.enter(
            sheet=sheet,
            place=shelf,
            things=[CountedThing(on_shelf.product.item, on_shelf, 40)],
            counted_by=owner,
            key="e",
        )

    assert refused.value.message == f"Count {sheet.number} is of Stand alone."
    # A count of everything may be open beside it, and a second one of the stand may not.
    count_sheets.open_sheet(name="All", is_blind=True, opened_by=owner, key="all")
    with pytest.raises(NotAllowedNow, match=f"Count {sheet.number} is still open"):
        count_sheets.open_sheet(
            name="Again", is_blind=True, opened_by=owner, key="again", place=stand
        )


def test_cellar_people_count_a_shelf_at_once_too(on_shelf, shelf):
    counted = signed_in("bottling").post(at("count_now", "shelf"), {"key": "n", "row_0": "47"})

    assert counted.status_code == 302
    assert there(shelf, on_shelf) == 47
