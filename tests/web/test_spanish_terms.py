"""The Spanish of the program and of its help uses one word for one thing, and says usted."""

import re
import tomllib
from pathlib import Path

from django.conf import settings

from tests.web.test_languages import CATALOGUE

GLOSSARY = tomllib.loads((CATALOGUE.parents[1] / "glossary.toml").read_text("utf-8"))["term"]
HELP = sorted((Path(settings.BASE_DIR) / "templates" / "help" / "es").glob("*.html"))
QUOTED = re.compile(r'"((?:[^"\\]|\\.)*)"')


def catalogue() -> list[str]:
    """Return every Spanish text of the catalogue, the forms of a plural one by one."""
    texts: list[str] = []
    is_spanish = False
    for line in CATALOGUE.read_text("utf-8").splitlines():
        if line.startswith("msgstr"):
            is_spanish = True
            texts.append("")
        elif not line.startswith('"'):
            is_spanish = False
        if is_spanish and (quoted := QUOTED.search(line)):
            texts[-1] += quoted[1]
    return texts[1:]


def help_texts() -> list[str]:
    """Return the words of the help pages, without tags and without the English names of screens."""
    tags = re.compile(r"{%.*?%}|{{.*?}}|<[^>]*>", re.DOTALL)
    return [" ".join(tags.sub(" ", page.read_text("utf-8")).split()) for page in HELP]


def having(words: list[str], texts: list[str]) -> list[tuple[str, str]]:
    """Return each of the words that stands in a text as a whole word, with the text around it."""
    pattern = re.compile(rf"\b(?:{'|'.join(re.escape(word) for word in words)})\b", re.IGNORECASE)
    return [
        (found[0], text[max(0, found.start() - 40) : found.end() + 40])
        for text in texts
        for found in pattern.finditer(text)
    ]


def test_no_spanish_text_has_a_word_that_the_glossary_avoids():
    avoided = [word for term in GLOSSARY for word in term.get("avoid", [])]

    assert having(avoided, catalogue() + help_texts()) == []


def test_every_term_of_the_glossary_is_used_in_the_program():
    all_of_it = "\n".join(catalogue()).lower()

    unused = [term["english"] for term in GLOSSARY if term["spanish"].lower() not in all_of_it]

    assert unused == []


def test_no_english_term_is_in_the_glossary_twice():
    names = [term["english"] for term in GLOSSARY]

    assert sorted(names) == sorted(set(names))


def test_the_program_says_usted():
    familiar = ["tu", "tus", "contigo", "haz", "puedes", "tienes", "debes", "quieres"]

    assert having(familiar, catalogue() + help_texts()) == []


def test_figures_have_a_decimal_point_in_spanish_too():
    # 1,000.50 is how the program writes figures in Spanish unless the house has a decimal comma;
    # the one sentence that shows such a comma says so.
    with_a_comma = re.compile(r"\b\d+,(?:\d{1,2}|\d{4,})\b(?![.,]\d)|\b\d{1,3}\.\d{3},\d")

    wrong = [
        text
        for text in catalogue() + help_texts()
        if with_a_comma.search(text) and "coma" not in text
    ]

    assert wrong == []
