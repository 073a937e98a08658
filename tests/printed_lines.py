"""Read the lines of a printed paper as a buyer does, and multiply each of them out.

A line says quantity × unit price − discount = amount, or in words how it is made up. Papers are
read in English, in dollars and with a decimal point.
"""

import re
from decimal import ROUND_HALF_UP, Decimal
from html.parser import HTMLParser

CENT = Decimal("0.01")
NUMBER = r"[−-]?\s?\$?\s?[−-]?[\d,]+(?:\.\d+)?"
LESS = re.compile(rf"less (?:discount )?({NUMBER})")
PART = re.compile(rf"part of ({NUMBER})\s?\S* at ({NUMBER}), ({NUMBER}) together")
QUANTITY = ("Quantity",)
PRICE = ("Unit price", "Price")
AMOUNT = ("Amount",)


class _Tables(HTMLParser):
    """Collect the rows of each table with the class "lines", spanned cells repeated."""

    def __init__(self):
        super().__init__()
        self.tables = []
        self._inside = False
        self._cell = None

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        if tag == "table" and "lines" in (given.get("class") or "").split():
            self._inside = True
            self.tables.append([])
        elif self._inside and tag == "tr":
            self.tables[-1].append([])
        elif self._inside and tag in ("td", "th"):
            self._cell = ["", int(given.get("colspan") or 1)]

    def handle_data(self, data):
        if self._cell is not None:
            self._cell[0] += data

    def handle_endtag(self, tag):
        if tag == "table":
            self._inside = False
        elif tag in ("td", "th") and self._cell is not None:
            text, span = self._cell
            self.tables[-1][-1] += [" ".join(text.split())] * span
            self._cell = None


def number(text):
    """Return the first number in a text; a minus may stand before or behind the dollar."""
    found = re.search(NUMBER, text)[0]
    digits = Decimal(re.sub(r"[^\d.]", "", found))
    return -digits if re.search("[−-]", found) else digits


def rows(html):
    """Yield quantity, price, amount and the whole text of each line of a paper."""
    reader = _Tables()
    reader.feed(html)
    for head, *body in reader.tables:
        columns = [
            next((i for i, text in enumerate(head) if text in names), None)
            for names in (QUANTITY, PRICE, AMOUNT)
        ]
        if None not in columns:
            for row in body:
                yield *(row[column] for column in columns), " ".join(row)


def faults(html):
    """Return the lines that neither multiply out nor say how they are made up."""
    return [text for *figures, text in rows(html) if not _holds(*figures, text)]


def _holds(quantity, price, amount, text):
    less = LESS.search(text)
    discount = number(less[1]) if less else Decimal(0)
    if _times(number(quantity), number(price)) - discount == number(amount):
        return True
    part = PART.search(text)
    return bool(part) and _times(number(part[1]), number(part[2])) == number(part[3])


def _times(quantity, price):
    return (quantity * price).quantize(CENT, ROUND_HALF_UP)
