"""The help pages, and the cards to print."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import NoReverseMatch, reverse
from django.utils.translation import get_language

from apiary_sales.web import doors
from apiary_sales.web.help import book, cards, figures
from apiary_sales.web.help.book import HelpPage
from apiary_sales.web.help.contents import BY_SLUG, TOPICS, HelpSection, HelpTopic
from inventory.shared import documents

SEARCHED_MAX = 200


def index(request: HttpRequest) -> HttpResponse:
    """Show all help pages, those of the reader's work first, or what was searched for."""
    language = book.known(get_language())
    typed = request.GET.get("q", "").strip()[:SEARCHED_MAX]
    yours = {topic.slug for topic in TOPICS if doors.may(request.user, topic.permissions)}
    by_slug = {each.slug: each for each in book.pages(language)}
    sections = [
        (
            section,
            [by_slug[each.slug] for each in topics if each.slug in yours],
            [by_slug[each.slug] for each in topics if each.slug not in yours],
        )
        for section in HelpSection
        if (topics := [topic for topic in TOPICS if topic.section == section])
    ]
    context = {
        "typed": typed,
        "found": book.find(typed, language),
        "sections": sections,
        "cards": cards.CARDS,
    }
    return render(request, "web/help.html", context)


def topic(request: HttpRequest, slug: str) -> HttpResponse:
    """Show one help page, a number with an example of the house's own figures."""
    shown = BY_SLUG.get(slug)
    if shown is None:
        raise Http404
    language = book.known(get_language())
    context = {
        "help": book.page(slug, language),
        "topic": shown,
        "language": language,
        "opens": _opens(shown, request),
        "beside": _beside(shown, language),
    }
    if shown.is_number:
        context["example"] = figures.of(
            slug, may_see=doors.may(request.user, shown.figures_for or shown.permissions)
        )
    return render(request, book.template_name(slug, language), context)


def card(request: HttpRequest, slug: str) -> HttpResponse:
    """Print a card, in the reader's language."""
    found = cards.CARDS_BY_SLUG.get(slug)
    if found is None:
        raise Http404
    language = book.known(get_language())
    return documents.serve(
        request,
        name=f"{slug}-card.pdf",
        template_name=f"help/{language}/cards/{slug}.html",
        context={"language": language},
    )


def _opens(shown: HelpTopic, request: HttpRequest) -> str:
    """Return the address of the page that a topic is about, for who may do its work."""
    if not shown.opens or not doors.may(request.user, shown.permissions):
        return ""
    try:
        return reverse(shown.opens)
    except NoReverseMatch:
        # A page of one thing, such as the invoice of an order.
        return ""


def _beside(shown: HelpTopic, language: str) -> list[HelpPage]:
    """Return the other pages of the section."""
    return [
        book.page(each.slug, language)
        for each in TOPICS
        if each.section == shown.section and each.slug != shown.slug
    ]
