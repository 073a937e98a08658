"""The help pages of a language, read from their templates."""

import html
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from django.template import Context, Engine
from django.template.loader_tags import BlockNode, ExtendsNode
from django.urls import reverse
from django.utils import translation
from django.utils.text import capfirst

from apiary_sales.web.help.contents import BY_SLUG, TOPICS

LANGUAGES = ("en", "es")
TITLE_WEIGHT, SUMMARY_WEIGHT = 9, 3


@dataclass(frozen=True)
class HelpPage:
    """One page of help; `text` is all its words, without marks, to be searched."""

    slug: str
    title: str
    summary: str
    text: str
    url: str
    permissions: tuple[str, ...]


def known(language: str | None) -> str:
    """Return the language in which help is shown to who reads this one.

    >>> known("es-mx"), known("en-us"), known(None)
    ('es', 'en', 'en')
    """
    code = (language or "").split("-")[0]
    return code if code in LANGUAGES else LANGUAGES[0]


def template_name(slug: str, language: str) -> str:
    return f"help/{known(language)}/{slug}.html"


def pages(language: str) -> list[HelpPage]:
    """Return all help pages in a language, in the order in which they are shown."""
    return [page(topic.slug, known(language)) for topic in TOPICS]


def on_screen(words: str) -> str:
    """Return words of a screen in the language that is active."""
    shown = translation.gettext(words)
    name = words[:1].lower() + words[1:]
    named = translation.gettext(name)
    return capfirst(named) if shown == words and named != name else shown


def address(slug: str) -> str:
    return reverse("web:help_topic", args=[slug])


@cache
def title(slug: str, language: str) -> str:
    return _plain(_parts(slug, language, only="title")["title"])


@cache
def page(slug: str, language: str) -> HelpPage:
    """Return one help page; it is read once, since its text does not change while we run."""
    parts = _parts(slug, language)
    return HelpPage(
        slug=slug,
        title=title(slug, language),
        summary=_plain(parts["summary"]),
        text=_plain(" ".join(parts.get(name, "") for name in ("text", "more"))),
        url=address(slug),
        permissions=BY_SLUG[slug].permissions,
    )


def find(typed: str, language: str) -> list[HelpPage]:
    """Return the pages in which all typed words are, those that have them in the title first."""
    wanted = _folded(typed).split()
    if not wanted:
        return []
    found = [(_rank(each, wanted), each) for each in pages(language)]
    return [each for rank, each in sorted(found, key=lambda pair: -pair[0]) if rank]


def _rank(each: HelpPage, wanted: Sequence[str]) -> int:
    title, summary, text = (_folded(part) for part in (each.title, each.summary, each.text))
    total = 0
    for word in wanted:
        rank = (
            TITLE_WEIGHT * (word in title)
            + SUMMARY_WEIGHT * (word in summary)
            + min(text.count(word), SUMMARY_WEIGHT)
        )
        if not rank:
            return 0
        total += rank
    return total


def _parts(slug: str, language: str, only: str = "") -> dict[str, str]:
    """Return what each block of a template says, by its name."""
    template = Engine.get_default().get_template(template_name(slug, language))
    root = next(node for node in template.nodelist if isinstance(node, ExtendsNode))
    found: dict[str, str] = {}
    with translation.override(language):
        context = Context({"language": language})
        with context.bind_template(template):
            for block in root.nodelist:
                # The example has the figures of the house, which change.
                if (
                    isinstance(block, BlockNode)
                    and block.name != "example"
                    and only in ("", block.name)
                ):
                    with context.render_context.push_state(template):
                        found[block.name] = block.render(context)
    return found


def _plain(marked: str) -> str:
    """Return what a person reads of some HTML."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", marked)).split()).replace(" .", ".")


def _folded(text: str) -> str:
    """Return text as it is compared: small letters without accents."""
    letters = unicodedata.normalize("NFD", text.casefold())
    return "".join(letter for letter in letters if not unicodedata.combining(letter))
