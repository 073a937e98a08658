"""The public page of a jar, to which the QR code on its label leads, and its settings.

The page is made without the request: nothing of the person who asks, or of the house's own pages,
can get into it.
"""

from typing import Any

from django.conf import settings
from django.db.models import Model
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from inventory.bottling.forms_jar_page import JarPageForm
from inventory.bottling.models import JarPage
from inventory.bottling.queries import jar_pages
from inventory.bottling.services import jar_page as service
from inventory.shared import public_pages
from inventory.shared.views import ActView
from inventory.stock.models import Lot

# Five minutes on a phone; see `public_pages` for the server.
BROWSER_SECONDS = 300


@public_pages.public
def jar_page(request: HttpRequest, code: str, product_code: str | None = None) -> HttpResponseBase:
    return public_pages.answer(
        request,
        name="jar-page",
        asked=[code, product_code or ""],
        make=lambda: _html_of(code, product_code),
        not_found=not_found,
        cache_control=f"public, max-age={BROWSER_SECONDS}",
    )


@public_pages.public
def no_jar_page(request: HttpRequest) -> HttpResponseBase:
    """Answer an address without a lot code."""
    return not_found(request)


def not_found(request: HttpRequest) -> HttpResponse:
    """Say that there is no page: the same for a wrong code and for a page that is off."""
    html = render_to_string("inventory/jar_page/not_found.html", {"language": get_language()})
    return public_pages.headed(
        HttpResponse(html, status=404), f"public, max-age={public_pages.SERVER_SECONDS}"
    )


def _html_of(code: str, product_code: str | None) -> str | None:
    """Return the page of a lot, or the choice between lots of one code; None for no page."""
    page = JarPage.current()
    lots = jar_pages.lots_with(code, product_code) if page.is_on else []
    if not lots:
        return None
    return choice_html(lots) if len(lots) > 1 else _lot_html(lots[0], page)


def _lot_html(lot: Lot, page: JarPage) -> str:
    context = {"jar": jar_pages.facts_of(lot, page), "language": get_language()}
    return render_to_string("inventory/jar_page/page.html", context)


def choice_html(lots: list[Lot]) -> str:
    """Return the page that asks which of several products with one lot code is meant."""
    products = [
        {"name": lot.product.name, "path": jar_pages.path_of(lot)} for lot in lots if lot.product
    ]
    context = {"products": products, "language": get_language()}
    return render_to_string("inventory/jar_page/choose.html", context)


class JarPageSettingsView(ActView):
    """Whether jars have a page and what is on it, with the newest packed lot as an example."""

    permission_required = "inventory.manage_jar_page"
    form_class = JarPageForm
    template_name = "inventory/jar_page/settings.html"

    def edited(self) -> Model:
        return JarPage.current()

    def get_initial(self) -> dict[str, Any]:
        page = JarPage.current()
        return {name: getattr(page, name) for name in JarPageForm.base_fields if name != "key"}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        page, lot = JarPage.current(), jar_pages.newest_lot()
        # It is reached from the settings, so it is behind none of the doors.
        context: dict[str, Any] = {"page": page, "lot": lot, "door": ""}
        if lot:
            context |= {
                "jar": jar_pages.facts_of(lot, page),
                "address": self.request.build_absolute_uri(jar_pages.path_of(lot)),
                "is_local": self._is_local(),
            }
        return super().get_context_data(**context, **kwargs)

    def _is_local(self) -> bool:
        """Tell whether the address leads to this machine alone, and from a phone to nowhere."""
        host = self.request.get_host()
        return any(host == local or host.startswith(f"{local}:") for local in settings.LOCAL_HOSTS)

    def act(self, data: dict[str, Any]) -> JarPage:
        return service.change(**{name: data[name] for name in data if name != "key"})

    def done_message(self, made: JarPage) -> str:
        if made.is_on:
            return _("Saved. Jars have a page, and it shows what you chose.")
        return _("Saved. Jars have no page.")

    def next_url(self, made: JarPage) -> str:
        return reverse("inventory:jar_page_settings")
