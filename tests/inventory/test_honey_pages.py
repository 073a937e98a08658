"""The honey pages: what they show, what each act does, and what is refused at which field."""

import re
from decimal import Decimal
from fractions import Fraction

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory.shared.models import House
from inventory.stock.models import Balance, Item, Lot, Place, Posting
from inventory.stock.queries import books
from inventory.stock.services import drums, honey, ledger
from tests import builders
from tests.inventory.pages import books_unchanged, errors, said, signed_in, text

pytestmark = pytest.mark.django_db

POUNDS_1000 = 453_592  # grams


@pytest.fixture
def tank():
    return builders.place("tank-1", name="Tank 1", capacity_litres=Decimal("1300"))


@pytest.fixture
def other_tank():
    return builders.place("tank-2", name="Tank 2", capacity_litres=Decimal("1300"))


@pytest.fixture
def drum():
    return builders.place(
        "d-014",
        Place.Kind.DRUM,
        name="Drum D-014",
        tare_grams=17_600,
        capacity_litres=Decimal("215"),
    )


@pytest.fixture
def bottler():
    return signed_in("bottling")


def receipt(**changes) -> dict:
    return {
        "key": builders.new_key(),
        "place": "tank-1",
        "floral_source": "Clover",
        "yard": "Mill field",
        "season": "2026",
        "extracted_on": "2026-07-20",
        "moisture": "17.4",
        "colour_mm": "30",
        "measured_by": "scale",
        "weight": "1000",
        "weight_unit": "lb",
    } | changes


def post(client, name: str, data: dict, *args):
    return client.post(reverse(f"inventory:{name}", args=args), {"key": builders.new_key()} | data)


def grams_in(place: Place) -> int:
    there = Balance.objects.in_vessel(place)
    return there.quantity if there else 0


def queries_of(client, url: str) -> int:
    with CaptureQueriesContext(connection) as asked:
        assert client.get(url).status_code == 200
    return len(asked)


# ------------------------------------------------------------------ overview


def test_an_empty_house_is_told_where_to_begin():
    page = text(signed_in("owner").get(reverse("inventory:honey")))

    assert "No tank is set up yet." in page
    assert "Set up a tank" in page
    assert "No drum is set up yet." in page


def test_who_may_not_set_up_places_is_not_sent_there():
    page = text(signed_in("stand").get(reverse("inventory:honey")))

    assert "No tank is set up yet." in page
    assert "Set up a tank" not in page


def test_the_overview_adds_up_pounds_and_gallons(tank, drum, owner, key):
    builders.lot_in(tank, 2 * POUNDS_1000, moisture_percent="17.0")
    honey.transfer(source=tank, target=drum, grams=POUNDS_1000 // 2, recorded_by=owner, key=key())

    page = text(signed_in("office").get(reverse("inventory:honey")))

    # 2,000 lb at 17 % and 20 °C: 907.184 kg / (1.4237 × 0.998207 kg/L) = 638.35 L = 168.6 gal,
    # with the specific gravity of White 1975 (from memory) and water by IAPWS-95.
    assert "All bulk honey 2,000.0 lb 169 gal at 68 °F (20 °C)" in page
    assert "In tanks 1,500.0 lb" in page
    assert "In drums 500.0 lb 42.2 gal, 1 drum" in page


def test_a_house_that_weighs_in_kilograms_reads_no_degrees_fahrenheit(drum):
    House(weight_unit="kg").save()
    lot = builders.lot_in(drum, 300_000)
    client = signed_in("office")

    pages = [
        text(client.get(address))
        for address in (
            reverse("inventory:honey"),
            reverse("inventory:place_detail", args=[drum.code]),
            reverse("inventory:lot_detail", args=[lot.code]),
        )
    ]

    assert "at 20 °C" in pages[0]
    assert "Volume at 20 °C" in pages[1]
    assert [page for page in pages if "°F" in page] == []


def test_wettest_lots_are_warned_of_first_and_dry_ones_not(tank, other_tank, drum):
    builders.lot_in(tank, moisture_percent="18.7")
    builders.lot_in(other_tank, moisture_percent="20.4")
    builders.lot_in(drum, 100_000, moisture_percent="17.0")

    page = text(signed_in("office").get(reverse("inventory:honey")))

    assert page.index("this honey will ferment") < page.index("this honey may ferment")
    assert "26-E03, 17.00 %" not in page


def test_the_drums_shown_add_up_to_what_is_shown_for_all(db):
    # 651.5, 649.5 and 655.5 lb: 1,956.5 lb.
    for number, grams in ((1, 295_515), (2, 294_608), (3, 297_330)):
        builders.lot_in(builders.place(f"d-{number}", Place.Kind.DRUM), grams)

    page = text(signed_in("office").get(reverse("inventory:honey")))

    assert "All bulk honey 1,956.5 lb" in page
    assert "In drums 1,956.5 lb" in page
    assert sorted(re.findall(r"6\d\d\.\d lb", page)) == ["649.5 lb", "651.5 lb", "655.5 lb"]


@pytest.mark.parametrize(
    ("shown", "codes"),
    [
        ("", ["d-1", "d-2", "d-3"]),
        ("full", ["d-1"]),
        ("reserved", ["d-2"]),
        ("empty", ["d-3"]),
        ("nonsense", ["d-1", "d-2", "d-3"]),
    ],
)
def test_drums_are_shown_full_reserved_or_empty(shown, codes):
    for code in ("d-1", "d-2", "d-3"):
        builders.place(code, Place.Kind.DRUM, name=f"Drum {code}")
    builders.lot_in(Place.objects.get(code="d-1"), 290_000)
    lot = builders.lot_in(Place.objects.get(code="d-2"), 290_000)
    ledger.reserve(
        [ledger.ReservedStock(Item.objects.honey(), Place.objects.get(code="d-2"), lot, 290_000)]
    )

    response = signed_in("office").get(reverse("inventory:honey"), {"drums": shown})

    assert [drum.place.code for drum in response.context["drums"]] == codes
    assert [tab["count"] for tab in response.context["drum_filters"]] == [3, 1, 1, 1]


def test_drums_stand_in_the_order_of_their_colour():
    for code, colour in (("d-1", "120"), ("d-2", None), ("d-3", "5"), ("d-4", "40")):
        builders.lot_in(builders.place(code, Place.Kind.DRUM), 1000, colour_mm=colour)
    builders.place("d-0", Place.Kind.DRUM)

    response = signed_in("office").get(reverse("inventory:honey"))

    codes = [drum.place.code for drum in response.context["drums"]]
    # Water white, extra light amber, dark amber, of unknown colour, empty.
    assert codes == ["d-3", "d-4", "d-1", "d-2", "d-0"]


def fill_house(count: int) -> None:
    made = Place.objects.filter(kind=Place.Kind.DRUM).count()
    for number in range(made, made + count):
        drum = builders.place(f"d-{number}", Place.Kind.DRUM)
        builders.lot_in(drum, 100_000)


@pytest.mark.parametrize("name", ["honey", "lot_list", "places", "posting_list"])
def test_a_list_asks_the_database_as_often_for_many_rows_as_for_one(name):
    client = signed_in("owner")
    url = reverse(f"inventory:{name}")
    fill_house(1)
    for_one = queries_of(client, url)

    fill_house(9)

    assert queries_of(client, url) == for_one


@pytest.mark.parametrize("name", ["transfer", "blend", "drum_fill", "drain", "write_off"])
def test_a_form_asks_the_database_as_often_for_many_vessels_as_for_one(name):
    client = signed_in("owner")
    url = reverse(f"inventory:{name}")
    fill_house(1)
    for_one = queries_of(client, url)

    fill_house(9)

    assert queries_of(client, url) == for_one


# ------------------------------------------------------------------ who may


@pytest.mark.parametrize("name", ["receive", "transfer", "blend", "drum_fill", "drain", "dip"])
def test_who_minds_the_stand_moves_no_honey(name, tank):
    args = [tank.code] if name == "dip" else []

    response = signed_in("stand").get(reverse(f"inventory:{name}", args=args))

    assert response.status_code == 403


def test_the_office_writes_no_honey_off():
    assert signed_in("office").get(reverse("inventory:write_off")).status_code == 403


# ------------------------------------------------------------------ receive


def test_an_extraction_weighed_on_a_scale_becomes_a_lot(tank, bottler):
    response = post(bottler, "receive", receipt(cost="1,250.50".replace(",", "")))

    lot = Lot.objects.get()
    assert response.url == reverse("inventory:lot_detail", args=[lot.code])
    assert said(response) == ["Lot 26-E01 received: 1,000.0 lb of Clover."]
    assert (lot.quantity_made, lot.cost_cents) == (POUNDS_1000, 125_050)
    assert (lot.yard, lot.season, lot.moisture_percent) == ("Mill field", 2026, Decimal("17.40"))
    assert grams_in(tank) == POUNDS_1000
    assert list(books.faults()) == []


def test_a_cost_that_is_not_entered_stays_unknown(tank, bottler):
    post(bottler, "receive", receipt())

    page = text(bottler.get(reverse("inventory:lot_detail", args=["26-E01"])))
    assert Lot.objects.get().cost_cents is None
    assert "cost not entered" in page


def test_an_extraction_measured_by_volume_is_weighed_by_density(tank, bottler):
    post(
        bottler,
        "receive",
        receipt(
            moisture="17.0",
            measured_by="volume",
            weight="",
            volume="100",
            volume_unit="gal",
            honey_celsius="68",
            honey_celsius_unit="F",
        ),
    )

    lot = Lot.objects.get()
    # 378.541 L × 1.4237 × 0.998207 kg/L = 537,963 g: White 1975 (from memory), by hand.
    assert abs(lot.quantity_made - 537_963) <= 1
    # 0.18 % of 538 kg is 2.1 lb.
    assert lot.note == (
        "Weight worked out from 100 gal (378.5 L) at 17 % moisture, 68 °F (20 °C); give or "
        "take 2.1 lb."
    )


def test_an_extraction_can_be_dipped_into_a_measured_tank(bottler):
    upright = builders.measured_tank("tank-9", diameter_mm=1000, length_mm=1200)

    post(
        bottler,
        "receive",
        receipt(
            place="tank-9",
            moisture="",
            refractive_index="1.4940",
            refractometer_celsius="20",
            refractometer_celsius_unit="C",
            measured_by="dip",
            weight="",
            depth="80",
            depth_unit="cm",
            honey_celsius="30",
            honey_celsius_unit="C",
        ),
    )

    lot = Lot.objects.get()
    # 1.4940 at 20 °C is 17.0 %: Bogdanov, Book of Honey, chapter 4 (read), to 0.03.
    assert abs(lot.moisture_percent - Decimal("17.0")) <= Decimal("0.03")
    assert lot.refractive_index == Decimal("1.49400")
    # π × 50² × 80 cm³ = 628.319 L; × (1.42115 − 10 × 0.0006) kg/L = 889.2 kg: by hand, to 0.1 %.
    assert abs(grams_in(upright) - 889_163) <= 900


def test_only_the_new_honey_counts_when_a_tank_is_dipped_before_and_after(bottler):
    upright = builders.measured_tank("tank-9", diameter_mm=1000, length_mm=1200)
    builders.lot_in(upright, 200_000, moisture_percent="17.0")
    dipped = receipt(
        place="tank-9",
        moisture="17.0",
        measured_by="dip",
        weight="",
        depth="50",
        depth_unit="cm",
        honey_celsius="20",
        honey_celsius_unit="C",
    )

    with books_unchanged():
        refused = post(bottler, "receive", dipped)
    post(bottler, "receive", dipped | {"depth_before": "20", "depth_before_unit": "cm"})

    assert errors(refused) == {
        "depth_before": [
            "tank-9 already had 441 lb in it. Enter the dip before as well, so that only "
            "the new honey is counted."
        ]
    }
    # π × 50² × 30 cm³ = 235.619 L × 1.42115 kg/L = 334,850 g: by hand.
    assert abs(grams_in(upright) - 200_000 - 334_850) <= 10


def test_a_dip_that_found_no_more_than_before_is_refused(bottler):
    builders.measured_tank("tank-9", diameter_mm=1000, length_mm=1200)

    with books_unchanged():
        response = post(
            bottler,
            "receive",
            receipt(
                place="tank-9",
                measured_by="dip",
                weight="",
                depth="20",
                depth_unit="cm",
                depth_before="20",
                depth_before_unit="cm",
                honey_celsius="20",
                honey_celsius_unit="C",
            ),
        )

    assert errors(response) == {
        "depth": [
            "The dip after, 7.9 in (200 mm), must be deeper than the dip before, 7.9 in "
            "(200 mm). Check both figures."
        ]
    }


BAD_RECEIPTS = [
    ({"moisture": "9.99"}, "moisture", "Enter a moisture from 10 to 30 percent."),
    ({"moisture": "30.01"}, "moisture", "Enter a moisture from 10 to 30 percent."),
    (
        {"moisture": "wet"},
        "moisture",
        "“wet” is not a number. Write it in digits, as in 12.5.",
    ),
    ({"moisture": ""}, "moisture", "Enter the moisture, or the refractometer index."),
    ({"weight": "-5"}, "weight", "Enter a figure of 0 or more."),
    ({"weight": "0"}, "weight", "Enter a weight of more than zero."),
    (
        {"weight": "200000"},
        "weight",
        "200,000 lb is too much for one entry. Check the figure and its unit.",
    ),
    ({"weight": "much"}, "weight", "“much” is not a unit that fits here. Use lb, oz, kg, g."),
    ({"weight": ""}, "weight", "Enter the weight."),
    ({"weight_unit": "gal"}, "weight", "gal does not fit here. Choose another unit."),
    (
        {"weight": "9000"},
        "weight",
        "Tank 1 would overflow: it has room for 343 gal, but would then have 760 gal. "
        "Enter less, or choose another vessel.",
    ),
    ({"colour_mm": "150.1"}, "colour_mm", "Enter a colour from 0 to 150 mm Pfund."),
    ({"colour_mm": "-1"}, "colour_mm", "Enter a colour from 0 to 150 mm Pfund."),
    (
        {"floral_source": " "},
        "floral_source",
        "Enter the floral source, for example clover.",
    ),
    (
        {"extracted_on": "2126-07-20"},
        "extracted_on",
        ("The extraction date is in the future. Choose today or an earlier day."),
    ),
    ({"season": "26"}, "season", None),
    (
        {"place": "nowhere"},
        "place",
        "That vessel is not in use. Choose one from the list.",
    ),
    (
        {"extracted_on": "1900-01-01", "season": "2026"},
        "extracted_on",
        "Jan 1, 1900 does not belong to the season 2026. Check the date and the season.",
    ),
    ({"cost": "-1"}, "cost", "Enter 0 or more."),
    ({"measured_by": "volume", "volume": ""}, "volume", "Enter the volume."),
    (
        {"measured_by": "volume", "volume": "5", "volume_unit": "lb", "honey_celsius": "20"},
        "volume",
        "lb does not fit here. Choose another unit.",
    ),
    (
        {"measured_by": "volume", "volume": "5", "volume_unit": "gal"},
        "honey_celsius",
        "Enter the temperature: the weight depends on it.",
    ),
    (
        {
            "measured_by": "volume",
            "volume": "5",
            "volume_unit": "gal",
            "honey_celsius": "61",
            "honey_celsius_unit": "C",
        },
        "honey_celsius",
        "The weight of honey can be worked out only from 32 °F (0 °C) to 140 °F (60 °C); "
        "142 °F (61 °C) was entered. Check the figure and its unit.",
    ),
    (
        {"moisture": "", "refractive_index": "1.3"},
        "refractive_index",
        "An index of 1.3 is outside the table, which goes from 1.4740 (25 % moisture) to "
        "1.5044 (13 %) at 20 °C. Take the reading again, or enter the moisture in percent.",
    ),
    (
        {
            "moisture": "",
            "refractive_index": "1.4940",
            "refractometer_celsius": "41",
            "refractometer_celsius_unit": "C",
        },
        "refractometer_celsius",
        "A reading can be corrected for temperatures from 50 °F (10 °C) to 104 °F (40 °C). "
        "You entered 106 °F (41 °C). Check the figure and its unit, or take the reading "
        "again indoors.",
    ),
    ({"measured_by": "dip", "depth": ""}, "depth", "Enter the depth of the honey."),
    (
        {"measured_by": "dip", "depth": "10", "depth_unit": "in"},
        None,
        "The shape of Tank 1 is not known. Enter its measurements first.",
    ),
]


@pytest.mark.parametrize(("wrong", "field", "sentence"), BAD_RECEIPTS)
def test_a_receipt_that_cannot_be_is_refused_at_its_field(tank, bottler, wrong, field, sentence):
    with books_unchanged():
        response = post(bottler, "receive", receipt(**wrong))

    told = errors(response)[field or "place"] if field else errors(response)["place"]
    if sentence is None:
        assert len(told) == 1
    else:
        assert told == [sentence]


@pytest.mark.parametrize("moisture", ["174", "1"])
def test_a_moisture_and_an_index_that_cannot_be_are_told_together(tank, bottler, moisture):
    with books_unchanged():
        response = post(bottler, "receive", receipt(moisture=moisture, refractive_index="1,492"))

    assert errors(response) == {
        "moisture": ["Enter a moisture from 10 to 30 percent."],
        "refractive_index": ["That is far too much. Check the figure."],
    }


def test_all_problems_of_a_form_are_told_at_once(tank, bottler):
    with books_unchanged():
        response = post(
            bottler, "receive", receipt(floral_source="", moisture="", weight="", place="")
        )

    assert set(errors(response)) == {"floral_source", "moisture", "weight", "place"}


def test_the_same_form_sent_twice_receives_once(tank, bottler):
    form = receipt()
    post(bottler, "receive", form)

    with books_unchanged():
        response = post(bottler, "receive", form)

    assert response.url == reverse("inventory:posting_detail", args=[Posting.objects.get().pk])
    assert said(response)[-1] == "This was recorded already."
    assert grams_in(tank) == POUNDS_1000


def test_what_receiving_changes_is_shown_before(tank, bottler):
    builders.lot_in(tank, POUNDS_1000, moisture_percent="18.6", colour_mm="60")
    url = reverse("inventory:receive")

    with books_unchanged():
        fragment = bottler.get(
            url, receipt(moisture="17.0", colour_mm="20"), headers={"HX-Request": "true"}
        )
        page = bottler.post(url, receipt(moisture="17.0", colour_mm="20") | {"preview": "yes"})

    # Equal weights: (18.6 + 17.0) / 2 = 17.8 %, (60 + 20) / 2 = 40 mm: by hand.
    for response in (fragment, page):
        assert "Tank 1 1,000.0 lb → 2,000.0 lb" in text(response)
        assert "It becomes a new blend" in text(response)
        assert "17.80 %, by moisture, at best U.S. Grade A" in text(response)
        assert "40.0 mm, extra light amber" in text(response)
    assert "<html" not in fragment.content.decode()
    assert 'name="floral_source" value="Clover"' in page.content.decode()


@pytest.mark.parametrize(
    ("what", "wrong", "line"),
    [
        ("moisture", {"moisture": "17.0"}, "= 17 %: by moisture, at best U.S. Grade A."),
        (
            "moisture",
            {"moisture": "", "refractive_index": "1.4930"},
            # (−0.26810 − log10 0.4930) / 0.002243 = 17.41: Bogdanov's formula (read), by hand.
            "= 17.41 %: by moisture, at best U.S. Grade A.",
        ),
        ("moisture", {"moisture": "45"}, ""),
        ("colour", {"colour_mm": "8"}, "= water white"),
        ("colour", {"colour_mm": "8.1"}, "= extra white"),
        ("colour", {"colour_mm": "114.1"}, "= dark amber"),
        ("colour", {"colour_mm": "500"}, ""),
        ("weight", {"moisture": "17.0"}, "= 1,000.0 lb, 454 kg; 84.3 gal at 17 %, 68 °F (20 °C)"),
        (
            "weight",
            {
                "moisture": "17.0",
                "measured_by": "volume",
                "volume": "100",
                "volume_unit": "gal",
                "honey_celsius": "20",
                "honey_celsius_unit": "C",
            },
            "= 1,186.0 lb, 538 kg, give or take 2.1 lb; 100 gal at 17 %, 68 °F (20 °C)",
        ),
        ("weight", {"weight": ""}, ""),
    ],
)
def test_figures_are_converted_while_they_are_typed(tank, bottler, what, wrong, line):
    response = bottler.get(reverse("inventory:convert_receipt", args=[what]), receipt(**wrong))

    assert text(response) == line


# ------------------------------------------------------------------ transfer, blend, drain


def test_some_of_a_tank_is_transferred(tank, other_tank, bottler):
    builders.lot_in(tank, 2 * POUNDS_1000)

    response = post(
        bottler,
        "transfer",
        {"source": "tank-1", "target": "tank-2", "weight": "500", "weight_unit": "lb"},
    )

    assert said(response) == ["500.0 lb from Tank 1 into Tank 2."]
    assert response.url == reverse("inventory:place_detail", args=["tank-2"])
    assert grams_in(other_tank) == 226_796
    assert list(books.faults()) == []


def test_a_transfer_of_everything_is_all_of_it(tank, other_tank, bottler):
    builders.lot_in(tank, 123_457)

    post(bottler, "transfer", {"source": "tank-1", "target": "tank-2", "everything": "on"})

    assert (grams_in(tank), grams_in(other_tank)) == (0, 123_457)


def test_a_transfer_without_a_weight_is_asked_about(tank, other_tank, bottler):
    builders.lot_in(tank, 123_457)

    with books_unchanged():
        response = post(bottler, "transfer", {"source": "tank-1", "target": "tank-2"})

    assert errors(response) == {"weight": ["Enter the weight, or tick “All that is in it”."]}


def test_what_is_reserved_is_told_at_the_vessel_when_all_of_it_is_asked_for(drum, tank, bottler):
    lot = builders.lot_in(drum, 100_000)
    item = Item.objects.honey()
    ledger.reserve([ledger.ReservedStock(item, drum, lot, 100_000)])

    with books_unchanged():
        response = post(bottler, "drain", {"source": drum.code, "target": "tank-1"})

    assert list(errors(response)) == ["source"]


def test_more_than_a_tank_holds_cannot_be_transferred(tank, other_tank, bottler):
    builders.lot_in(tank, POUNDS_1000)

    with books_unchanged():
        response = post(
            bottler,
            "transfer",
            {"source": "tank-1", "target": "tank-2", "weight": "1001", "weight_unit": "lb"},
        )

    assert errors(response) == {
        "weight": [
            (
                "Not enough honey: you asked for 1,001 lb, but Tank 1 has only 1,000 lb. Enter "
                "less, or choose another vessel."
            )
        ]
    }


def test_honey_is_not_poured_into_its_own_tank(tank, bottler):
    builders.lot_in(tank)

    with books_unchanged():
        response = post(
            bottler, "transfer", {"source": "tank-1", "target": "tank-1", "everything": "on"}
        )

    assert errors(response) == {"target": ["Tank 1 can't be poured into itself."]}


def test_an_undo_stands_beside_what_was_done(tank, other_tank, bottler):
    builders.lot_in(tank)

    response = bottler.post(
        reverse("inventory:transfer"),
        {"key": "k", "source": "tank-1", "target": "tank-2", "everything": "on"},
        follow=True,
    )

    made = Posting.objects.latest("id")
    undo_url = reverse("inventory:posting_reverse", args=[made.pk])
    assert f'<a class="undo" href="{undo_url}">Undo</a>' in response.content.decode()


def test_a_blend_is_shown_before_and_posted_after(tank, other_tank, drum, bottler):
    clover = builders.lot_in(tank, 300_000, moisture_percent="17.0", colour_mm="20")
    aster = builders.lot_in(
        other_tank, 100_000, floral_source="Aster", moisture_percent="18.6", colour_mm="60"
    )
    big = builders.place("tote-1", Place.Kind.TOTE, name="Tote 1")
    form = {
        "key": builders.new_key(),
        "target": "tote-1",
        "source_1": "tank-1",
        "source_2": "tank-2",
    }
    url = reverse("inventory:blend")

    with books_unchanged():
        shown = text(bottler.get(url, form, headers={"HX-Request": "true"}))
    response = bottler.post(url, form)

    # (300 × 17.0 + 100 × 18.6) / 400 = 17.4; (300 × 20 + 100 × 60) / 400 = 30: by hand.
    assert "17.40 %, by moisture, at best U.S. Grade A" in shown
    assert "30.0 mm, white" in shown
    assert "Tote 1 0.0 lb → 881.8 lb" in shown
    blend = Balance.objects.in_vessel(big).lot
    assert response.url == reverse("inventory:lot_detail", args=[blend.code])
    assert (blend.moisture_percent, blend.colour_mm) == (Decimal("17.40"), Decimal("30.0"))
    assert {(link.parent, link.grams) for link in blend.parent_links.all()} == {
        (clover, 300_000),
        (aster, 100_000),
    }
    assert list(books.faults()) == []


def test_a_blend_needs_two_vessels(tank, bottler):
    builders.lot_in(tank)

    with books_unchanged():
        response = post(bottler, "blend", {"target": "tank-1", "source_1": ""})

    assert errors(response) == {
        "source_1": ["Choose a vessel."],
        "source_2": ["Choose a vessel."],
    }


def test_a_blend_that_asks_too_much_says_so_at_its_line(tank, other_tank, bottler):
    builders.lot_in(tank, POUNDS_1000)
    builders.lot_in(other_tank, POUNDS_1000)
    builders.lot_in(builders.place("pail-1", Place.Kind.PAIL, name="Pail 1"), 20_000)
    builders.place("tote-1", Place.Kind.TOTE)

    with books_unchanged():
        response = post(
            bottler,
            "blend",
            {
                "target": "tote-1",
                "source_1": "tank-1",
                "source_2": "tank-2",
                "source_4": "pail-1",
                "weight_4": "60",
                "weight_4_unit": "lb",
            },
        )

    assert errors(response) == {
        "weight_4": [
            (
                "Not enough honey: you asked for 60.0 lb, but Pail 1 has only 44.1 lb. Enter "
                "less, or choose another vessel."
            )
        ]
    }


def test_a_vessel_is_named_once_in_a_blend(tank, other_tank, bottler):
    builders.lot_in(tank)

    with books_unchanged():
        response = post(
            bottler,
            "blend",
            {"target": "tank-2", "source_1": "tank-1", "source_2": "tank-1"},
        )

    assert errors(response) == {
        "source_2": [("Tank 1 is listed twice. Put the whole amount in one line.")]
    }


def test_a_weight_without_its_vessel_is_refused(tank, other_tank, drum, bottler):
    builders.lot_in(tank)
    builders.lot_in(other_tank)

    with books_unchanged():
        response = post(
            bottler,
            "blend",
            {
                "target": "d-014",
                "source_1": "tank-1",
                "source_2": "tank-2",
                "weight_3": "5",
                "weight_3_unit": "lb",
            },
        )

    assert errors(response) == {"source_3": ["Choose the vessel this weight comes from."]}


def test_a_drum_is_drained_to_the_last_gram(tank, drum, bottler):
    builders.lot_in(drum, 123_457)

    response = post(bottler, "drain", {"source": "d-014", "target": "tank-1"})

    assert said(response) == ["272.2 lb from Drum D-014 into Tank 1."]
    assert (grams_in(drum), grams_in(tank)) == (0, 123_457)


def test_an_empty_drum_is_not_offered_for_draining(tank, drum, bottler):
    with books_unchanged():
        response = post(bottler, "drain", {"source": "d-014", "target": "tank-1"})

    assert errors(response) == {"source": ["That vessel is empty now. Choose one from the list."]}


def test_reserved_honey_is_not_drained(tank, drum, bottler):
    lot = builders.lot_in(drum, 290_000)
    ledger.reserve([ledger.ReservedStock(Item.objects.honey(), drum, lot, 90_000)])

    with books_unchanged():
        response = post(bottler, "drain", {"source": "d-014", "target": "tank-1"})

    assert list(errors(response).values()) == [
        [
            "Drum D-014 is reserved for an order: you asked for 639 lb, but only 441 lb is "
            "free. Choose another vessel, or cancel the order first."
        ]
    ]


# ------------------------------------------------------------------ drums


def fill_form(**changes) -> dict:
    return {"tank": "tank-1", "drum": "d-014", "gross": "312.6", "gross_unit": "kg"} | changes


def test_a_drum_promised_to_a_buyer_fills_no_other_and_says_so_at_the_drum(drum, bottler):
    full = builders.place("d-2", Place.Kind.DRUM, name="Drum D-002")
    lot = builders.lot_in(full, 290_000)
    ledger.reserve([ledger.ReservedStock(Item.objects.honey(), full, lot, 290_000)])

    response = post(bottler, "drum_fill", fill_form(tank="d-2", gross="118"))

    # 118 kg less 17.6 kg of drum: 100,400 g = 221.3 lb.
    assert response.context["form"].errors == {
        "tank": [
            "Drum D-002 is reserved for an order: you asked for 221 lb, but only 0.0 lb is "
            "free. Choose another vessel, or cancel the order first."
        ]
    }


def test_a_drum_is_filled_by_gross_less_tare(tank, drum, bottler):
    builders.lot_in(tank, 600_000)

    response = post(bottler, "drum_fill", fill_form())

    assert grams_in(drum) == 295_000
    assert said(response) == ["650.4 lb from Tank 1 into Drum D-014."]
    # The next drum is filled from the same tank.
    assert response.url == reverse("inventory:drum_fill") + "?tank=tank-1"
    assert list(books.faults()) == []


def test_a_tare_that_is_typed_becomes_the_drums(tank, drum, bottler):
    builders.lot_in(tank, 600_000)

    post(bottler, "drum_fill", fill_form(tare="18", tare_unit="kg"))

    drum.refresh_from_db()
    assert (drum.tare_grams, grams_in(drum)) == (18_000, 294_600)


@pytest.mark.parametrize(
    ("wrong", "field", "sentence"),
    [
        (
            {"gross": "17.6"},
            "gross",
            "The full drum (38.8 lb) must weigh more than the empty drum (38.8 lb). Check "
            "both weights.",
        ),
        (
            {"gross": "701"},
            "gross",
            "1,545 lb is more than a drum of honey weighs. Check the figure and its unit.",
        ),
        (
            {"gross": "250"},
            "gross",
            "Not enough honey: you asked for 512 lb, but Tank 1 has only 441 lb. Enter "
            "less, or choose another vessel.",
        ),
        ({"gross": ""}, "gross", "Enter a figure."),
        ({"gross_unit": "gal"}, "gross", "gal does not fit here. Choose another unit."),
        ({"drum": "tank-1"}, "drum", "That vessel is not in use. Choose one from the list."),
    ],
)
def test_a_drum_that_cannot_be_is_refused(tank, drum, bottler, wrong, field, sentence):
    builders.lot_in(tank, 200_000)

    with books_unchanged():
        response = post(bottler, "drum_fill", fill_form(**wrong))

    assert errors(response) == {field: [sentence]}


def test_a_drum_whose_tare_nobody_knows_needs_one(tank, bottler):
    builders.lot_in(tank)
    builders.place("d-1", Place.Kind.DRUM, name="Drum D-1")

    with books_unchanged():
        response = post(bottler, "drum_fill", fill_form(drum="d-1"))

    assert errors(response) == {"tare": ["Enter the empty weight of Drum D-1."]}


def test_what_a_drum_takes_is_said_while_it_is_weighed(tank, drum, bottler):
    url = reverse("inventory:convert_drum")

    assert text(bottler.get(url, fill_form())) == "= 650.4 lb net, 295 kg (tare 38.8 lb)"
    assert text(bottler.get(url, fill_form(gross=""))) == ""
    assert "must weigh more than the empty drum" in text(bottler.get(url, fill_form(gross="10")))


# ------------------------------------------------------------------ write off


@pytest.mark.parametrize("reason", ["spoilage", "own_use", "gift"])
def test_honey_leaves_the_books_with_its_reason(tank, bottler, reason):
    builders.lot_in(tank, POUNDS_1000)

    response = post(
        bottler,
        "write_off",
        {"place": "tank-1", "reason": reason, "weight": "10", "weight_unit": "kg", "note": "foam"},
    )

    made = Posting.objects.latest("id")
    assert (made.kind, made.note) == (reason, "foam")
    assert said(response) == [f"22.0 lb from Tank 1 written off: {made.get_kind_display()}."]
    assert grams_in(tank) == POUNDS_1000 - 10_000
    assert list(books.faults()) == []


def test_all_of_a_vessel_can_be_written_off(drum, bottler):
    builders.lot_in(drum, 123_457)

    post(bottler, "write_off", {"place": "d-014", "reason": "spoilage", "everything": "on"})

    assert grams_in(drum) == 0


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"weight": ""}, {"weight": ["Enter the weight, or tick “All that is in it”."]}),
        ({"weight": "-1"}, {"weight": ["Enter a figure of 0 or more."]}),
        ({"weight": "0"}, {"weight": ["Enter a weight of more than zero."]}),
        (
            {"weight": "1000.1"},
            {
                "weight": [
                    (
                        "Not enough honey: you asked for 1,000.1 lb, but Tank 1 has only 1,000.0 "
                        "lb. Enter less, or choose another vessel."
                    )
                ]
            },
        ),
        ({"reason": ""}, {"reason": ["Choose why."]}),
    ],
)
def test_a_write_off_that_cannot_be_is_refused(tank, bottler, wrong, told):
    builders.lot_in(tank, POUNDS_1000)
    form = {"place": "tank-1", "reason": "gift", "weight": "1", "weight_unit": "lb"}

    with books_unchanged():
        response = post(bottler, "write_off", form | wrong)

    assert errors(response) == told


def test_what_a_write_off_leaves_is_shown_before(tank, bottler):
    builders.lot_in(tank, POUNDS_1000)
    form = {"key": "k", "place": "tank-1", "reason": "gift", "weight": "100", "weight_unit": "lb"}

    with books_unchanged():
        shown = bottler.get(reverse("inventory:write_off"), form, headers={"HX-Request": "true"})

    assert "Tank 1 1,000.0 lb → 900.0 lb" in text(shown)


def test_what_is_in_the_way_is_said_before_it_is_sent(tank, bottler):
    builders.lot_in(tank, POUNDS_1000)
    form = {"key": "k", "place": "tank-1", "reason": "gift", "weight": "2000", "weight_unit": "lb"}

    shown = bottler.get(reverse("inventory:write_off"), form, headers={"HX-Request": "true"})

    assert text(shown) == (
        "! Not enough honey: you asked for 2,000 lb, but Tank 1 has only 1,000 lb. Enter "
        "less, or choose another vessel."
    )


# ------------------------------------------------------------------ lots


def test_a_lot_page_traces_a_blend_back_to_its_grams(tank, other_tank, bottler):
    builders.lot_in(tank, 200_000, moisture_percent="17.0")
    builders.lot_in(tank, 100_001, floral_source="Aster")

    response = bottler.get(reverse("inventory:lot_detail", args=["26-B01"]))

    shares = [
        (origin.lot.code, origin.grams, round(origin.percent, 2))
        for origin in response.context["story"].origins
    ]
    # 200,000 / 300,001 = 66.67 %, 100,001 / 300,001 = 33.33 %: by hand.
    assert shares == [
        ("26-E01", 200_000, Decimal("66.67")),
        ("26-E02", 100_001, Decimal("33.33")),
    ]
    assert "Where it is now Tank 1 661.4 lb" in text(response)


def test_shares_through_two_blends_add_up_to_the_last_gram(tank, other_tank, owner, key):
    builders.lot_in(tank, 100_003)
    builders.lot_in(tank, 50_021)
    builders.lot_in(other_tank, 33_333)
    honey.transfer(source=tank, target=other_tank, grams=77_777, recorded_by=owner, key=key())
    lot = Balance.objects.in_vessel(other_tank).lot

    story = (
        signed_in("office").get(reverse("inventory:lot_detail", args=[lot.code])).context["story"]
    )

    assert sum(origin.grams for origin in story.origins) == 111_110
    assert sum(origin.share for origin in story.origins) == 1
    # 77,777 × 100,003 / 150,024 = 51,844.5 g of the first: by hand.
    assert abs(story.origins[0].grams - 51_844) <= 1


def test_a_lot_of_many_origins_shows_the_largest_and_the_others_in_pages(tank, bottler):
    # A blend at each pouring: the largest share is that of the last, the smallest of the first two.
    for number in range(1, 23):
        builders.lot_in(tank, 1_000 * number)
    lot = Balance.objects.in_vessel(tank).lot
    url = reverse("inventory:lot_detail", args=[lot.code])

    def grams_told(**asked) -> list[int]:
        return [origin.grams for origin in bottler.get(url, asked).context["rows"]["origins"]]

    whole = [1_000 * number for number in range(22, 0, -1)]
    assert grams_told() == whole[:20]
    assert 'href="?show=origins"' in bottler.get(url).content.decode()
    assert grams_told(show="origins") == whole
    assert [origin.share for origin in lot.origins()] == [
        Fraction(number, 253) for number in range(22, 0, -1)
    ]


def test_a_lot_page_traces_an_extraction_out_to_blends_and_jars(tank, bottler):
    lot = builders.lot_in(tank, 200_000)
    builders.lot_in(tank, 100_000)
    shelf = builders.place("shelf", Place.Kind.SHELF, name="Shelf")
    blend = Balance.objects.in_vessel(tank).lot
    builders.packed_lot(builders.size(), shelf, 48, code="L1", parent=blend)

    response = bottler.get(reverse("inventory:lot_detail", args=[lot.code]))

    became = response.context["story"].became
    assert [(row.lot.code, row.grams) for row in became] == [("26-B01", 200_000), ("L1", None)]
    assert "Shelf: 48 pieces" in text(response)
    assert "It is all gone." in text(response)


def test_a_lot_on_hold_says_why(tank, bottler):
    lot = builders.lot_in(tank)
    Lot.objects.filter(pk=lot.pk).update(is_on_hold=True, hold_reason="A jar was light.")

    page = text(bottler.get(reverse("inventory:lot_detail", args=[lot.code])))

    assert "On hold: not for sale. A jar was light." in page


def test_a_lot_that_is_not_there_is_not_found(bottler):
    assert bottler.get(reverse("inventory:lot_detail", args=["26-X99"])).status_code == 404


def test_a_lot_page_asks_as_often_for_many_rows_as_for_one(tank, owner):
    client = signed_in("owner")
    lot = builders.lot_in(tank, 900_000)
    url = reverse("inventory:lot_detail", args=[lot.code])

    def pour_out(count: int) -> None:
        for _number in range(count):
            drum = builders.place(f"d-{Place.objects.count()}", Place.Kind.DRUM)
            honey.transfer(
                source=tank, target=drum, grams=1000, recorded_by=owner, key=builders.new_key()
            )

    pour_out(1)
    for_one = queries_of(client, url)
    pour_out(9)

    assert queries_of(client, url) == for_one


def test_lots_are_found_by_word_season_and_what_is_in_hand(tank, other_tank, bottler, owner, key):
    builders.lot_in(tank, floral_source="Clover")
    builders.lot_in(other_tank, floral_source="Buckwheat", season=2025)
    honey.write_off(place=tank, grams=None, reason="gift", recorded_by=owner, key=key())

    def found(**wanted) -> list[str]:
        page = bottler.get(reverse("inventory:lot_list"), wanted).context["page"]
        return [lot.code for lot in page.object_list]

    assert found() == ["25-E01", "26-E01"]
    assert found(words="buck") == ["25-E01"]
    assert found(season="2026") == ["26-E01"]
    assert found(in_hand="on") == ["25-E01"]
    assert found(words="heather") == []
    assert found(season="nonsense") == ["25-E01", "26-E01"]


# ------------------------------------------------------------------ postings


def test_postings_are_found_by_kind_place_lot_and_day(tank, drum, bottler, owner, key):
    lot = builders.lot_in(tank, 600_000)
    drums.fill(tank=tank, drum=drum, gross_grams=300_000, recorded_by=owner, key=key())
    today = timezone.localdate().isoformat()

    def found(**wanted) -> list[str]:
        response = bottler.get(reverse("inventory:posting_list"), wanted)
        return [row.posting.kind for row in response.context["rows"]]

    assert found() == ["drum_fill", "extraction"]
    assert found(kind="extraction") == ["extraction"]
    assert found(place="d-014") == ["drum_fill"]
    assert found(lot=lot.code) == ["drum_fill", "extraction"]
    # The honey is there since the day it was extracted on, whenever that was written down.
    assert found(first=today, last=today) == ["drum_fill"]
    assert found(first="2026-07-20", last="2026-07-20") == ["extraction"]
    assert found(last="2020-01-01") == []


def test_a_filter_that_cannot_be_says_so(bottler):
    url = reverse("inventory:posting_list")

    response = bottler.get(url, {"lot": "no-such", "first": "2026-02-01", "last": "2026-01-01"})

    assert "There is no lot with this code." in text(response)
    assert "The last day is before the first day. Change one of them." in text(response)


def test_long_lists_come_in_pages(tank, other_tank, bottler, owner):
    builders.lot_in(tank)
    for _number in range(50):
        honey.transfer(
            source=tank, target=other_tank, grams=1, recorded_by=owner, key=builders.new_key()
        )

    first = bottler.get(reverse("inventory:posting_list"), {"kind": "transfer"})
    everything = bottler.get(reverse("inventory:posting_list"), {"page": "2"})

    assert len(first.context["rows"]) == 50
    assert [row.posting.kind for row in everything.context["rows"]] == ["extraction"]
    assert "Page 2 of 2" in text(everything)


def test_a_posting_shows_its_lines(tank, drum, bottler, owner, key):
    builders.lot_in(tank, 600_000)
    made = drums.fill(tank=tank, drum=drum, gross_grams=312_600, recorded_by=owner, key=key())

    page = text(bottler.get(reverse("inventory:posting_detail", args=[made.pk])))

    assert "650.4 lb from Tank 1 to Drum D-014" in page
    assert re.search(
        r"Tank 1 Bulk honey 26-E01 650.4 lb Drum D-014 Bulk honey 26-E01 650.4 lb", page
    )


def test_undoing_asks_first_and_then_reverses(tank, drum, bottler, owner, key):
    builders.lot_in(tank, 600_000)
    made = drums.fill(tank=tank, drum=drum, gross_grams=312_600, recorded_by=owner, key=key())
    url = reverse("inventory:posting_reverse", args=[made.pk])

    with books_unchanged():
        asked = text(bottler.get(url))
    response = bottler.post(url, {"key": builders.new_key(), "note": "wrong drum"})

    assert "650.4 lb goes back from Drum D-014 to Tank 1" in asked
    assert said(response)[0].startswith("Undone: drum filled of ")
    assert (grams_in(tank), grams_in(drum)) == (600_000, 0)
    made.refresh_from_db()
    assert (made.reversed_by.kind, made.reversed_by.note) == ("reversal", "wrong drum")
    assert list(books.faults()) == []


def test_what_was_undone_is_not_undone_again(tank, bottler):
    builders.lot_in(tank)
    made = Posting.objects.get()
    post(bottler, "posting_reverse", {}, made.pk)

    with books_unchanged():
        page = text(bottler.get(reverse("inventory:posting_reverse", args=[made.pk])))
        response = post(bottler, "posting_reverse", {}, made.pk)

    assert "This was undone already." in page
    assert errors(response) == {"__all__": ["This was undone already."]}


def test_what_has_moved_on_is_not_undone(tank, other_tank, bottler, owner, key):
    builders.lot_in(tank, POUNDS_1000)
    made = Posting.objects.get()
    honey.transfer(source=tank, target=other_tank, grams=None, recorded_by=owner, key=key())

    with books_unchanged():
        response = post(bottler, "posting_reverse", {}, made.pk)

    [sentence] = errors(response)["__all__"]
    assert sentence.startswith(
        "This can't be undone any more, because the goods have since been moved or used."
    )
    assert "This was undone already." not in response.text


def test_a_sale_is_not_undone_from_here(tank, bottler, owner, key):
    lot = builders.lot_in(tank)
    made = ledger.post(
        kind="sale",
        lines=ledger.move(
            item=Item.objects.honey(),
            lot=lot,
            source=tank,
            target=Place.objects.outside("customer"),
            quantity=1000,
        ),
        recorded_by=owner,
        key=key(),
    )

    with books_unchanged():
        page = bottler.get(reverse("inventory:posting_reverse", args=[made.pk]))
        response = post(bottler, "posting_reverse", {}, made.pk)

    sentence = "A sale or a return is undone from its order, not from here."
    assert sentence in text(page)
    assert errors(response) == {"__all__": [sentence]}


def test_who_minds_the_stand_undoes_nothing(tank):
    builders.lot_in(tank)
    url = reverse("inventory:posting_reverse", args=[Posting.objects.get().pk])

    assert signed_in("stand").get(url).status_code == 403
    assert "Undo it" not in text(
        signed_in("stand").get(reverse("inventory:posting_detail", args=[Posting.objects.get().pk]))
    )


def test_a_posting_that_is_not_there_is_not_found(bottler):
    assert bottler.get(reverse("inventory:posting_detail", args=[99])).status_code == 404


def test_every_balance_of_these_acts_is_never_below_nothing(tank, drum, bottler):
    post(bottler, "receive", receipt())
    post(bottler, "drum_fill", fill_form(gross="300"))
    post(bottler, "drain", {"source": "d-014", "target": "tank-1"})

    assert not Balance.objects.filter(is_physical=True, quantity__lt=0).exists()
    assert grams_in(tank) == POUNDS_1000


# ------------------------------------------------------------------ an empty house


@pytest.mark.parametrize("act", ["receive", "transfer", "blend", "drain", "drum_fill", "write_off"])
def test_an_act_without_a_vessel_leads_to_setting_one_up(db, act):
    page = signed_in("bottling").get(reverse(f"inventory:{act}"))

    if act == "write_off":
        assert "No vessel has honey. Receive honey first." in text(page)
    else:
        assert "No tank or drum for honey is set up yet." in text(page)
        assert f'href="{reverse("inventory:place_create")}"' in page.text


@pytest.mark.parametrize("act", ["transfer", "blend", "drain", "drum_fill", "write_off"])
def test_an_act_without_honey_leads_to_receiving_some(db, act):
    builders.place("tank-1")
    builders.place("d-1", Place.Kind.DRUM)

    page = signed_in("bottling").get(reverse(f"inventory:{act}"))

    assert "No vessel has honey. Receive honey first." in text(page)
    assert f'href="{reverse("inventory:receive")}"' in page.text


def test_what_would_run_over_is_said_at_the_vessel_it_is_poured_into(bottler):
    builders.lot_in(builders.place("tank-2"), 500_000)
    builders.lot_in(builders.place("tank-3"), 500_000)
    builders.place("pail-1", Place.Kind.PAIL, capacity_litres=20)

    with books_unchanged():
        drained = bottler.post(
            reverse("inventory:drain"), {"key": "k-1", "source": "tank-2", "target": "pail-1"}
        )
        blended = bottler.post(
            reverse("inventory:blend"),
            {"key": "k-2", "target": "pail-1", "source_1": "tank-2", "source_2": "tank-3"},
        )

    assert list(errors(drained)) == ["target"]
    assert list(errors(blended)) == ["target"]


@pytest.mark.parametrize(
    ("role", "is_shown"), [("owner", True), ("bottling", True), ("office", True), ("stand", False)]
)
def test_the_buyers_of_a_lot_are_shown_to_those_who_may_see_them(tank, role, is_shown):
    lot = builders.lot_in(tank)

    page = signed_in(role).get(reverse("inventory:lot_detail", args=[lot.code]))

    assert ("Who bought it" in page.text) == is_shown
