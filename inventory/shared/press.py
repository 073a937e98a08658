"""Set HTML in print: what takes nearly all the time of a paper, and no Django.

All that the house, the language and the database say of a paper is in its HTML already. So what is
here runs as well in a process of its own (see `print_room`). WeasyPrint is imported on first use,
so that a machine without Pango still runs everything but the papers.
"""

import atexit
import logging
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from inventory.shared import lettering

PAPER_CSS = Path(__file__).parents[2] / "templates" / "documents" / "paper.css"
ROLL_CSS = PAPER_CSS.with_name("roll.css")
# What is set on a roll is first laid out on a piece so long, to see how long it gets.
ROLL_LENGTH_MAX_MILLIMETRES = 5_000
# Where the piece is torn off.
ROLL_FOOT_MILLIMETRES = 8
MILLIMETRES_PER_PIXEL = 25.4 / 96
# PDF/A-3b (ISO 19005-3): to be kept for long, and may have files inside.
ARCHIVE = "pdf/a-3b"

# Two threads that share a font configuration corrupt memory, so papers are made one at a time.
_one_at_a_time = threading.Lock()


class NoPress(Exception):
    """This machine lacks Pango, which WeasyPrint draws with."""


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


class Press(NamedTuple):
    """What is made once and used for every paper: memory stays flat and pages come fast."""

    make_html: Any
    fetcher: Any
    fonts: Any
    style: Any


@cache
def ready() -> Press:
    """Return the press, made at the first call. Raises `NoPress`."""
    try:
        from weasyprint import CSS, HTML
        from weasyprint.text.fonts import FontConfiguration
        from weasyprint.urls import URLFetcher
    except OSError as error:
        raise NoPress from error
    # A process of its own has no settings that say so.
    logging.getLogger("fontTools").setLevel(logging.ERROR)
    # Only the HTML itself is drawn: no other file or address is ever read.
    fetcher = URLFetcher(allowed_protocols=["data"])
    fonts = FontConfiguration()
    paper = f"{lettering.css()}\n{PAPER_CSS.read_text()}"
    style = CSS(string=paper, font_config=fonts, url_fetcher=fetcher)
    return Press(HTML, fetcher, fonts, style)


def paper(html: str) -> bytes:
    """Return a paper as PDF, the same bytes for the same HTML. Raises `NoPress`."""
    with _one_at_a_time:
        press = ready()
        document = press.make_html(string=html, url_fetcher=press.fetcher)
        pdf: bytes = document.write_pdf(stylesheets=[press.style], font_config=press.fonts)
        return pdf


def roll(html: str, *, width: float, side: float) -> bytes:
    """Return a paper for a roll as PDF: one page, as long as what is on it.

    The roll is `width` millimetres wide, with a margin of `side` millimetres at both sides. The
    HTML ends in an element with the id "end". Raises `NoPress`.
    """

    def laid_out(length: float) -> Any:
        # The foot is a little longer than its margin, which takes up what is rounded.
        margins = f"margin: 3mm {side}mm {ROLL_FOOT_MILLIMETRES - 0.5}mm"
        page = _style(f"@page {{ size: {width}mm {length:.2f}mm; {margins} }}")
        return press.make_html(string=html, url_fetcher=press.fetcher).render(
            stylesheets=[_roll_style(), page], font_config=press.fonts
        )

    with _one_at_a_time:
        press = ready()
        _left, end, *_far_corner = laid_out(ROLL_LENGTH_MAX_MILLIMETRES).pages[0].anchors["end"]
        pdf: bytes = laid_out(end * MILLIMETRES_PER_PIXEL + ROLL_FOOT_MILLIMETRES).write_pdf()
        return pdf


def pages(html: str, *, copies: Sequence[int] | None = None) -> bytes:
    """Return pages of exact measures as PDF, in the house's own font and no other style.

    The HTML brings its own `@page`. Page number i is printed `copies[i]` times, or once; it is laid
    out only once. Raises `NoPress`.
    """
    with _one_at_a_time:
        press = ready()
        document = press.make_html(string=html, url_fetcher=press.fetcher).render(
            stylesheets=[_lettering_style()], font_config=press.fonts
        )
        laid_out = document.pages
        if copies is not None:
            laid_out = [
                page for page, times in zip(laid_out, copies, strict=True) for _n in range(times)
            ]
        pdf: bytes = document.copy(laid_out).write_pdf()
        return pdf


def archive(html: str, *, inside: DataInside) -> bytes:
    """Return a paper as PDF/A-3b with data inside, the same bytes for the same HTML.

    It is drawn as `paper` draws it. Raises `NoPress`.
    """
    with _one_at_a_time:
        press = ready()
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


@cache
def _lettering_style() -> Any:
    return _style(lettering.css())


@cache
def _roll_style() -> Any:
    return _style(f"{lettering.css()}\n{ROLL_CSS.read_text()}")


def _style(text: str) -> Any:
    from weasyprint import CSS

    press = ready()
    return CSS(string=text, font_config=press.fonts, url_fetcher=press.fetcher)


# WeasyPrint keeps the fonts in a folder, and removes it while Python still runs.
atexit.register(ready.cache_clear)
atexit.register(_lettering_style.cache_clear)
atexit.register(_roll_style.cache_clear)
