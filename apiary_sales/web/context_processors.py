"""What every page needs to show the way round."""

from django.http import HttpRequest

from apiary_sales.web import doors


def navigation(request: HttpRequest) -> dict[str, object]:
    """Give `doors`, the doors this person has, and `door`, the one this page is behind.

    A view whose address does not tell its door puts `door` into its own context.
    """
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return {"doors": [], "door": ""}
    return {"doors": doors.open_to(user), "door": doors.behind(request.path_info)}
