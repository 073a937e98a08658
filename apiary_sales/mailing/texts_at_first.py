"""The usual texts of e-mails, in each language: a file each in `texts/`, its subject first."""

from functools import cache
from pathlib import Path
from typing import NamedTuple

FOLDER = Path(__file__).parent / "texts"
USUAL = "paper"


class EmailWords(NamedTuple):
    """The subject and the body of an e-mail, with names in braces to be filled in."""

    subject: str
    body: str


@cache
def words_of(name: str, language: str) -> EmailWords:
    """Return the usual text of this name; of a paper without one, the text of all papers."""
    folder = FOLDER / (language if (FOLDER / language).is_dir() else "en")
    path = folder / f"{name}.txt"
    if not path.exists():
        path = folder / f"{USUAL}.txt"
    subject, _blank, body = path.read_text(encoding="utf-8").partition("\n\n")
    return EmailWords(subject.strip(), body.strip())
