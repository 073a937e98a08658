"""Papers as PDF: quotes, pick lists, receipts, invoices, statements.

Every paper is a template that extends `documents/base.html`. Here it is filled in; `press` sets it
in print, where `print_room` says.
"""

import base64
from collections.abc import Callable, Sequence
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils.http import content_disposition_header
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from inventory.shared import logo_files, press, print_room
from inventory.shared.errors import HouseError
from inventory.shared.models import House
from inventory.shared.queries import house as house_logo

PAGE_SIZES = {House.Paper.LETTER: "Letter", House.Paper.A4: "A4"}
ROLL_MILLIMETRES = {House.ReceiptPaper.ROLL_58: 58, House.ReceiptPaper.ROLL_80: 80}
# What the head of a receipt printer reaches: 384 and 576 dots of 8 a millimetre (common practice).
ROLL_PRINTED_MILLIMETRES = {House.ReceiptPaper.ROLL_58: 48, House.ReceiptPaper.ROLL_80: 72}


class PdfUnavailable(HouseError):
    """This machine lacks the libraries that papers are drawn with."""

    code = "pdf_unavailable"


def render_pdf(template_name: str, context: dict[str, Any]) -> bytes:
    """Return a paper as PDF, the same bytes for the same figures.

    The template also gets `house` (unless `context` brings its own, as an invoice does with the
    seller's address on its day) and `page_style`, the paper's size and page numbers. Raises
    `PdfUnavailable` where Pango is missing.
    """
    return _printed(press.paper, render_html(template_name, context))


def render_roll(template_name: str, context: dict[str, Any], *, paper: str) -> bytes:
    """Return a paper for a roll as PDF: one page, as long as what is on it.

    `paper` is one of `ROLL_MILLIMETRES`. The template ends in an element with the id "end". Raises
    `PdfUnavailable`.
    """
    width = ROLL_MILLIMETRES[House.ReceiptPaper(paper)]
    side = (width - ROLL_PRINTED_MILLIMETRES[House.ReceiptPaper(paper)]) / 2
    html = render_html(template_name, context)
    return _printed(press.roll, html, width=width, side=side)


def render_pages(
    template_name: str, context: dict[str, Any], *, copies: Sequence[int] | None = None
) -> bytes:
    """Return pages of exact measures as PDF, such as labels, set in the house's own font.

    The template brings its own `@page`, and nothing of `paper.css` applies. Page number i is
    printed `copies[i]` times, or once; it is laid out only once. Raises `PdfUnavailable`.
    """
    html = render_to_string(template_name, {"house": House.current(), **context})
    return _printed(press.pages, html, copies=copies)


def render_archive(
    template_name: str, context: dict[str, Any], *, inside: press.DataInside
) -> bytes:
    """Return a paper as PDF/A-3b with data inside, the same bytes for the same figures.

    It is drawn as `render_pdf` draws it. Raises `PdfUnavailable`.
    """
    return _printed(press.archive, render_html(template_name, context), inside=inside)


def _printed(make: Callable[..., bytes], html: str, **named: object) -> bytes:
    try:
        # What Django marks as safe is a text of its own kind, which print has no use for.
        return print_room.printed(make, str.__str__(html), **named)
    except press.NoPress as error:
        raise PdfUnavailable(
            _(
                "Papers can't be made as PDF here, because Pango is missing. Everything else "
                "works. On Debian or Ubuntu install libpango-1.0-0 libpangoft2-1.0-0 "
                "libharfbuzz-subset0; on macOS run: brew install pango. Then start again."
            )
        ) from error


def render_html(template_name: str, context: dict[str, Any]) -> str:
    """Return the HTML that `render_pdf` sets in print."""
    house = House.current()
    shown = {"house": house, "logo": logo_address(house), "page_style": _page_style(house.paper)}
    return render_to_string(template_name, {**shown, **context})


def logo_address(house: House) -> str:
    """Return the logo as an address that has the picture in itself; empty without a logo."""
    content = house_logo.read(house)
    if not content:
        return ""
    encoded = base64.b64encode(content).decode("ascii")
    return f"data:{logo_files.media_type(content)};base64,{encoded}"


def pdf_response(name: str, content: bytes) -> HttpResponse:
    """Answer with a PDF that opens in the browser and is saved as `name`."""
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = content_disposition_header(False, name) or "inline"
    return response


def xml_response(name: str, content: bytes) -> HttpResponse:
    """Answer with an XML file that is saved as `name`."""
    response = HttpResponse(content, content_type="application/xml")
    response["Content-Disposition"] = content_disposition_header(True, name) or "attachment"
    return response


def serve(
    request: HttpRequest, *, name: str, template_name: str, context: dict[str, Any]
) -> HttpResponse:
    """Answer with a paper, or with a page (status 503) that says what this machine lacks."""
    return answer(request, name=name, make=lambda: render_pdf(template_name, context))


def answer(request: HttpRequest, *, name: str, make: Callable[[], bytes]) -> HttpResponse:
    """Answer with the paper that `make` returns, or with a page (status 503) as `serve` does.

    A paper in the language of its buyer is made so: its reader may have another one.
    """
    try:
        return pdf_response(name, make())
    except PdfUnavailable as error:
        return render(request, "documents/unavailable.html", {"error": error}, status=503)


def _page_style(paper: str) -> SafeString:
    """Return the size of the page and its running number, in the reader's language."""
    number = _("Page %(page)s of %(pages)s") % {
        "page": '" counter(page) "',
        "pages": '" counter(pages) "',
    }
    size = PAGE_SIZES[House.Paper(paper)]
    return mark_safe(f'@page {{ size: {size}; @bottom-right {{ content: "{number}" }} }}')
