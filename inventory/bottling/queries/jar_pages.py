"""Packed lots as their jars' public pages show them, and the addresses of those pages."""

from datetime import date

from django.http import HttpRequest
from django.urls import reverse

from inventory.bottling.models import BottlingRun, JarPage
from inventory.bottling.rules import jar_page as rules
from inventory.shared.models import House
from inventory.stock import origin
from inventory.stock.models import Lot
from inventory.stock.models.lots import Origin


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
    if isinstance(site, str):
        return site.rstrip("/") + path
    return site.build_absolute_uri(path)


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
    house, origins = House.current(), lot.origins()
    return rules.facts_of(
        lot,
        extracted_on=_extracted_on(origins),
        origin_lines=origin.label_lines(origin.by_country(origins, house), house),
        region=_region(origins, page),
        page=page,
        house=house,
    )


def _extracted_on(origins: list[Origin]) -> list[date]:
    """Return the days of extraction; none where any of the honey came in as honey."""
    if any(each.lot.kind != Lot.Kind.EXTRACTION for each in origins):
        return []
    return [each.lot.made_on for each in origins]


def _region(origins: list[Origin], page: JarPage) -> str:
    """Return the region of the lots where it is known, or that of the page for honey of our own."""
    known = {each.lot.region for each in origins}
    if known == {""}:
        is_our_own = all(
            each.lot.is_ours and each.lot.kind not in (Lot.Kind.BOUGHT, Lot.Kind.STORED)
            for each in origins
        )
        return page.region if is_our_own else ""
    return known.pop() if len(known) == 1 else ""
