"""Template context for the navigation that is on every page."""

from django.http import HttpRequest
from django.utils.formats import get_format

from apiary_sales.web import doors


def navigation(request: HttpRequest) -> dict[str, object]:
    """Give `doors`, the doors this person has, `door`, the one this page is behind, `decimal_sign`.

    A view whose address does not tell its door puts `door` into its own context.
    """
    user = getattr(request, "user", None)
    shown = {"decimal_sign": get_format("DECIMAL_SEPARATOR"), "doors": [], "door": ""}
    if user is not None and user.is_authenticated:
        shown |= {"doors": doors.open_to(user), "door": doors.behind(request.path_info)}
    return shown
