"""Papers of honey and stock: certificates of lots, worksheets of blends, sheets of counts."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Any

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inventory.shared import documents
from inventory.shared.models import House
from inventory.shared.people import Person
from inventory.stock import origin
from inventory.stock.models import BlendPlan, CountSheet, Lot
from inventory.stock.models.lots import Origin
from inventory.stock.queries import blend_plans, count_sheets, measurements, warmings

CERTIFICATE = "documents/lot_certificate.html"
BLEND_WORKSHEET = "documents/blend_worksheet.html"
COUNT_SHEET = "documents/count_sheet.html"


@dataclass(frozen=True)
class CertificatePart:
    """The origins of one kind in a lot: what was extracted here, bought, or stored for another.

    Suppliers are not named: a paper goes to those who might buy from them.
    """

    kind: str
    origins: Sequence[Origin]
    percent: int

    @property
    def lots(self) -> str:
        return ", ".join(each.lot.code for each in self.origins)

    @property
    def yards(self) -> str:
        """The yards of these origins; of extractions also that some are not recorded."""
        known = dict.fromkeys(each.lot.yard for each in self.origins if each.lot.yard)
        is_missed = self.kind == Lot.Kind.EXTRACTION and not all(
            each.lot.yard for each in self.origins
        )
        return ", ".join([*known, *([_("not recorded")] if is_missed else [])])

    @property
    def when(self) -> str:
        days = sorted(each.lot.made_on for each in self.origins)
        return (
            _extracted(*_ends(days)) if self.kind == Lot.Kind.EXTRACTION else self._received(days)
        )

    def _received(self, days: list[date]) -> str:
        first, last = _ends(days)
        is_bought = self.kind == Lot.Kind.BOUGHT
        if first == last:
            said = _("Bought, received on %(day)s") if is_bought else _("Received on %(day)s")
            return said % {"day": first}
        said = (
            _("Bought, received from %(first)s to %(last)s")
            if is_bought
            else _("Received from %(first)s to %(last)s")
        )
        return said % {"first": first, "last": last}


def certificate_context(lot: Lot) -> dict[str, Any]:
    """Return what the certificate of a lot of honey shows, as it is known today."""
    origins = lot.origins()
    return {
        "lot": lot,
        "figures": measurements.of_lot(lot),
        "warmth": warmings.of_lot(lot),
        "parts": _parts(origins),
        "countries": _countries(origin.by_country(origins, House.current())),
        "today": timezone.localdate(),
    }


def count_sheet_context(sheet: CountSheet, person: Person | None = None) -> dict[str, Any]:
    """Return what the paper of a count shows: lines to fill in, and when closed the result.

    For a person, only what is at the places at which that person may act.
    """
    return {
        "sheet": sheet,
        "contents": count_sheets.sheet_view(sheet, person),
        "today": timezone.localdate(),
    }


def blend_worksheet_context(plan: BlendPlan) -> dict[str, Any]:
    """Return what the worksheet of a blend plan shows."""
    return {"plan": plan, "outcome": blend_plans.outcome_of(plan), "today": timezone.localdate()}


def certificate(lot: Lot) -> bytes:
    """Return the certificate of a lot as PDF; raises `PdfUnavailable`."""
    return documents.render_pdf(CERTIFICATE, certificate_context(lot))


def _parts(origins: list[Origin]) -> list[CertificatePart]:
    """Return the origins by kind, the largest share first."""
    kinds: dict[str, list[Origin]] = {}
    for each in origins:
        kinds.setdefault(each.lot.kind, []).append(each)
    shares = {
        kind: sum((each.share for each in found), Fraction(0)) for kind, found in kinds.items()
    }
    order = sorted(kinds, key=lambda kind: (-shares[kind], kind))
    percents = origin.whole_percents([shares[kind] for kind in order])
    return [
        CertificatePart(kind, kinds[kind], percent)
        for kind, percent in zip(order, percents, strict=True)
    ]


def _countries(shares: Sequence[origin.CountryShare]) -> list[str]:
    """Return each country with its region, and its share where there are several."""
    said = []
    for each in shares:
        place = each.name if each.country else _("not recorded")
        place = f"{each.region}, {place}" if each.region else place
        told = _("under 1 %") if not each.percent else f"{each.percent} %"
        said.append(f"{place} {told}" if len(shares) > 1 else place)
    return said


def _extracted(first: str, last: str) -> str:
    if first == last:
        return _("Extracted on %(day)s") % {"day": first}
    return _("Extracted from %(first)s to %(last)s") % {"first": first, "last": last}


def _ends(days: list[date]) -> tuple[str, str]:
    return date_format(days[0]), date_format(days[-1])
