"""What the public page of a jar shows, as the owner decides."""

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.bottling.models import JarPage
from inventory.shared import checks
from inventory.shared.errors import Problems


@transaction.atomic
def change(
    *,
    is_on: bool,
    shows_floral_source: bool,
    region: str,
    dates: str,
    shows_colour: bool,
    shows_moisture: bool,
    shows_phone: bool,
    shows_email: bool,
    note: str,
    hold_sentence: str,
) -> JarPage:
    """Set whether jars have a public page and what it shows. Raises `BadValue`."""
    problems = Problems()
    if dates not in JarPage.Dates.values:
        problems.add("dates", _("Choose how exact the dates are."))
    problems.raise_any()
    page = JarPage.current()
    page.is_on = is_on
    page.shows_floral_source = shows_floral_source
    page.region = region.strip()
    page.dates = dates
    page.shows_colour = shows_colour
    page.shows_moisture = shows_moisture
    page.shows_phone = shows_phone
    page.shows_email = shows_email
    page.note = note.strip()
    page.hold_sentence = hold_sentence.strip()
    checks.save_checked(page)
    return page
