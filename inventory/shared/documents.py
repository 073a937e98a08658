"""Papers as PDF: quotes, pick lists, receipts, invoices, statements.

Every paper is a template that extends `documents/base.html`. WeasyPrint is imported on first
use, so that a machine without Pango still runs everything but the papers.
"""

import atexit
import base64
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils.http import content_disposition_header
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from inventory.shared import lettering, logo_files
from inventory.shared.errors import HouseError
from inventory.shared.models import House
from inventory.shared.queries import house as house_logo

PAPER_CSS = Path(settings.BASE_DIR) / "templates" / "documents" / "paper.css"
ROLL_CSS = PAPER_CSS.with_name("roll.css")
PAGE_SIZES = {House.Paper.LETTER: "Letter", House.Paper.A4: "A4"}
ROLL_MILLIMETRES = {House.ReceiptPaper.ROLL_58: 58, House.ReceiptPaper.ROLL_80: 80}
# What the head of a receipt printer reaches: 384 and 576 dots of 8 a millimetre (common practice).
ROLL_PRINTED_MILLIMETRES = {House.ReceiptPaper.ROLL_58: 48, House.ReceiptPaper.ROLL_80: 72}
# What is set on a roll is first laid out on a piece so long, to see how long it gets.
ROLL_LENGTH_MAX_MILLIMETRES = 5_000
# Where the piece is torn off.
ROLL_FOOT_MILLIMETRES = 8
MILLIMETRES_PER_PIXEL = 25.4 / 96
# PDF/A-3b (ISO 19005-3): to be kept for long, and may have files inside.
ARCHIVE = "pdf/a-3b"

# Two threads that share a font configuration corrupt memory, so papers are made one at a time.
_one_at_a_time = threading.Lock()


class PdfUnavailable(HouseError):
    """This machine lacks the libraries that papers are drawn with."""

    code = "pdf_unavailable"


class _Press(NamedTuple):
    """What is made once and used for every paper: memory stays flat and pages come fast."""

    make_html: Any
    fetcher: Any
    fonts: Any
    style: Any


@dataclass(frozen=True)
class DataInside:
    """A file inside a paper: what the paper says, for a program to read.

    `metadata` are the `rdf:Description` elements that the metadata of the paper say of it.
    """

    name: str
    description: str
    content: bytes
    written_at: datetime
    metadata: Sequence[bytes]


def render_pdf(template_name: str, context: dict[str, Any]) -> bytes:
    """Return a paper as PDF, the same bytes for the same figures.

    The template also gets `house` (unless `context` brings its own, as an invoice does with the
    seller's address on its day) and `page_style`, the paper's size and page numbers. Raises
    `PdfUnavailable` where Pango is missing.
    """
    html = render_html(template_name, context)
    with _one_at_a_time:
        press = _press()
        # Only the HTML itself is drawn: WeasyPrint never reads another file or address.
        document = press.make_html(string=html, url_fetcher=press.fetcher)
        pdf: bytes = document.write_pdf(stylesheets=[press.style], font_config=press.fonts)
        return pdf


def render_roll(template_name: str, context: dict[str, Any], *, paper: str) -> bytes:
    """Return a paper for a roll as PDF: one page, as long as what is on it.

    `paper` is one of `ROLL_MILLIMETRES`. The template ends in an element with the id "end" and
    prints `page_style`. Raises `PdfUnavailable`.
    """
    width = ROLL_MILLIMETRES[House.ReceiptPaper(paper)]
    side = (width - ROLL_PRINTED_MILLIMETRES[House.ReceiptPaper(paper)]) / 2

    def laid_out(length: float) -> Any:
        # The foot is a little longer than its margin, which takes up what is rounded.
        margins = f"margin: 3mm {side}mm {ROLL_FOOT_MILLIMETRES - 0.5}mm"
        style = mark_safe(f"@page {{ size: {width}mm {length:.2f}mm; {margins} }}")
        html = render_html(template_name, {**context, "page_style": style})
        return press.make_html(string=html, url_fetcher=press.fetcher).render(
            stylesheets=[_roll_style()], font_config=press.fonts
        )

    with _one_at_a_time:
        press = _press()
        _left, end, *_far_corner = laid_out(ROLL_LENGTH_MAX_MILLIMETRES).pages[0].anchors["end"]
        pdf: bytes = laid_out(end * MILLIMETRES_PER_PIXEL + ROLL_FOOT_MILLIMETRES).write_pdf()
        return pdf


def render_pages(
    template_name: str, context: dict[str, Any], *, copies: Sequence[int] | None = None
) -> bytes:
    """Return pages of exact measures as PDF, such as labels, set in the house's own font.

    The template brings its own `@page`, and nothing of `paper.css` applies. Page number i is
    printed `copies[i]` times, or once; it is laid out only once. Raises `PdfUnavailable`.
    """
    html = render_to_string(template_name, {"house": House.current(), **context})
    with _one_at_a_time:
        press = _press()
        document = press.make_html(string=html, url_fetcher=press.fetcher).render(
            stylesheets=[_lettering_style()], font_config=press.fonts
        )
        pages = document.pages
        if copies is not None:
            pages = [page for page, times in zip(pages, copies, strict=True) for _n in range(times)]
        pdf: bytes = document.copy(pages).write_pdf()
        return pdf


def render_archive(template_name: str, context: dict[str, Any], *, inside: DataInside) -> bytes:
    """Return a paper as PDF/A-3b with data inside, the same bytes for the same figures.

    It is drawn as `render_pdf` draws it. Raises `PdfUnavailable`.
    """
    html = render_html(template_name, context)
    with _one_at_a_time:
        press = _press()
        document = press.make_html(string=html, url_fetcher=press.fetcher).render(
            stylesheets=[press.style], font_config=press.fonts, pdf_variant=ARCHIVE
        )
        from weasyprint import Attachment

        written = {"created": inside.written_at, "modified": inside.written_at}
        document.metadata.attachments.append(
            Attachment(
                string=inside.content,
                name=inside.name,
                description=inside.description,
                relationship="Alternative",
                **written,
            )
        )
        # All must be in one RDF element; WeasyPrint would put ours beside its own.
        usual_rdf, rdf_ends = document.metadata.generate_rdf_metadata, b"</rdf:RDF>"
        document.metadata.generate_rdf_metadata = lambda *variant: usual_rdf(*variant).replace(
            rdf_ends, b"".join([*inside.metadata, rdf_ends])
        )
        pdf: bytes = document.write_pdf(pdf_variant=ARCHIVE, finisher=_name_files_once)
        return pdf


def _name_files_once(_document: Any, pdf: Any) -> None:
    """WeasyPrint names each file inside twice; a reader would take it for two."""
    files = pdf.catalog["AF"]
    files[:] = dict.fromkeys(files)


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


@cache
def _lettering_style() -> Any:
    from weasyprint import CSS

    press = _press()
    return CSS(string=lettering.css(), font_config=press.fonts, url_fetcher=press.fetcher)


@cache
def _roll_style() -> Any:
    from weasyprint import CSS

    press = _press()
    style = f"{lettering.css()}\n{ROLL_CSS.read_text()}"
    return CSS(string=style, font_config=press.fonts, url_fetcher=press.fetcher)


@cache
def _press() -> _Press:
    try:
        from weasyprint import CSS, HTML
        from weasyprint.text.fonts import FontConfiguration
        from weasyprint.urls import URLFetcher
    except OSError as error:
        raise PdfUnavailable(
            _(
                "Papers can't be made as PDF here, because Pango is missing. Everything else "
                "works. On Debian or Ubuntu install libpango-1.0-0 libpangoft2-1.0-0 "
                "libharfbuzz-subset0; on macOS run: brew install pango. Then start again."
            )
        ) from error
    fetcher = URLFetcher(allowed_protocols=["data"])
    fonts = FontConfiguration()
    paper = f"{lettering.css()}\n{PAPER_CSS.read_text()}"
    style = CSS(string=paper, font_config=fonts, url_fetcher=fetcher)
    return _Press(HTML, fetcher, fonts, style)


# WeasyPrint keeps the fonts in a folder, and removes it while Python still runs.
atexit.register(_press.cache_clear)
atexit.register(_lettering_style.cache_clear)
atexit.register(_roll_style.cache_clear)
