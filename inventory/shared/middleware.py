"""What holds for every request, whatever app answers it."""

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.middleware.locale import LocaleMiddleware
from django.utils import translation
from django.utils.translation.trans_real import parse_accept_lang_header

from inventory.shared import conventions, public_pages


class ConventionsMiddleware:
    """Write and measure as the house does now: another process may have changed it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        # Pages for strangers are kept for a minute, and made without asking the database.
        if not request.path_info.startswith(public_pages.ADDRESSES):
            conventions.read_again()
        return self.get_response(request)


class HouseLocaleMiddleware(LocaleMiddleware):
    """Speak the language that was chosen or that the browser asks for, else that of the house."""

    def process_request(self, request: HttpRequest) -> None:
        super().process_request(request)
        if not _asks_for_a_language(request):
            language = conventions.current().language
            translation.activate(language)
            request.LANGUAGE_CODE = language


def _asks_for_a_language(request: HttpRequest) -> bool:
    """Tell whether a language that there is was chosen, or is among those the browser asks for."""
    header = request.META.get("HTTP_ACCEPT_LANGUAGE", "")
    asked = [code for code, _weight in parse_accept_lang_header(header)]
    asked.append(request.COOKIES.get(settings.LANGUAGE_COOKIE_NAME, ""))
    known = dict(settings.LANGUAGES)
    return any(code.partition("-")[0].lower() in known for code in asked)
