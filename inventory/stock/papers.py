"""The certificate of a lot as a paper: what it shows, and its PDF."""

from typing import Any

from django.utils import timezone

from inventory.shared import documents
from inventory.stock.models import Lot
from inventory.stock.queries import measurements

CERTIFICATE = "documents/lot_certificate.html"


def certificate_context(lot: Lot) -> dict[str, Any]:
    """Return what the certificate of a lot of honey shows, as it is known today."""
    origins = lot.origins()
    days = sorted({origin.lot.made_on for origin in origins})
    return {
        "lot": lot,
        "figures": measurements.of_lot(lot),
        "origins": [origin.lot for origin in origins],
        "first_day": days[0],
        "last_day": days[-1],
        "today": timezone.localdate(),
    }


def certificate(lot: Lot) -> bytes:
    """Return the certificate of a lot as PDF; raises `PdfUnavailable`."""
    return documents.render_pdf(CERTIFICATE, certificate_context(lot))
