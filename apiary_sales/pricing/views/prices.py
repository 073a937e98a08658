"""Pages that show and set the prices of jars, cases and drums, and the tax on them."""

from datetime import date
from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.core.exceptions import ValidationError
from django.db.models import Model, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.customers.models import Customer
from apiary_sales.pricing import sales_sources
from apiary_sales.pricing.forms.prices import (
    BreakForm,
    BulkPriceForm,
    ChangeForm,
    ProductPricesForm,
    TaxRateForm,
)
from apiary_sales.pricing.forms.taxes import WORDS
from apiary_sales.pricing.models import BulkPrice, GoodsCategory, PiecePrice, ProductTax, TaxRate
from apiary_sales.pricing.permissions import sees_trade_prices, tiers_of
from apiary_sales.pricing.queries import prices as read
from apiary_sales.pricing.queries.weight_prices import of_product as pound_prices_of
from apiary_sales.pricing.rules import price_changes, tax
from apiary_sales.pricing.rules.price_changes import PriceChange, TotalChange
from apiary_sales.pricing.services import prices
from apiary_sales.pricing.services.prices import PricesWanted
from inventory.bottling.models import Product
from inventory.physics import grading
from inventory.shared import words
from inventory.shared.errors import HouseError
from inventory.shared.forms.fields import DayField
from inventory.shared.models import House
from inventory.shared.people import person_of
from inventory.shared.templatetags.quantities import signed
from inventory.shared.typed import Mistyped, read_number
from inventory.shared.views import ActView
from inventory.stock.models import Lot

# What is weighed has a price a pound, set on the page of prices by weight.
BY_THE_PIECE = Product.objects.filter(item__is_weighed=False)

manages_prices = permission_required("pricing.manage_prices", raise_exception=True)


def price_lists(request: HttpRequest) -> HttpResponse:
    on = day_asked(request)
    tiers = tiers_of(person_of(request))
    lists = read.price_lists(tiers, on)
    return render(
        request,
        "pricing/prices.html",
        {
            "on": on,
            "today": timezone.localdate(),
            "tiers": tiers,
            "groups": read.by_size(lists),
        },
    )


def product_prices(request: HttpRequest, code: str) -> HttpResponse:
    product = get_object_or_404(Product.objects.select_related("item"), code=code)
    on = timezone.localdate()
    tiers = tiers_of(person_of(request))
    lists = read.price_lists(tiers, on)
    rows = [(tier.label, lists[tier.value].of(product)) for tier in tiers]
    taxed_as = tax.class_of(product, ProductTax.objects.by_product())
    house = House.current()
    usual = tax.treatments(
        TaxRate.objects.in_force(on),
        GoodsCategory.objects.in_force(on),
        deposits_taxed=house.deposits_taxed,
    )
    in_force = {row for _label, listed in rows for row in listed.breaks}
    return render(
        request,
        "pricing/product.html",
        {
            "product": product,
            "rows": rows,
            "has_coming": any(listed.coming for _label, listed in rows),
            "pound_prices": pound_prices_of(product, on, tiers),
            "private_to": rows[0][1].private_to,
            "taxed_as": WORDS[taxed_as],
            "tax": usual[taxed_as],
            "prices_include_tax": house.prices_include_tax,
            "history": read.history(product, on=on, in_force=in_force, tiers=tiers),
        },
    )


class ProductPricesSetView(ActView):
    """Set what one product costs in every tier."""

    permission_required = "pricing.manage_prices"
    form_class = ProductPricesForm
    template_name = "pricing/product_set.html"

    @cached_property
    def product(self) -> Product:
        return get_object_or_404(BY_THE_PIECE, code=self.kwargs["code"])

    def edited(self) -> Model:
        return self.product

    def edited_parts(self) -> list[QuerySet[Any]]:
        return [PiecePrice.objects.filter(product=self.product)]

    def get_initial(self) -> dict[str, Any]:
        lists = read.all_price_lists(timezone.localdate())
        initial: dict[str, Any] = {}
        for tier in Customer.Tier.values:
            if offer := lists[tier].of(self.product).offer():
                initial[f"{tier}_piece_cents"] = offer.piece_cents
                initial[f"{tier}_case_cents"] = offer.case_cents
            # A page that tried out a price hands it over as an amount: ?stand=8.49
            if tried := _decimal(self.request.GET.get(tier)):
                initial[f"{tier}_piece_cents"] = int(tried.scaleb(2))
        return initial

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        return super().get_context_data(product=self.product, **kwargs)

    def act(self, data: dict[str, Any]):
        wanted = {
            tier: PricesWanted(data[f"{tier}_piece_cents"], data[f"{tier}_case_cents"])
            for tier in Customer.Tier.values
        }
        return prices.set_product(
            product=self.product, wanted=wanted, valid_from=data["valid_from"]
        )

    def done_message(self, made: list) -> str:
        if not made:
            return _("Nothing was changed: these prices are already in use.")
        return ngettext("%(count)d price is set.", "%(count)d prices are set.", len(made)) % {
            "count": len(made)
        }

    def next_url(self, made: list) -> str:
        return reverse("pricing:product_prices", args=[self.product.code])


class BreakSetView(ActView):
    """Set a lower price for many pieces."""

    permission_required = "pricing.manage_prices"
    form_class = BreakForm
    template_name = "pricing/break_set.html"

    @cached_property
    def product(self) -> Product:
        return get_object_or_404(BY_THE_PIECE, code=self.kwargs["code"])

    def get_initial(self) -> dict[str, Any]:
        asked = self.request.GET
        return {"tier": asked.get("tier", ""), "min_pieces": asked.get("pieces", "")}

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        return super().get_context_data(product=self.product, **kwargs)

    def act(self, data: dict[str, Any]):
        return prices.set_piece(product=self.product, **data)

    def done_message(self, made) -> str:
        if made.piece_cents is None:
            return _("The price for %(pieces)s or more ends that day.") % {
                "pieces": words.pieces(made.min_pieces)
            }
        return _("For %(pieces)s or more, each piece costs %(price)s.") % {
            "pieces": words.pieces(made.min_pieces),
            "price": words.money(made.piece_cents),
        }

    def next_url(self, made) -> str:
        return reverse("pricing:product_prices", args=[self.product.code])


@manages_prices
def price_change(request: HttpRequest) -> HttpResponse:
    """Ask for a change by percent, show it before and after, and post it once confirmed."""
    if request.method == "POST":
        form = ChangeForm(request.POST)
    else:
        form = ChangeForm(request.GET) if "percent" in request.GET else ChangeForm()
    table: list[PriceChange] = []
    coming: list[date] = []
    seen, total = "", None
    if form.is_valid():
        asked = form.cleaned_data
        lists = read.price_lists(asked["tiers"], asked["valid_from"])
        try:
            table = price_changes.changes(lists, percent=asked["percent"], ending=asked["ending"])
            coming = price_changes.days_of_later_prices(lists, asked["valid_from"])
            sold = sales_sources.last_year(timezone.localdate())
            total = price_changes.total_change(lists, table, sold)
            seen = price_changes.fingerprint(table)
            if request.method == "POST":
                made = prices.change_by_percent(**asked, seen=request.POST.get("seen", ""))
                messages.success(request, _changed_message(len(made), asked, total))
                return redirect("pricing:prices")
        except HouseError as error:
            form.refuse(error)
    return render(
        request,
        "pricing/change.html",
        {
            "form": form,
            "table": table,
            "seen": seen,
            "total": total,
            "coming": coming,
            "count": sum(change.is_different for change in table),
            "is_asked": form.is_bound,
        },
        status=422 if form.errors else 200,
    )


@sees_trade_prices
def bulk_prices(request: HttpRequest) -> HttpResponse:
    on = day_asked(request)
    listed = read.bulk_list(on)
    steps = sorted({row.moisture_percent_max for row in listed.rows})
    groups: dict[tuple[str, str], dict[Decimal, BulkPrice]] = {}
    for row in sorted(listed.rows, key=_grid_order):
        group = groups.setdefault((row.floral_source, row.colour_class), {})
        group[row.moisture_percent_max] = row
    grid = [
        (source, colour, [(step, cells.get(step)) for step in steps])
        for (source, colour), cells in groups.items()
    ]
    return render(
        request,
        "pricing/bulk.html",
        {
            "on": on,
            "today": timezone.localdate(),
            "steps": steps,
            "grid": grid,
            "coming": BulkPrice.objects.filter(valid_from__gt=on).order_by("valid_from", "id"),
            "history": BulkPrice.objects.filter(valid_from__lte=on).order_by("-valid_from", "-id"),
        },
    )


class BulkPriceSetView(ActView):
    """Set the price a pound in drums."""

    permission_required = "pricing.manage_prices"
    form_class = BulkPriceForm
    template_name = "pricing/bulk_set.html"

    def get_initial(self) -> dict[str, Any]:
        asked = self.request.GET
        initial: dict[str, Any] = {
            "colour_class": asked.get("colour", ""),
            "floral_source": asked.get("source", ""),
        }
        for name, value in (
            ("moisture_percent_max", _decimal(asked.get("moisture"))),
            ("price_per_pound", _decimal(asked.get("price"))),
        ):
            if value is not None:
                initial[name] = value
        return initial

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        of_honey = Lot.objects.exclude(kind=Lot.Kind.GOODS)
        sources = of_honey.order_by("floral_source").values_list("floral_source", flat=True)
        return super().get_context_data(sources=sources.distinct()[:200], **kwargs)

    def act(self, data: dict[str, Any]):
        return prices.set_bulk(**data)

    def done_message(self, made) -> str:
        return _("The drum price for %(honey)s is set.") % {
            "honey": ", ".join(
                [made.colour_class or _("any colour"), made.floral_source or _("any source")]
            )
        }

    def next_url(self, made) -> str:
        return reverse("pricing:bulk_prices")


@manages_prices
def tax_rates(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate()
    house = House.current()
    usual = tax.treatments(
        TaxRate.objects.in_force(today),
        GoodsCategory.objects.in_force(today),
        deposits_taxed=house.deposits_taxed,
    )
    return render(
        request,
        "pricing/tax.html",
        {
            "in_force": [(goods.label, usual[goods.value]) for goods in TaxRate.Goods],
            "deposit": usual[tax.DEPOSIT],
            "said": GoodsCategory.objects.order_by("-valid_from", "-id"),
            "history": TaxRate.objects.order_by("-valid_from", "-id"),
            "today": today,
            "rounding": house.get_tax_rounding_display(),
            "prices_include_tax": house.prices_include_tax,
        },
    )


class TaxRateSetView(ActView):
    """Set a sales tax rate."""

    permission_required = "pricing.manage_prices"
    form_class = TaxRateForm
    template_name = "pricing/tax_set.html"

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        names = TaxRate.objects.order_by("name").values_list("name", flat=True).distinct()
        return super().get_context_data(names=names[:50], **kwargs)

    def act(self, data: dict[str, Any]):
        return prices.set_tax_rate(**data)

    def done_message(self, made) -> str:
        rates = tax.rates_by_goods(TaxRate.objects.in_force(made.valid_from))
        return _("From %(day)s on, the tax on %(goods)s is %(percent)s %% in all.") % {
            "day": date_format(made.valid_from),
            "goods": made.get_goods_display(),
            "percent": rates[made.goods].percent.normalize() + 0,
        }

    def next_url(self, made) -> str:
        return reverse("pricing:tax_rates")


def day_asked(request: HttpRequest) -> date:
    """Return the day named in the address (`?on=2026-05-01`), or today."""
    try:
        asked = DayField(required=False).clean(request.GET.get("on", ""))
    except ValidationError:
        asked = None
    return asked or timezone.localdate()


def _changed_message(count: int, asked: dict[str, Any], total: TotalChange) -> str:
    done = ngettext(
        "%(count)d price changes on %(day)s.", "%(count)d prices change on %(day)s.", count
    ) % {"count": count, "day": date_format(asked["valid_from"])}
    if total.percent is None:
        return done
    really = _("With the rounding it is %(percent)s %%, weighted by the pieces of a year.") % {
        "percent": signed(total.percent, 2)
    }
    return f"{done} {really}"


def _grid_order(row: BulkPrice) -> tuple:
    """Sort the particular sources last and the colours from light to dark."""
    classes = grading.COLOUR_CLASSES
    colour = classes.index(row.colour_class) if row.colour_class in classes else -1
    return (row.floral_source, colour, row.moisture_percent_max)


def _decimal(text: str | None) -> Decimal | None:
    try:
        number = read_number(text or "", decimal_sign=".")
    except Mistyped:
        return None
    return number if 0 <= number < 1_000_000 else None
