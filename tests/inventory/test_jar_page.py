"""The public page of a jar: what strangers may read, and that nothing else gets out."""

from datetime import date
from decimal import Decimal

import pytest
import time_machine
from django.core.cache import cache
from django.urls import reverse

from apiary_sales.accounts.services import people
from inventory.bottling.models import JarPage
from inventory.bottling.queries import jar_pages
from inventory.bottling.services import jar_page, reversals
from inventory.bottling.views.jar_pages import choice_html
from inventory.shared import visits
from inventory.shared.errors import HouseError
from inventory.shared.public_pages import VISITS_MAX
from inventory.shared.services import house
from inventory.stock.models import Lot, Place
from inventory.stock.services import honey
from tests import builders
from tests.inventory import bottling_room

pytestmark = pytest.mark.django_db

CAUTION = "Do not feed honey to infants under one year of age."
CHOICES = {
    "is_on": True,
    "shows_floral_source": True,
    "region": "",
    "dates": "month",
    "shows_colour": True,
    "shows_moisture": False,
    "shows_phone": False,
    "shows_email": False,
    "note": "",
    "hold_sentence": "",
}


@pytest.fixture(autouse=True)
def _nothing_kept():
    """Keep neither pages nor counts of visits from one test to the next."""
    cache.clear()
    yield
    cache.clear()


@pytest.fixture
def lot() -> Lot:
    """Jars packed on 1 August 2026 from honey extracted on 20 July 2026; white, 17.4 %."""
    tank = builders.place("tank-1", name="Tank 1")
    return builders.packed_lot(
        builders.product("Classic jar", code="classic"),
        builders.place("shelf", Place.Kind.SHELF),
        code="L26-07",
        parent=builders.lot_in(tank),
    )


def choose(**choices) -> JarPage:
    return jar_page.change(**(CHOICES | choices))


def facts(page) -> dict[str, str]:
    """Return what the page of the context says, by the name of each line."""
    return {fact.name: fact.text for fact in page.context["jar"].facts}


def hold(lot: Lot) -> None:
    lot.is_on_hold, lot.hold_reason = True, "Short weight in jar seven"
    lot.save()


def not_found_page(client) -> bytes:
    return client.get("/j/").content


def test_jars_have_no_page_until_the_owner_turns_it_on(client, lot):
    answer = client.get("/j/L26-07/classic/")

    assert answer.status_code == 404
    assert answer.content == not_found_page(client)
    assert jar_pages.address_of(lot, "https://honey.example") is None


def test_the_page_says_what_the_label_says(client, lot):
    choose()

    answer = client.get("/j/L26-07/classic/")

    assert answer.status_code == 200
    assert facts(answer) == {
        "Floral source": "Clover",
        "Colour": "White",
        "Extracted": "July 2026",
        "Packed": "August 2026",
        "Best by": "Jul 31, 2028",
        "Lot": "L26-07",
    }
    page = answer.content.decode()
    assert "Our honey house" in page
    assert "<h1>Classic jar</h1>" in page
    assert 'class="honey honey-white"' in page
    assert CAUTION in page
    assert len(answer.content) < 5_000


@pytest.mark.parametrize(
    ("choices", "changed"),
    [
        ({"shows_floral_source": False}, {"Floral source": None}),
        ({"shows_colour": False}, {"Colour": None}),
        ({"shows_moisture": True}, {"Moisture": "17.4 %"}),
        ({"region": "Harrow Valley"}, {"Region": "Harrow Valley"}),
        ({"dates": "none"}, {"Extracted": None, "Packed": None}),
        ({"dates": "day"}, {"Extracted": "Jul 20, 2026", "Packed": "Aug 1, 2026"}),
    ],
)
def test_the_owner_decides_each_line(client, lot, choices, changed):
    choose()
    usual = facts(client.get("/j/L26-07/"))
    cache.clear()
    choose(**choices)

    shown = facts(client.get("/j/L26-07/"))

    expected = {name: text for name, text in (usual | changed).items() if text is not None}
    assert shown == expected


@pytest.mark.parametrize(
    ("choices", "text"),
    [
        ({"shows_phone": True}, 'href="tel:5550100199">(555) 010-0199</a>'),
        ({"shows_email": True}, 'href="mailto:hello@harrow.example">'),
        ({"note": "Warm it <gently>."}, "<p>Warm it &lt;gently&gt;.</p>"),
    ],
)
def test_the_owner_decides_on_the_contact_and_the_note(client, lot, choices, text):
    house.change(name="Harrow", phone="(555) 010-0199", email="hello@harrow.example")
    choose()
    without = client.get("/j/L26-07/").content.decode()
    cache.clear()
    choose(**choices)

    page = client.get("/j/L26-07/").content.decode()

    assert text not in without
    assert text in page


def test_honey_of_several_extractions_says_from_when_to_when(client):
    tank = builders.place("tank-1", name="Tank 1")
    builders.lot_in(tank, 40_000)
    honey.receive(
        place=tank,
        grams=40_000,
        season=2026,
        floral_source="Aster",
        extracted_on=date(2026, 9, 9),
        moisture_percent=Decimal("17.9"),
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
    blend = Lot.objects.get(kind=Lot.Kind.BLEND)
    builders.packed_lot(
        builders.product("Classic jar", code="classic"),
        builders.place("shelf", Place.Kind.SHELF),
        code="L26-07",
        parent=blend,
    )
    choose()

    assert facts(client.get("/j/L26-07/"))["Extracted"] == "July 2026 to September 2026"


def test_nothing_of_the_houses_own_books_is_on_any_page(client):
    packer = people.add(username="zzpacker", name="Zz Packer", password="zz", role="bottling")
    house.change(
        name="Harrow",
        street="9 Zzstreet",
        phone="555 9988776",
        email="zz@harrow.example",
        tax_number="ZZTAX77",
    )
    room = bottling_room.set_up(cost_cents=7_654_321)
    Lot.objects.filter(pk=room.lot.pk).update(code="ZZ-HONEY", yard="Zzyard", note="Zznote")
    Place.objects.filter(pk=room.tank.pk).update(name="Zztank")
    Place.objects.filter(pk=room.shelf.pk).update(name="Zzshelf")
    builders.customer("Zzcustomer")
    run = bottling_room.recorded(room, recorded_by=packer)
    lot = run.packed_lot
    lot.yard, lot.note = "Zzyard", "Zznote"
    lot.save()
    choose()
    path = jar_pages.path_of(lot)

    shown = [client.get(path).content.decode()]
    hold(lot)
    Lot.objects.filter(pk=lot.pk).update(hold_reason="Zzreason")
    house.change(phone="", email="")
    cache.clear()
    shown += [client.get(path).content.decode()]
    choose(is_on=False)
    cache.clear()
    shown += [client.get(path).content.decode()]

    assert lot.code in shown[0]
    assert lot.code in shown[1]
    private = ["zz", "9988776", "7654321", "76,543", run.number, "96", "45,000", "csrf", "sign"]
    assert run.number != lot.code
    for page in shown:
        assert [
            word for word in private if word in page.lower().replace(lot.code.lower(), "")
        ] == []
        assert "<script" not in page


def test_a_lot_on_hold_says_so_plainly_and_whom_to_ask(client, lot):
    house.change(name="Harrow", phone="555 0100", email="hello@harrow.example")
    choose(shows_moisture=True, note="Lovely on toast.", region="Harrow Valley")
    hold(lot)

    answer = client.get("/j/L26-07/")
    page = answer.content.decode()

    # What tells whether this jar is meant stays; what praises the honey goes.
    assert list(facts(answer)) == ["Packed", "Best by", "Lot"]
    assert "Please ask us about this lot." in page
    assert "tel:5550100" in page
    assert "mailto:hello@harrow.example" in page
    assert "Lovely" not in page
    assert "Short weight" not in page
    assert CAUTION in page


def test_the_owner_writes_what_a_lot_on_hold_says(client, lot):
    choose(hold_sentence="Do not eat it. Bring the jar back to us.")
    hold(lot)

    page = client.get("/j/L26-07/").content.decode()

    assert "Do not eat it. Bring the jar back to us." in page
    assert "Please ask us" not in page
    assert "Our address is on the label." in page


@pytest.mark.parametrize("path", ["/j/l26-07/", "/j/L26-07/Classic/", "/j/l26-07/classic/"])
def test_small_letters_do_for_capital_ones_in_an_address_typed_from_a_label(client, lot, path):
    choose()

    assert client.get(path).content == client.get("/j/L26-07/").content


@pytest.mark.parametrize(
    "path",
    [
        "/j/",
        "/j/L26-08/",
        "/j/L26-07/other/",
        "/j/L26-07/classic/more/",
        "/j/%00/",
        "/j/honey-1/",
    ],
)
def test_a_code_that_is_on_no_jar_has_the_same_empty_page(client, lot, path):
    Lot.objects.filter(kind=Lot.Kind.EXTRACTION).update(code="honey-1")
    choose()

    answer = client.get(path)

    assert answer.status_code == 404
    assert answer.content == not_found_page(client)
    assert "Set-Cookie" not in answer
    assert b"<a " not in answer.content


def test_an_undone_run_left_no_jars(client):
    room = bottling_room.set_up()
    run = bottling_room.recorded(room)
    choose()
    path = jar_pages.path_of(run.packed_lot)
    before = client.get(path).status_code
    reversals.reverse(
        posting=run.posting, recorded_by=builders.person(), key=builders.new_key(), note="Wrong"
    )
    cache.clear()

    assert (before, client.get(path).status_code) == (200, 404)


def test_a_code_of_several_products_asks_which_and_tells_no_more():
    lots = [
        Lot(code="L26-07", product=builders.product(name, code=code), floral_source="Zz")
        for name, code in (("Classic jar", "classic"), ("Small jar", "small"))
    ]

    page = choice_html(lots)

    assert 'href="/j/L26-07/classic/">Classic jar</a>' in page
    assert 'href="/j/L26-07/small/">Small jar</a>' in page
    assert "Zz" not in page


@pytest.mark.parametrize("site", ["https://honey.example", "https://honey.example/"])
def test_the_address_for_the_label_names_lot_and_product(lot, site):
    choose()

    assert jar_pages.address_of(lot, site) == "https://honey.example/j/L26-07/classic/"


def test_the_address_for_the_label_is_that_of_the_request(rf, lot):
    choose()

    address = jar_pages.address_of(lot, rf.get("/", HTTP_HOST="localhost:8000"))

    assert address == "http://localhost:8000/j/L26-07/classic/"
    assert jar_pages.address_of(Lot(code="honey-1"), "https://honey.example") is None


def test_no_cookie_is_set_or_read_even_for_the_owner(client, lot):
    choose()
    stranger = client.get("/j/L26-07/", HTTP_ACCEPT_LANGUAGE="en")
    client.force_login(builders.person("owner"))
    client.cookies["django_language"] = "es"

    for path, status in (("/j/L26-07/", 200), ("/j/other/", 404)):
        answer = client.get(path, HTTP_ACCEPT_LANGUAGE="en")

        assert answer.status_code == status
        assert "Set-Cookie" not in answer
        assert not answer.cookies
        assert answer["Vary"] == "Accept-Language, Accept-Encoding"
        assert answer["Content-Language"] == "en"
    assert client.get("/j/L26-07/", HTTP_ACCEPT_LANGUAGE="en").content == stranger.content


def test_the_page_is_in_the_language_of_the_browser(client, lot):
    choose()
    client.get("/j/L26-07/", HTTP_ACCEPT_LANGUAGE="en")

    answer = client.get("/j/L26-07/", HTTP_ACCEPT_LANGUAGE="es-MX,es;q=0.9,en;q=0.5")

    assert answer["Content-Language"] == "es"
    assert '<html lang="es">' in answer.content.decode()
    assert "No dé miel a bebés menores de un año." in answer.content.decode()


def test_the_page_is_kept_for_five_minutes_and_asked_for_anew_by_its_tag(client, lot):
    choose()
    first = client.get("/j/L26-07/")

    again = client.get("/j/L26-07/", HTTP_IF_NONE_MATCH=first["ETag"])
    other = client.get("/j/L26-07/", HTTP_IF_NONE_MATCH='"other"')

    assert first["Cache-Control"] == "public, max-age=300"
    assert first["X-Robots-Tag"] == "noindex"
    assert (again.status_code, again.content) == (304, b"")
    assert again["ETag"] == first["ETag"]
    assert again["Cache-Control"] == "public, max-age=300"
    assert other.status_code == 200


def test_a_crowd_asks_the_database_once_a_minute(client, lot, django_assert_num_queries):
    choose()
    client.force_login(builders.person("owner"))
    with time_machine.travel("2026-11-26 12:00:10+00:00", tick=False) as clock:
        client.get("/j/L26-07/")
        with django_assert_num_queries(0):
            client.get("/j/L26-07/")
        hold(lot)
        clock.shift(61)

        assert b"Please ask us about this lot." in client.get("/j/L26-07/").content


def test_the_page_carries_the_headers_of_every_page(client, lot):
    choose()

    answer = client.get("/j/L26-07/")

    assert "script-src 'self'" in answer["Content-Security-Policy"]
    assert answer["X-Frame-Options"] == "DENY"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Referrer-Policy"] == "same-origin"


def test_one_visitor_may_ask_so_often_in_a_minute_and_no_more(client, lot):
    choose()
    with time_machine.travel("2026-11-26 12:00:10+00:00", tick=False) as clock:
        answers = [client.get("/j/guess/").status_code for _ in range(VISITS_MAX)]
        refused = client.get("/j/L26-07/")
        other = client.get("/j/L26-07/", REMOTE_ADDR="198.51.100.7")
        clock.shift(50)
        later = client.get("/j/L26-07/")

    assert set(answers) == {404}
    assert refused.status_code == 429
    assert refused["Retry-After"] == "50"
    assert refused["Cache-Control"] == "no-store"
    assert "Open it again in 50 seconds." in refused.content.decode()
    assert "Set-Cookie" not in refused
    assert other.status_code == 200
    assert later.status_code == 200


@pytest.mark.parametrize(
    ("address", "who"),
    [
        ("198.51.100.7", "198.51.100.7"),
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),
        ("2001:db8:1:2:ffff::1", "2001:db8:1:2::/64"),
        ("::ffff:198.51.100.7", "198.51.100.7"),
        ("", "unknown"),
    ],
)
def test_a_visitor_is_an_address_or_a_network_at_home(address, who):
    assert visits.visitor(address) == who


def test_the_page_takes_no_forms(client, lot):
    choose()

    assert client.post("/j/L26-07/").status_code == 405


@pytest.mark.parametrize("role", ["bottling", "stand", "office"])
def test_only_the_owner_decides_what_jars_show(client, role):
    client.force_login(builders.person(role))

    assert client.get(reverse("inventory:jar_page_settings")).status_code == 403


def test_the_owner_turns_the_page_on_and_sees_the_newest_lot(client, lot):
    client.force_login(builders.person("owner"))
    page = client.get(reverse("inventory:jar_page_settings"))
    sent = {
        "key": "k",
        "is_on": "on",
        "dates": "day",
        "shows_moisture": "on",
        "region": " Harrow Valley ",
        "note": "",
        "hold_sentence": "",
    }

    answer = client.post(reverse("inventory:jar_page_settings"), sent, follow=True)

    assert "lot codes are easy to guess" in " ".join(page.content.decode().split())
    assert not page.context["page"].is_on
    assert "Saved. Jars have a page, and it shows what you chose." in answer.content.decode()
    saved = JarPage.current()
    assert (saved.is_on, saved.dates, saved.region) == (True, "day", "Harrow Valley")
    assert (saved.shows_moisture, saved.shows_colour) == (True, False)
    assert facts(answer)["Moisture"] == "17.4 %"
    assert "http://testserver/j/L26-07/classic/" in answer.content.decode()


def test_dates_that_are_no_choice_are_refused():
    with pytest.raises(HouseError) as refusal:
        choose(dates="week")

    problem = refusal.value.problems[0]
    assert (problem.parameter, problem.message) == ("dates", "Choose how exact the dates are.")
    assert not JarPage.objects.exists()
