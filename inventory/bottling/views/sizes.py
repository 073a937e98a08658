"""Pages about sizes, and about how the house works."""

from fractions import Fraction
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.db.models import Model
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from inventory.bottling.forms import ProductionForm, SizeForm
from inventory.bottling.models import Size
from inventory.bottling.queries import fill_charts
from inventory.bottling.queries import products as product_queries
from inventory.bottling.queries import sizes as size_queries
from inventory.bottling.services import sizes
from inventory.bottling.services.products import PartUse
from inventory.physics import labelling
from inventory.shared.views import ActView
from inventory.stock.forms.fields import as_temperature, plain
from inventory.stock.models import ProductionSettings
from inventory.stock.services import production

MANAGE_PARTS = "inventory.manage_parts"


def size_list(request: HttpRequest) -> HttpResponse:
    """Every size with what its label says and what it is made up from."""
    context = {"sizes": size_queries.all_sizes()}
    return render(request, "inventory/bottling/size_list.html", context)


@require_POST
@permission_required(MANAGE_PARTS, raise_exception=True)
def size_add_usual(request: HttpRequest) -> HttpResponse:
    added = sizes.add_usual_sizes()
    if added:
        said = ngettext(
            "Added %(count)s usual size. Check its capacity against your own jars.",
            "Added %(count)s usual sizes. Check their capacity against your own jars.",
            len(added),
        ) % {"count": len(added)}
        messages.success(request, said)
    else:
        messages.info(request, _("All the usual sizes are here already."))
    return HttpResponseRedirect(reverse("inventory:size_list"))


@require_POST
@permission_required(MANAGE_PARTS, raise_exception=True)
def size_switch(request: HttpRequest, code: str) -> HttpResponse:
    """Take a size out of use, or put it back."""
    size = get_object_or_404(Size, code=code)
    if size.is_active:
        sizes.take_out_of_use(size=size)
        said = _("%(size)s is out of use. Pieces already filled can still be sold.")
    else:
        sizes.put_back_in_use(size=size)
        said = _("%(size)s is in use again.")
    messages.success(request, said % {"size": size.name})
    return HttpResponseRedirect(reverse("inventory:size_list"))


class SizeCreateView(ActView):
    permission_required = MANAGE_PARTS
    form_class = SizeForm
    template_name = "inventory/bottling/size_form.html"
    size: Size | None = None

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"size": self.size}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(size=self.size, type_heights=type_heights(), **kwargs)

    def act(self, data: dict[str, Any]) -> Size:
        form_lines = self.form.part_lines.cleaned_data
        del data["key"]
        amount, unit = data.pop("declared")
        return sizes.save(
            size=self.size,
            declared_amount=amount,
            declared_unit=unit,
            brimful_ml=data.pop("brimful"),
            tare_grams=data.pop("tare") or 0,
            parts=[
                PartUse(line["part"], line["quantity"] or 1, line["per_pieces"] or 1)
                for line in form_lines
                if line.get("part")
            ],
            **data,
        )

    def done_message(self, made: Size) -> str:
        return _("Added the size %(size)s.") % {"size": made.name}

    def next_url(self, made: Size) -> str:
        return reverse("inventory:size_list")


class SizeEditView(SizeCreateView):
    def prepare(self) -> None:
        self.size = get_object_or_404(Size, code=self.kwargs["code"])
        self.details = size_queries.details_of(self.size)

    def edited(self) -> Model | None:
        return self.size

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            details=self.details,
            products=product_queries.in_size(self.details.size),
            fits=size_queries.fits_now(self.details.size),
            **kwargs,
        )

    def done_message(self, made: Size) -> str:
        return _("Saved %(size)s.") % {"size": made.name}


class ProductionSettingsView(ActView):
    permission_required = MANAGE_PARTS
    form_class = ProductionForm
    template_name = "inventory/bottling/production_settings.html"

    def edited(self) -> Model:
        return ProductionSettings.current()

    def get_initial(self) -> dict[str, Any]:
        settings = ProductionSettings.current()
        return {
            "labour": self.request.GET.get("labour", settings.labour_cents_per_hour),
            "celsius": as_temperature(settings.honey_house_celsius),
            "cost_method": settings.cost_method,
            "setting_days": settings.setting_days,
            "moisture_limit": plain(settings.moisture_limit_percent, 2),
            "named_source": plain(settings.named_source_percent, 1),
            "warming_limit": as_temperature(settings.warming_limit_celsius),
            "stick_mark": [settings.stick_mark_mm, "mm"],
            "lot_code_pattern": settings.lot_code_pattern,
        }

    def act(self, data: dict[str, Any]) -> ProductionSettings:
        return production.change(
            labour_cents_per_hour=data["labour"],
            honey_house_celsius=data["celsius"],
            cost_method=data["cost_method"],
            setting_days=data["setting_days"],
            moisture_limit_percent=data["moisture_limit"],
            named_source_percent=data["named_source"],
            warming_limit_celsius=data["warming_limit"],
            stick_mark_mm=data["stick_mark"],
            lot_code_pattern=data["lot_code_pattern"],
        )

    def done_message(self, made: ProductionSettings) -> str:
        return _("Saved. Runs recorded from now on use these figures.")

    def next_url(self, made: ProductionSettings) -> str:
        return reverse("inventory:bottling")


def fill_chart(request: HttpRequest, code: str) -> HttpResponse:
    """The averages of a size's fill checks over time, as a drawing and as a table."""
    size = get_object_or_404(Size, code=code)
    context = {"size": size, "chart": fill_charts.chart_of(size)}
    return render(request, "inventory/bottling/fill_chart.html", context)


def type_heights() -> list[tuple[str, str]]:
    """Return the least type height by area of the front panel, in words."""
    limits = [*labelling.PANEL_UP_TO_IN2, None]
    return [
        (
            _("over %(area)s sq in") % {"area": labelling.PANEL_UP_TO_IN2[-1]}
            if limit is None
            else _("up to %(area)s sq in") % {"area": limit},
            _("%(height)s in")
            % {
                "height": Fraction(labelling.minimum_type_height(limit or 401)).limit_denominator(
                    16
                )
            },
        )
        for limit in limits
    ]
