"""Packed lots as their jars' public pages show them, and the addresses of those pages."""

from datetime import date

from django.http import HttpRequest
from django.urls import reverse

from inventory.bottling.models import BottlingRun, JarPage
from inventory.bottling.rules import jar_page as rules
from inventory.shared.models import House
from inventory.stock.models import Lot


def address_of(lot: Lot, site: HttpRequest | str) -> str | None:
    """Return the absolute address to print on the jars of a packed lot, or None.

    None while jars have no page, and for honey that is in no jar. `site` is a request, or the
    beginning of the address: "https://honey.example". The address names the product too, so that it
    stays right when another product gets the same lot code.
    """
    if lot.product is None or not JarPage.current().is_on:
        return None
    return absolute(path_of(lot), site)


def address_for_run(run: BottlingRun, site: HttpRequest | str) -> str | None:
    """Return the address to print on the jars of a run, also before it is recorded, or None."""
    if not run.lot_code or not JarPage.current().is_on:
        return None
    return absolute(reverse("inventory:jar_page", args=[run.lot_code, run.product.code]), site)


def path_of(lot: Lot) -> str:
    """Return the address of the page of a packed lot on this site."""
    assert lot.product is not None
    return reverse("inventory:jar_page", args=[lot.code, lot.product.code])


def absolute(path: str, site: HttpRequest | str) -> str:
    if isinstance(site, HttpRequest):
        return site.build_absolute_uri(path)
    return site.rstrip("/") + path


def lots_with(code: str, product_code: str | None = None) -> list[Lot]:
    """Return the packed lots that bear a code, by the name of their product.

    One product may be asked for, and small letters do for capital ones. A run or a label that was
    undone left no jars.
    """
    codes = {code, code.upper()}
    lots = Lot.objects.filter(kind=Lot.Kind.PACKED, code__in=codes, quantity_made__gt=0).exclude(
        run__status=BottlingRun.Status.REVERSED
    )
    if product_code is not None:
        lots = lots.filter(product__code__iexact=product_code)
    return list(lots.select_related("product").order_by("product__name"))


def newest_lot() -> Lot | None:
    """Return the packed lot that was made last, for a preview."""
    lots = Lot.objects.filter(kind=Lot.Kind.PACKED).exclude(run__status=BottlingRun.Status.REVERSED)
    return lots.select_related("product").order_by("-made_on", "-id").first()


def facts_of(lot: Lot, page: JarPage) -> rules.JarFacts:
    """Return what the page of a packed lot says."""
    return rules.facts_of(lot, extracted_on=_extracted_on(lot), page=page, house=House.current())


def _extracted_on(lot: Lot) -> list[date]:
    return [
        origin.lot.made_on for origin in lot.origins() if origin.lot.kind == Lot.Kind.EXTRACTION
    ]
