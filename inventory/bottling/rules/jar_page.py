"""What a stranger may read about a jar: no more than its label could say."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.formats import date_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from inventory.bottling.models import JarPage
from inventory.shared import words
from inventory.shared.models import House
from inventory.stock.models import Lot


@dataclass(frozen=True)
class Fact:
    """One line of the page; `colour_class` is there for the colour alone, for its swatch."""

    name: str
    text: str
    colour_class: str | None = None


@dataclass(frozen=True)
class Contact:
    """How to reach the house."""

    phone: str
    email: str

    @property
    def is_known(self) -> bool:
        return bool(self.phone or self.email)

    @property
    def phone_link(self) -> str:
        """The number as a telephone dials it: "(555) 010-0199" → "5550100199"."""
        return "".join(sign for sign in self.phone if sign.isdigit() or sign == "+")


@dataclass(frozen=True)
class JarFacts:
    """All that the page of one packed lot says."""

    house_name: str
    product_name: str
    facts: list[Fact]
    contact: Contact
    note: str
    # Empty unless the lot is on hold.
    hold_sentence: str


def facts_of(
    lot: Lot,
    *,
    extracted_on: Iterable[date],
    origin_lines: Sequence[str],
    region: str,
    page: JarPage,
    house: House,
) -> JarFacts:
    """Choose what the page of a packed lot says, by the owner's settings.

    The origin stands there as on the label, where the label states one.

    A lot on hold keeps what tells whether a jar belongs to it, and how to reach the house; what
    praises the honey is left out.
    """
    assert lot.product is not None
    held = lot.is_on_hold
    facts = []
    if not held:
        facts += _honey(lot, sorted(extracted_on), origin_lines, region, page)
    if page.dates != JarPage.Dates.NONE:
        facts.append(Fact(_("Packed"), capfirst(_say_day(lot.made_on, page.dates))))
    if lot.best_by:
        facts.append(Fact(_("Best by"), _say_day(lot.best_by, JarPage.Dates.DAY)))
    facts.append(Fact(_("Lot"), lot.code))
    return JarFacts(
        house_name=house.name,
        product_name=lot.product.name,
        facts=facts,
        contact=Contact(
            phone=house.phone if held or page.shows_phone else "",
            email=house.email if held or page.shows_email else "",
        ),
        note="" if held else page.note,
        hold_sentence=hold_sentence(page) if held else "",
    )


def hold_sentence(page: JarPage) -> str:
    """Return what the page says of a lot on hold: the owner's sentence, or the usual one."""
    return page.hold_sentence or _("Please ask us about this lot.")


def _honey(
    lot: Lot, extracted_on: list[date], origin_lines: Sequence[str], region: str, page: JarPage
) -> list[Fact]:
    facts = []
    if page.shows_floral_source and lot.floral_source:
        facts.append(Fact(_("Floral source"), lot.floral_source))
    facts += [Fact(_("Origin"), line) for line in origin_lines]
    if region and not any(region in line for line in origin_lines):
        facts.append(Fact(_("Region"), region))
    if page.shows_colour and lot.colour_class:
        facts.append(Fact(_("Colour"), capfirst(words.colour(lot.colour_class)), lot.colour_class))
    if page.shows_moisture and lot.moisture_percent is not None:
        moisture = round(lot.moisture_percent, 1)
        facts.append(Fact(_("Moisture"), f"{words.number(moisture)} %"))
    if page.dates != JarPage.Dates.NONE and extracted_on:
        first, last = (_say_day(day, page.dates) for day in (extracted_on[0], extracted_on[-1]))
        both = _("%(first)s to %(last)s") % {"first": first, "last": last}
        facts.append(Fact(_("Extracted"), capfirst(first if first == last else both)))
    return facts


def _say_day(day: date, dates: str) -> str:
    is_exact = dates == JarPage.Dates.DAY
    return date_format(day, "DATE_FORMAT" if is_exact else "YEAR_MONTH_FORMAT")
