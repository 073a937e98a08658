"""The pages of the set-up one by one: skipped, resumed, refused, and come back to."""

import pytest

from apiary_sales.accounts.models import SetUp
from apiary_sales.customers.models import Customer
from apiary_sales.pricing.models import PiecePrice, TaxRate
from apiary_sales.web.first_hour import pasted, steps
from inventory.bottling.models import PackagingPart, Size
from inventory.bottling.services import sizes
from inventory.shared import conventions
from inventory.shared.models import House
from inventory.stock.models import Balance, Lot, Place
from tests import builders, uploads
from tests.web.first_hour import walking

pytestmark = pytest.mark.django_db


@pytest.fixture
def walker(client):
    client.force_login(builders.person("owner"))
    return walking.Walker(client)


def test_every_page_can_be_left_for_later_and_is_offered_again(walker):
    walker.open("/set-up/")
    for _step in steps.STEPS:
        walker.send("later")

    assert walker.address == "/set-up/made/"
    assert walker.open("/set-up/").address == "/set-up/made/"
    assert {mark.is_left for mark in walker.response.context["marks"]} == {True}


def test_the_set_up_goes_on_another_day_where_it_was(walker):
    walker.open("/set-up/house/").send(name="Olmo Hill Honey")

    assert walker.open("/set-up/").address == "/set-up/market/"
    assert SetUp.current().steps_done == ["house"]


def test_a_page_that_is_sent_twice_is_saved_once(walker):
    builders.place("tank-9", name="Tank 1")
    walker.open("/set-up/tanks/")
    form = walker.values() | {"tanks-0-capacity": "100"}

    for _time in range(2):
        answer = walker.client.post("/set-up/tanks/", form)
        assert answer["Location"] == "/set-up/drums/"

    assert sorted(Place.objects.values_list("name", flat=True)) == ["Tank 1", "Tank 2"]


def test_a_page_is_saved_whole_or_not_at_all(walker):
    walker.open("/set-up/people/")
    typed = {
        "people__0__name": "Jo Reyes",
        "people__0__username": "jo",
        "people__0__password": "lavender honey",
        "people__1__name": "Sam Olmo",
        "people__1__username": "owner",
        "people__1__password": "lavender honey",
    }

    answer = walker.post(**typed)

    assert answer.status_code == 422
    assert "Sam Olmo" in answer.text
    assert answer.context["rows"]["people"].forms[1].errors["username"]
    assert "people" not in SetUp.current().steps_done
    assert walker.open("/account/people/").response.text.count("Jo Reyes") == 0


def test_a_market_proposes_and_what_is_chosen_counts(walker):
    walker.open("/set-up/market/").send("propose", market="eu")
    assert walker.values()["currency"] == "EUR"
    assert walker.values()["prices_include_tax"] == "on"

    walker.send(currency="pln", first_weekday="0")

    house = House.current()
    assert (house.market, house.currency, house.weight_unit) == ("eu", "PLN", "kg")
    assert (house.decimal_sign, house.first_weekday) == (",", 0)


def test_the_country_of_the_house_proposes_its_market(walker):
    walker.open("/set-up/house/").send(
        name="Miel del Olmo", country_code="ES", tax_number="B12345678"
    )

    assert walker.address == "/set-up/market/"
    shown = walker.values()
    assert (shown["market"], shown["currency"], shown["weight_unit"]) == ("eu", "EUR", "kg")
    assert House.current().tax_number == "B12345678"


def test_a_currency_in_which_something_is_priced_stays(walker, monkeypatch):
    monkeypatch.setattr(conventions, "is_fixed", lambda name: name == "currency")
    walker.open("/set-up/market/")

    answer = walker.post(market="eu", currency="EUR")

    assert answer.status_code == 422
    assert "The books are in USD, and stay so" in answer.text


def test_a_tax_rate_counts_from_the_day_on_which_the_books_begin(walker):
    walker.open("/set-up/house/").send(name="Olmo", begins_on="2026-11-02")

    walker.open("/set-up/tax/").send(tax__1__percent="6.25", tax__0__category="Z")
    walker.open("/set-up/tax/").send()

    assert [
        (rate.goods, str(rate.percent), rate.valid_from.isoformat())
        for rate in TaxRate.objects.all()
    ] == [("other", "6.2500", "2026-11-02")]


def test_a_tank_shape_without_figures_is_refused_at_its_fields(walker):
    answer = walker.open("/set-up/tanks/").post(tanks__0__shape="upright-cone")

    errors = answer.context["rows"]["tanks"].forms[0].errors
    assert errors == {
        "diameter": ["Enter the inside diameter."],
        "wall": ["Enter the height or length of the straight wall."],
        "cone": ["Enter how deep the cone is."],
    }


def test_more_rows_come_with_what_was_typed_and_nothing_is_judged_yet(walker):
    walker.open("/set-up/tanks/").send("more-tanks", tanks__0__shape="upright-flat")

    assert walker.address == "/set-up/tanks/"
    values = walker.values()
    assert (values["tanks-0-shape"], values["tanks-6-name"]) == ("upright-flat", "Tank 7")
    assert not walking.problems(walker.response).removeprefix("200 []")


def test_drums_go_on_from_the_last_number(walker):
    walker.open("/set-up/drums/").send(count="3")
    walker.open("/set-up/drums/").send(count="2")

    drums = Place.objects.filter(kind=Place.Kind.DRUM).order_by("code")
    assert [drum.code for drum in drums] == ["D-001", "D-002", "D-003", "D-004", "D-005"]
    assert Place.objects.filter(kind__in=Place.STORES).count() == 2


def test_a_name_in_two_rows_is_one_part(walker):
    sizes.add_usual_sizes(["half-pound", "1-lb"])
    walker.open("/set-up/parts/")
    first, second = walker.row_of("Half pound"), walker.row_of("One pound")

    walker.send(
        **{f"{first}__lid": "Lid 70", f"{second}__lid": "lid  70", f"{second}__case": "Case"}
    )

    assert PackagingPart.objects.filter(name__iexact="lid 70").count() == 1
    pound = Size.objects.get(code="1-lb").size_parts
    assert pound.get(part__name="Case").per_pieces == 12
    assert pound.count() == 4


def test_a_price_that_is_emptied_ends_and_the_others_stay(walker):
    sizes.add_usual_sizes(["1-lb"])
    row = walker.open("/set-up/prices/").row_of("One pound")
    walker.send(**{f"{row}__stand": "10", f"{row}__shop": "7"})

    walker.open("/set-up/prices/").send(**{f"{row}__shop": ""})

    in_force = PiecePrice.objects.in_force(builders.today())
    assert [(price.tier, price.piece_cents) for price in in_force] == [("stand", 1_000)]


def test_honey_without_moisture_is_refused_at_its_row_and_nothing_is_entered(walker):
    builders.place("tank-1", name="Tank 1", capacity_litres=1000)
    builders.place("D-001", kind=Place.Kind.DRUM, name="Drum 1", capacity_litres=216)
    walker.open("/set-up/honey/")
    tank, drum = walker.row_of("Tank 1"), walker.row_of("D-001")

    answer = walker.post(
        floral="Clover",
        **{f"{tank}__weight": "500", f"{tank}__moisture": "17"},
        **{f"{drum}__weight": "300 kg"},
    )

    assert answer.status_code == 422
    assert answer.context["rows"]["drums"].forms[0].errors == {
        "moisture": ["Enter the moisture here, or once for all above."]
    }
    assert not Lot.objects.exists()


def test_a_unit_that_is_typed_goes_before_that_of_the_house(walker):
    builders.place("D-001", kind=Place.Kind.DRUM, name="Drum 1", capacity_litres=216)
    drum = walker.open("/set-up/honey/").row_of("D-001")

    walker.send(floral="Clover", moisture="17", **{f"{drum}__weight": "290 kg"})

    assert Balance.objects.get(place__code="D-001").quantity == 290_000
    # What is there is told, and its vessel is no longer asked about.
    assert "290" in walker.open("/set-up/honey/").response.text
    assert not walker.response.context["rows"]["drums"]


def test_a_pasted_list_fills_the_rows_after_those_that_are_typed(walker):
    sizes.add_usual_sizes(["1-lb"])
    builders.place("shelf", kind=Place.Kind.SHELF, name="Back shelf")
    product = Size.objects.get().standard_product
    walker.open("/set-up/jars/")

    walker.send(
        "read",
        floral="Clover",
        jars__0__lot_code="A-1",
        jars__0__product=str(product.pk),
        jars__0__pieces="3",
        pasted="A-2; one pound; 24; back shelf; 11/3/2026\nA-3;Unknown;2;;",
    )

    values = walker.values()
    assert values["jars-1-product"] == str(product.pk)
    assert values["jars-1-packed_on"] == "2026-11-03"
    assert (values["jars-2-lot_code"], values["jars-2-product"]) == ("A-3", "")
    answer = walker.post()
    assert answer.context["rows"]["jars"].forms[2].errors == {
        "product": ["Choose one from the list."]
    }


def test_what_is_not_understood_in_a_pasted_list_is_told(walker):
    sizes.add_usual_sizes(["1-lb"])
    builders.place("shelf", kind=Place.Kind.SHELF, name="Back shelf")
    walker.open("/set-up/jars/")

    # The month is first in a house of the United States, and nothing is called Garage.
    walker.send("read", pasted="A-2; one pound; 24; back shelf; 13/9/2026\nA-3;one pound;2;Garage;")

    assert (
        "Not understood in the list: A-2, 13/9/2026; A-3, Garage. Enter it in the table."
        in walker.response.text
    )


def test_a_lot_code_in_other_letters_is_no_second_lot(walker):
    sizes.add_usual_sizes(["1-lb"])
    builders.place("shelf", kind=Place.Kind.SHELF, name="Back shelf")
    row = {
        "floral": "Clover",
        "jars__0__product": str(Size.objects.get().standard_product.pk),
        "jars__0__pieces": "3",
    }
    walker.open("/set-up/jars/").send(jars__0__lot_code="OLD-3", **row)

    walker.open("/set-up/jars/").send(jars__0__lot_code="old-3", **row)

    lot = Lot.objects.get()
    assert (lot.code, lot.quantity_made) == ("OLD-3", 6)


def test_two_open_invoices_of_one_customer_are_two_lines(walker):
    walker.open("/set-up/customers/")

    walker.send(
        customers__0__name="Corner Shop",
        customers__0__number="1001",
        customers__0__amount="120",
        customers__0__issued_on="2026-11-02",
        customers__1__name="corner shop",
        customers__1__number="1002",
        customers__1__amount="30.50",
        customers__1__issued_on="2026-11-03",
    )

    customer = Customer.objects.get()
    assert customer.balance.owed_cents == 15_050


@pytest.mark.parametrize(
    ("text", "cells"),
    [
        ("A\tOne pound\t3", [["A", "One pound", "3"]]),
        ("A; 12,5 ;3\n\nB;2", [["A", "12,5", "3"], ["B", "2"]]),
        ('A,"One, pound",3', [["A", "One, pound", "3"]]),
        ("", []),
        ("x" * 1_000_000, [["x" * 400]]),
        ('"' + "x\n" * 100_000, [["x" + "x" * 299]]),
        ("1,2\n" * 100_000, [["1", "2"]] * 300),
    ],
    ids=["tabs", "semicolons", "commas", "nothing", "long line", "open quotation", "many lines"],
)
def test_cells_are_parted_by_tabs_else_semicolons_else_commas(text, cells):
    assert pasted.cells(text) == cells


def test_a_logo_that_is_no_picture_is_told_at_its_field_and_the_name_is_not_saved(walker):
    walker.open("/set-up/house/")

    refused = walker.post(name="Olmo", logo=uploads.upload("logo.png", b"no picture"))
    walker.send(name="Olmo", logo=uploads.upload("logo.png", uploads.image("PNG", 30, 30)))

    assert refused.status_code == 422
    assert "logo" in refused.context["form"].errors
    assert House.current().logo
