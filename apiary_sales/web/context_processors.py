"""Template context for the navigation that is on every page."""

from functools import cache

from django.http import HttpRequest
from django.utils.formats import get_format
from django.utils.translation import get_language

from apiary_sales.web import doors
from apiary_sales.web.help import book, contents
from inventory.shared.models import House


def navigation(request: HttpRequest) -> dict[str, object]:
    """Give `doors`, the doors this person has, `door`, the one this page is behind, `decimal_sign`.

    `help_page` is the help about this page, or None.

    `prices_include_tax` is read where a template asks for it. A view whose address does not tell
    its door puts `door` into its own context.
    """
    user = getattr(request, "user", None)
    shown = {
        "decimal_sign": get_format("DECIMAL_SEPARATOR"),
        "doors": [],
        "door": "",
        "help_page": None,
        "prices_include_tax": cache(lambda: House.current().prices_include_tax),
    }
    if user is not None and user.is_authenticated:
        shown |= {"doors": doors.open_to(user), "door": doors.behind(request.path_info)}
        shown["help_page"] = _help_of(request)
    return shown


def _help_of(request: HttpRequest) -> book.HelpPage | None:
    match = request.resolver_match
    slug = contents.OF_PAGE.get(match.view_name) if match else None
    return book.page(slug, book.known(get_language())) if slug else None
