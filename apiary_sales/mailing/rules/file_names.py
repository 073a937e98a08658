"""The name of an attached file: in ASCII, since not every mail program reads others."""

import re
import unicodedata

LENGTH_MAX = 80


def ascii_pdf_name(name: str) -> str:
    """Return the name of a PDF without accents and without signs that mean something in a path.

    >>> ascii_pdf_name("Nota de crédito C2026-00003")
    'Nota de credito C2026-00003.pdf'
    >>> ascii_pdf_name("../蜂蜜")
    'paper.pdf'
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    plain = re.sub(r"[^A-Za-z0-9._ -]+", " ", plain)
    plain = " ".join(plain.split()).strip(" .-")[:LENGTH_MAX].strip(" .-")
    return f"{plain or 'paper'}.pdf"
