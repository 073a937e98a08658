"""What holds for every request, whatever app answers it."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

from inventory.shared import conventions


class ConventionsMiddleware:
    """Write and measure as the house does now: another process may have changed it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        conventions.read_again()
        return self.get_response(request)
