"""Help: the same pages in both languages, in the words of the screens, with live figures."""

import re
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from django.conf import settings
from django.contrib.staticfiles import finders
from django.urls import URLResolver, get_resolver, reverse
from django.utils import translation
from django.utils.html import escape

from apiary_sales.web.help import book, contents, figures, pages
from apiary_sales.web.help.cards import CARDS
from inventory.shared.models import House
from tests import builders
from tests.inventory import printed
from tests.web.test_languages import entries

FOLDER = settings.BASE_DIR / "templates" / "help"
SLUGS = [topic.slug for topic in contents.TOPICS]


def source(language: str, slug: str) -> str:
    return (FOLDER / language / f"{slug}.html").read_text(encoding="utf-8")


def names(language: str) -> set[str]:
    return {str(path.relative_to(FOLDER / language)) for path in (FOLDER / language).rglob("*")}


def test_both_languages_have_the_pages_that_the_contents_name_and_the_cards():
    cards = {"cards", *(f"cards/{card.slug}.html" for card in CARDS)}

    assert names("en") == names("es") == {f"{slug}.html" for slug in SLUGS} | cards


def shape(text: str) -> dict[str, list[str]]:
    """Return what must be alike in both languages: tags, figures, tags of Django and digits."""
    written = re.sub(r"{[{%].*?[}%]}", " ", text)
    return {
        "tags": re.findall(r"<(h2|li|p|dt|dd|ul|ol|table)\b", text),
        "figures": re.findall(r"{{\s*([^}]*?)\s*}}", text),
        "words": sorted(re.findall(r'{% screen "(.*?)" %}', text)),
        "links": sorted(re.findall(r'{% help_to "(.*?)" %}', text)),
        "pictures": re.findall(r'{% picture "(.*?)"', text),
        "cautions": re.findall(r'with kind="(.*?)"', text),
        "digits": sorted(re.findall(r"\d[\d.,]*\d|\d", re.sub(r"76/211/\w+|<[^>]+>", "", written))),
    }


@pytest.mark.parametrize("slug", [*SLUGS, *(f"cards/{card.slug}" for card in CARDS)])
def test_a_page_says_the_same_in_both_languages(slug):
    assert shape(source("en", slug)) == shape(source("es", slug))


def test_what_help_quotes_from_a_screen_is_in_the_catalogue_of_words():
    known = {english.replace('\\"', '"') for english, _spanish in entries()}
    quoted = {
        (slug, word)
        for slug in SLUGS
        for word in re.findall(r'{% screen "(.*?)" %}', source("en", slug))
    }

    strangers = [
        (slug, word)
        for slug, word in sorted(quoted)
        if word not in known and word[:1].lower() + word[1:] not in known
    ]

    assert len(quoted) > 200
    assert strangers == []


@pytest.mark.parametrize(
    ("language", "words", "shown"),
    [
        ("es", "Record this run", "Registrar este envasado"),
        ("es", "Prices include the tax", "Los precios incluyen el impuesto"),
        ("en", "Prices include the tax", "Prices include the tax"),
    ],
)
def test_quoted_words_are_those_of_the_screen_in_the_language_of_the_page(language, words, shown):
    with translation.override(language):
        assert book.on_screen(words) == shown


def test_every_picture_is_there_and_small():
    for language in ("en", "es"):
        for slug in SLUGS:
            for name in re.findall(r'{% picture "(.*?)"', source(language, slug)):
                found = finders.find(f"web/help/{language}/{name}.webp")
                assert found, name
                assert Path(found).stat().st_size <= 60_000, name


def names_of_pages(resolver: URLResolver | None = None, namespace: str = "") -> Iterator[str]:
    for entry in (resolver or get_resolver()).url_patterns:
        if isinstance(entry, URLResolver):
            yield from names_of_pages(
                entry, f"{namespace}{entry.namespace}:" if entry.namespace else namespace
            )
        elif entry.name:
            yield f"{namespace}{entry.name}"


def test_every_page_that_is_said_to_show_help_exists_and_has_one_help():
    shown = [name for topic in contents.TOPICS for name in topic.shown_on]

    assert set(shown) <= set(names_of_pages())
    assert len(shown) == len(set(shown))


@pytest.mark.django_db
@pytest.mark.parametrize(("language", "title"), [("en", "Receive honey"), ("es", "Recibir miel")])
def test_a_page_of_the_house_leads_to_its_help(client, language, title):
    client.force_login(builders.person("bottling"))

    page = client.get(reverse("inventory:receive"), headers={"Accept-Language": language}).text

    assert re.search(
        rf'href="/help/receive-honey/"\s+aria-label="[^"]*: {title}"><span>\?</span></a>', page
    )


@pytest.mark.django_db
def test_a_page_without_help_of_its_own_shows_no_link(client):
    client.force_login(builders.person("owner"))

    assert 'href="/help/receive-honey/"' not in client.get(reverse("accounts:changes")).text


@pytest.mark.django_db
@pytest.mark.parametrize("language", ["en", "es"])
def test_every_page_is_shown_with_its_title_and_an_example_where_it_is_a_number(client, language):
    client.force_login(builders.person("owner"))

    for page in pages(language):
        shown = client.get(page.url, headers={"Accept-Language": language})
        assert shown.status_code == 200, page.slug
        assert f"<h1>{escape(page.title)}</h1>" in shown.text
        assert str(escape(page.summary)) in shown.text
        assert ("worked-example" in shown.text) == contents.BY_SLUG[page.slug].is_number


@pytest.mark.django_db
def test_there_is_no_help_on_what_is_not_in_the_contents(client):
    client.force_login(builders.person("owner"))

    assert client.get("/help/no-such-page/").status_code == 404
    assert client.get("/help/cards/no-such-card.pdf").status_code == 404


@pytest.mark.parametrize(
    ("language", "typed", "first"),
    [
        ("en", "dip tank", "dip-a-tank"),
        ("en", "RECALL", "hold-and-recall"),
        # Without its accent.
        ("es", "retencion", "hold-and-recall"),
        ("es", "mezcla humedad", "moisture-of-a-blend"),
    ],
)
def test_a_search_finds_the_page_that_has_the_words_in_its_title(language, typed, first):
    assert book.find(typed, language)[0].slug == first


@pytest.mark.parametrize("typed", ["", "   ", "xyzzy", "dip xyzzy"])
def test_a_search_finds_nothing_where_a_word_is_nowhere(typed):
    assert book.find(typed, "en") == []


@pytest.mark.django_db
def test_the_page_of_help_shows_what_was_found_and_says_where_nothing_was(client):
    client.force_login(builders.person("stand"))

    assert 'href="/help/market-day/"' in client.get("/help/?q=market+day").text
    assert "No page of the help has all these words." in client.get("/help/?q=xyzzy").text


def test_the_text_that_is_searched_has_no_marks_in_it():
    for page in pages("en"):
        assert not re.search(r"[<>{}]|&\w+;", page.title + page.summary + page.text), page.slug
        assert len(page.text) > 200, page.slug


# What is worked out by hand here.


def test_the_weight_of_the_invented_dip_is_the_one_worked_out_by_hand():
    """π ÷ 4 × 6² dm² × 5 dm is 141.37 L; at 17.4 % and 30 °C, by the table of `physics.density`,
    (1.4237 − 0.4 × 0.0066) × 0.998207 − 0.006 = 1.41251 kg/L."""
    example = figures.of("weight-from-a-dip", may_see=False)

    assert round(example.litres, 2) == Decimal("141.37")
    assert round(example.density, 5) == Decimal("1.41251")
    assert example.grams == 199_689


def test_the_invented_blend_is_the_mean_by_weight():
    """200 kg at 17.0 % and 100 kg at 18.5 % have 34 + 18.5 kg of water in 300 kg; the colour is
    (200 × 40 + 100 × 85) ÷ 300."""
    moisture = figures.of("moisture-of-a-blend", may_see=False)
    colour = figures.of("colour-of-a-blend", may_see=False)

    assert moisture.moisture_percent == Decimal("17.5")
    assert colour.colour_mm == 55


@pytest.mark.django_db
def test_what_a_pound_brings_is_worked_out_from_the_lines_shown():
    """9 $ less 0.25 and 0.02 a pound, 0.85 for the jar, 75 minutes for 100 at 20 $ an hour; 461 g
    are drawn for one."""
    example = figures.of("net-back", may_see=False)

    assert example.left == Decimal("7.6300")
    assert sum(line.each for line in example.lines) == example.left
    assert example.per_unit == Decimal("7.5074")


def test_the_invented_forecast_is_the_mean_and_spread_of_its_years():
    """412, 365 and 390 have the mean 389 and, from their squares, the deviation 23.5."""
    example = figures.of("forecast", may_see=False)

    assert (example.past.average, example.past.spread) == (389, 24)
    assert (example.careful, example.hopeful) == (365, 413)


def test_the_invented_price_is_tried_as_by_hand():
    """1,000 × 6 $, then 1,000 ÷ 1.25 = 800 × 8.50 $ and 200 × 1 $ in drums; 5 $ ÷ 7.50 $ remain."""
    example = figures.of("try-a-price", may_see=False)

    assert (example.trial.now.margin_cents, example.trial.likely.margin_cents) == (600_000, 680_000)
    assert (example.more_cents, example.trial.likely.drum_cents) == (100_000, 20_000)
    assert example.trial.break_even.percent == Decimal("33.3")


@pytest.mark.django_db
def test_an_example_has_the_house_s_own_figures_for_who_may_see_them(client):
    """300 kg at 17.0 % and 150 kg at 18.8 % have 51 + 28.2 kg of water in 450 kg."""
    tank = builders.place("T1")
    builders.lot_in(tank, 300_000, moisture_percent="17.0")
    builders.lot_in(tank, 150_000, moisture_percent="18.8")
    client.force_login(builders.person("bottling"))

    own = client.get("/help/moisture-of-a-blend/").text
    client.force_login(builders.person("stand"))
    invented = client.get("/help/moisture-of-a-blend/").text

    assert "These are figures of this house" in own
    assert "17.60" in own
    assert "These are figures of this house" not in invented
    assert "17.50" in invented


@pytest.mark.django_db
@pytest.mark.parametrize(("unit", "shown"), [("lb", "0.80</span>/lb"), ("kg", "1.7637</span>/kg")])
def test_a_price_by_weight_is_for_the_unit_of_the_house(client, unit, shown):
    """1600.00 over 907,185 g: 2000 lb, or 907.185 kg."""
    House.objects.update_or_create(pk=House.current().pk, defaults={"weight_unit": unit})
    client.force_login(builders.person("owner"))

    assert shown in client.get("/help/cost-of-honey/").text


@pytest.mark.django_db
def test_tax_rounded_line_by_line_is_that_of_its_lines():
    """6.25 % of 48.00 is 3.00, of 12.75 it is 0.796875."""
    example = figures.of("tax-of-an-invoice", may_see=False)

    assert example.tax_cents == 380
    assert example.total_cents == 6_455


@pytest.mark.django_db
@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("slug", [card.slug for card in CARDS])
def test_a_card_is_one_page(client, slug, language):
    client.force_login(builders.person("stand"))

    paper = client.get(reverse("web:help_card", args=[slug]), headers={"Accept-Language": language})

    assert paper.headers["Content-Type"] == "application/pdf"
    assert printed.pages(paper.content) == 1


def test_a_language_without_help_gets_english():
    assert book.known("fr") == "en"
