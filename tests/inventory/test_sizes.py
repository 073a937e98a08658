"""Sizes: set up, changed, put out of use, and the usual ones."""

from decimal import Decimal

import pytest

from inventory.bottling.models import Size
from inventory.bottling.queries import sizes as size_queries
from inventory.bottling.rules import filling
from inventory.bottling.services import sizes
from inventory.bottling.services.sizes import PartUse
from inventory.shared.errors import BadValue, SeveralProblems
from inventory.shared.models import House
from inventory.stock import density
from inventory.stock.models import Item, Place, ProductionSettings
from inventory.stock.services import ledger, production
from tests import builders
from tests.inventory import bottling_room

pytestmark = pytest.mark.django_db


def save(**changes) -> Size:
    told = {
        "name": "One pound",
        "declared_amount": Decimal(1),
        "declared_unit": "lb",
        "brimful_ml": Decimal(345),
    }
    return sizes.save(**(told | changes))


def test_a_size_is_kept_with_what_it_is_made_up_from():
    jar, case = builders.part("Jar"), builders.part("Case", "case")

    size = save(parts=[PartUse(jar), PartUse(case, 1, 12)])

    size.refresh_from_db()
    assert (size.code, size.standard_product.code) == ("one-pound", "one-pound")
    item = size.standard_product.item
    assert (item.name, item.kind) == ("One pound", "packed")
    assert size.declared_grams == Decimal("453.59237")
    assert [(use.part, use.quantity, use.per_pieces) for use in size.size_parts.all()] == [
        (jar, 1, 1),
        (case, 1, 12),
    ]


def test_a_changed_size_keeps_its_address_and_its_item():
    size = save()
    item = size.standard_product.item

    changed = save(size=size, name="Pound jar", low_stock_pieces=24)

    assert changed.pk == size.pk
    item.refresh_from_db()
    assert (changed.code, item.name, changed.standard_product.low_stock_pieces) == (
        "one-pound",
        "Pound jar",
        24,
    )
    assert Item.objects.filter(kind="packed").count() == 1


def test_parts_are_replaced_only_when_they_are_given():
    jar = builders.part("Jar")
    size = save(parts=[PartUse(jar)])

    save(size=size, parts=None)
    assert size.size_parts.count() == 1

    save(size=size, parts=[])
    assert size.size_parts.count() == 0


# 036000291452 is the worked example of many texts on check digits: 0×3+3+6×3+0+0×3+0+2×3+9+1×3+4
# +5×3 = 58, so the check digit is 2.
@pytest.mark.parametrize(
    ("gtin", "sentence"),
    [
        (
            "036000291453",
            "Check the number 036000291453 again. Its last digit is 3, but with these "
            "numbers it should be 2.",
        ),
        ("12345", "A GTIN has 8, 12, 13 or 14 digits; this has 5."),
        ("03600029145X", "A GTIN has only digits. Remove everything else."),
    ],
)
def test_a_bad_gtin_is_refused_with_what_is_wrong(gtin, sentence):
    with pytest.raises(BadValue) as refused:
        save(gtin=gtin)

    assert (refused.value.parameter, str(refused.value)) == ("gtin", sentence)
    assert Size.objects.count() == 0


@pytest.mark.parametrize("gtin", ["036000291452", "0 36000-29145 2", ""])
def test_a_right_gtin_is_taken_with_or_without_gaps(gtin):
    assert save(gtin=gtin).standard_product.gtin in ("036000291452", "")


def test_two_sizes_do_not_share_a_gtin_or_a_name():
    save(gtin="036000291452")

    with pytest.raises(SeveralProblems) as refused:
        save(name="one POUND", gtin="036000291452")

    assert {problem.parameter: problem.message for problem in refused.value.problems} == {
        "name": "There is a size called one POUND already. Choose another name.",
        "gtin": "One pound has this GTIN already. Each product needs its own.",
    }


@pytest.mark.parametrize(
    ("changes", "field", "sentence"),
    [
        ({"name": "  "}, "name", "Enter a name, for example “One pound”."),
        (
            {"declared_amount": Decimal(0)},
            "declared_amount",
            "Enter a net weight between 5 g (0.18 oz) and 50 kg (110 lb).",
        ),
        (
            {"declared_amount": Decimal("110.3")},
            "declared_amount",
            "Enter a net weight between 5 g (0.18 oz) and 50 kg (110 lb).",
        ),
        ({"declared_unit": "gal"}, "declared_unit", "Choose oz, lb, g or kg."),
        ({"brimful_ml": Decimal(0)}, "brimful_ml", "Enter a figure from 5 to 60,000 ml."),
        ({"tare_grams": 10_001}, "tare_grams", "Enter a figure from 0 to 10,000 g."),
        ({"pieces_per_case": 0}, "pieces_per_case", "Enter a figure from 1 to 1,000."),
        ({"best_by_months": 0}, "best_by_months", "Enter a figure from 1 to 120 months."),
        ({"low_stock_pieces": -1}, "low_stock_pieces", "Enter a figure from 0 to 1,000,000."),
    ],
)
def test_figures_no_size_has_are_refused(changes, field, sentence):
    with pytest.raises(BadValue) as refused:
        save(**changes)

    assert (refused.value.parameter, str(refused.value)) == (field, sentence)
    assert Size.objects.count() == 0
    assert Item.objects.filter(kind="packed").count() == 0


def test_a_size_that_holds_its_weight_of_very_dry_honey_is_kept():
    # White's table ends at 13 % with a specific gravity of 1.4457 (20/20 °C), which is 1.4431 kg/L:
    # 453.59 g fill 314.3 ml.
    assert save(brimful_ml=Decimal(315)).brimful_ml == 315


# A pound in 300 ml would need 1.51 kg/L, far denser than any honey. The 310 ml are those of the
# driest honey that can be entered, 10 %, where the density is extended below White's table.
@pytest.mark.parametrize(
    ("brimful_ml", "shown"), [(Decimal(300), "300 ml"), (Decimal(10), "10 ml")]
)
def test_a_size_too_small_for_the_driest_honey_is_refused(brimful_ml, shown):
    with pytest.raises(BadValue) as refused:
        save(brimful_ml=brimful_ml)

    assert (refused.value.parameter, str(refused.value)) == (
        "brimful_ml",
        "1 lb of honey does not fit: even the driest honey takes up 310 ml, and this size has "
        f"room for only {shown} to the brim. Check both figures and their units.",
    )
    assert Size.objects.count() == 0


def test_a_part_is_listed_once():
    jar = builders.part("Jar")

    with pytest.raises(BadValue) as refused:
        save(parts=[PartUse(jar), PartUse(jar, 2)])

    assert (refused.value.parameter, str(refused.value)) == (
        "parts.1.part",
        "Jar is listed twice. Put it in one line.",
    )


def test_the_label_weight_stays_once_pieces_were_packed_under_it():
    room = bottling_room.set_up()
    bottling_room.recorded(room)

    with pytest.raises(BadValue) as refused:
        save(size=room.size, declared_amount=Decimal("1.1"), brimful_ml=Decimal(400))

    assert (refused.value.parameter, str(refused.value)) == (
        "declared_amount",
        "Pieces with 1 lb on the label were already filled, so this weight can't be "
        "changed. Add a new size for another weight, and take this one out of use.",
    )


def test_a_size_out_of_use_can_come_back():
    size = save()

    sizes.take_out_of_use(size=size)
    assert not Size.objects.get().is_active

    sizes.put_back_in_use(size=size)
    assert Size.objects.get().is_active


def test_the_usual_sizes_are_added_once():
    first = sizes.add_usual_sizes()
    again = sizes.add_usual_sizes()

    assert len(first) == len(sizes.standard_sizes()) == Size.objects.count()
    assert again == []


def test_a_size_of_the_house_s_own_counts_as_the_usual_one():
    own = save(name="Our pound")

    sizes.add_usual_sizes()

    assert [size for size in Size.objects.all() if size.declared_grams == own.declared_grams] == [
        own
    ]


def test_the_usual_sizes_are_those_of_the_trade():
    sizes.add_usual_sizes()

    declared = {filling.declared(size) for size in Size.objects.all()}
    assert declared >= {
        "0.5 lb", "12 oz", "1 lb", "2 lb", "3 lb", "6 lb", "12 lb", "24 lb", "60 lb",
        "250 g", "500 g", "1 kg", "2.5 kg",
    }  # fmt: skip


def test_honey_of_eighteen_percent_filled_warm_fits_every_usual_size():
    sizes.add_usual_sizes()

    for size in Size.objects.all():
        # 18 % is 1.4146 kg/L at 20 °C (White 1975, from memory: 1.4171 × 0.998207), and 0.0006
        # less for each °C: 1.4062 at 34 °C.
        needed_ml = size.declared_grams / Decimal("1.4062")
        assert needed_ml < size.brimful_ml, size.name
        # No jar is offered that would look half empty either.
        assert size.brimful_ml < needed_ml * Decimal("1.21"), size.name


def test_the_fit_is_told_in_words_at_both_temperatures():
    size = save()

    warm, cool = filling.fits(size, moisture_percent=Decimal(17), celsius=Decimal(35))

    # 453.59 g at 1.4211 kg/L (17 %, 20 °C, as above) are 319.2 ml; at 35 °C, 1.4121, 321.2 ml.
    assert warm.sentence == (
        "It fits: 1 lb of this honey takes up 321 ml at 95 °F (35 °C), and the capacity of "
        "One pound to the brim is 345 ml."
    )
    assert cool.sentence == (
        "It fits: 1 lb of this honey takes up 319 ml at 68 °F (20 °C), and the capacity of "
        "One pound to the brim is 345 ml."
    )


def test_a_fit_closer_than_the_tables_can_tell_is_told_as_such():
    # 319.2 ml needed, give or take 0.18 %, 0.6 ml.
    fit = filling.fit(
        save(brimful_ml=Decimal("319.5")), moisture_percent=Decimal(17), celsius=Decimal(20)
    )

    assert fit.fits
    assert fit.is_close
    assert fit.sentence.startswith("It only just fits: ")
    assert fit.sentence.endswith("Fill one as a test first.")


def test_the_reference_temperature_is_told_once():
    fits = filling.fits(save(), moisture_percent=Decimal(17), celsius=density.REFERENCE_CELSIUS)

    assert len(fits) == 1


def test_a_size_shows_its_label_and_what_its_parts_cost():
    room = bottling_room.set_up()

    details = size_queries.details_of(room.size)

    # 60 + 15 + 90 / 12 = 82.5 cents.
    assert details.parts_price == Decimal("0.8250")
    assert details.statement.startswith("NET WT 16 OZ (1 LB)")
    assert details.figure_height_mm == 4


def test_sizes_are_listed_in_a_constant_number_of_queries(django_assert_num_queries):
    sizes.add_usual_sizes()

    with django_assert_num_queries(4):
        size_queries.all_sizes()


def test_the_house_sets_what_an_hour_costs_and_how_warm_it_fills():
    production.change(
        labour_cents_per_hour=1_850, honey_house_celsius=Decimal("35.0"), cost_method="average"
    )

    settings = ProductionSettings.current()
    assert (settings.labour_cents_per_hour, settings.honey_house_celsius) == (1_850, Decimal(35))
    assert settings.cost_method == "average"


def test_the_way_of_costing_is_chosen_once_before_the_first_sale(owner, key):
    shelf = builders.place("shelf", Place.Kind.SHELF)
    jars = builders.product("One pound")
    lot = builders.packed_lot(jars, shelf, 48)
    sold_to = Place.objects.outside(Place.Kind.CUSTOMER)
    lines = ledger.move(item=jars.item, lot=lot, source=shelf, target=sold_to, quantity=1)
    ledger.post(kind="sale", lines=lines, recorded_by=owner, key=key())

    with pytest.raises(BadValue) as refused:
        production.change(
            labour_cents_per_hour=1_850, honey_house_celsius=Decimal("35.0"), cost_method="average"
        )
    production.change(
        labour_cents_per_hour=1_850, honey_house_celsius=Decimal("35.0"), cost_method="fifo"
    )

    assert (refused.value.parameter, refused.value.message) == (
        "cost_method",
        "The cost of past sales was worked out by first in, first out. This can't be "
        "changed after the first sale.",
    )
    assert ProductionSettings.current().labour_cents_per_hour == 1_850
    assert ProductionSettings.current().cost_method == "fifo"


def test_figures_no_house_has_are_refused():
    with pytest.raises(SeveralProblems) as refused:
        production.change(
            labour_cents_per_hour=100_001, honey_house_celsius=Decimal(61), cost_method="guess"
        )

    assert {problem.parameter: problem.message for problem in refused.value.problems} == {
        "labour_cents_per_hour": "Enter what an hour of work costs, from 0 to 1,000.",
        "honey_house_celsius": (
            "Enter a filling temperature between 59 °F (15 °C) and 140 °F (60 °C)."
        ),
        "cost_method": "Choose how to work out the cost of what is sold.",
    }
    assert ProductionSettings.objects.count() == 0


def test_the_name_of_a_usual_size_has_the_decimal_sign_of_the_house():
    House(weight_unit="kg", decimal_sign=",").save()

    made = sizes.add_usual_sizes(["2-5-kg", "5-kg"])

    assert [size.name for size in made] == ["2,5 kg", "5 kg"]
