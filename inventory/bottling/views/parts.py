"""Pages about packaging parts: what is there, what to order, and what came in."""

from typing import Any

from django.db.models import Exists, Model, OuterRef, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.functional import cached_property
from django.utils.translation import gettext as _

from inventory.bottling.forms import PartForm, PartQuoteForm, PartReceiveForm
from inventory.bottling.models import PackagingPart, PartReceipt
from inventory.bottling.queries import corrections
from inventory.bottling.queries import parts as part_queries
from inventory.bottling.services import parts
from inventory.shared import words
from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.stock.models import Place, Posting

MANAGE_PARTS = "inventory.manage_parts"
RECEIPTS_SHOWN = 20


def part_list(request: HttpRequest) -> HttpResponse:
    """Every part with its stock, its cost, its use, and what to order."""
    stock = part_queries.stock()
    context = {
        "stock": stock,
        "to_order": [row for row in stock if row.part.is_active and row.warning],
        "use_days": part_queries.USE_DAYS,
    }
    return render(request, "inventory/bottling/part_list.html", context)


def part_of(code: str) -> PackagingPart:
    return get_object_or_404(PackagingPart.objects.select_related("item"), code=code)


def receipts_of(part: PackagingPart) -> QuerySet[PartReceipt]:
    """Return what came in of a part, the newest first, each with `is_undone`."""
    undone = Posting.objects.filter(reverses=OuterRef("posting"))
    found = PartReceipt.objects.filter(part=part).select_related("place", "supplier")
    return found.annotate(is_undone=Exists(undone))


def part_detail(request: HttpRequest, code: str) -> HttpResponse:
    """One part: where it is, what it cost, what it goes into, and what came in."""
    part = part_of(code)
    context = {
        "part": part,
        "stock": part_queries.stock(only=part)[0],
        "receipts": receipts_of(part)[:RECEIPTS_SHOWN],
        "corrections": corrections.of_part(part),
        "used_in": part.used_in.select_related("size").order_by("size__brimful_ml"),
        "used_in_products": part.used_in_products.select_related("product"),
        "use_days": part_queries.USE_DAYS,
    }
    return render(request, "inventory/bottling/part_detail.html", context)


class PartReceiveView(ActView):
    permission_required = MANAGE_PARTS
    form_class = PartReceiveForm
    template_name = "inventory/bottling/part_receive.html"

    def get_initial(self) -> dict[str, Any]:
        part = PackagingPart.objects.filter(code=self.request.GET.get("part", "")).first()
        return {"part": part.pk} if part else {}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            has_parts=PackagingPart.objects.filter(is_active=True).exists(),
            has_places=Place.objects.filter(kind__in=Place.STORES, is_active=True).exists(),
            **kwargs,
        )

    def act(self, data: dict[str, Any]) -> PartReceipt:
        return parts.receive(
            cost_cents=data.pop("cost"), recorded_by=person_of(self.request), **data
        )

    def done_message(self, made: PartReceipt) -> str:
        return _("Received %(pieces)s of %(part)s for %(cost)s.") % {
            "pieces": words.pieces(made.pieces),
            "part": made.part.name,
            "cost": words.money(made.cost_cents),
        }

    def posting_to_undo(self, made: PartReceipt):
        return made.posting

    def next_url(self, made: PartReceipt) -> str:
        return reverse("inventory:part_detail", args=[made.part.code])

    def repeat_url(self, made: Any) -> str:
        return reverse("inventory:part_list")


class PartCreateView(ActView):
    permission_required = MANAGE_PARTS
    form_class = PartForm
    template_name = "inventory/bottling/part_form.html"

    def act(self, data: dict[str, Any]) -> PackagingPart:
        del data["key"]
        return parts.save(**data)

    def done_message(self, made: PackagingPart) -> str:
        return _("Added %(part)s.") % {"part": made.name}

    def next_url(self, made: PackagingPart) -> str:
        return reverse("inventory:part_detail", args=[made.code])


class PartQuoteView(ActView):
    """Note what a supplier asks for one of a part now."""

    permission_required = MANAGE_PARTS
    form_class = PartQuoteForm
    template_name = "inventory/bottling/part_quote.html"

    @cached_property
    def part(self) -> PackagingPart:
        return part_of(self.kwargs["code"])

    def edited(self) -> Model:
        return self.part

    def get_initial(self) -> dict[str, Any]:
        return {"unit_price": self.part.quoted_price}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            part=self.part, stock=part_queries.stock(only=self.part)[0], **kwargs
        )

    def act(self, data: dict[str, Any]) -> PackagingPart:
        del data["key"]
        return parts.quote(part=self.part, **data)

    def done_message(self, made: PackagingPart) -> str:
        if made.quoted_price is None:
            return _("%(part)s has no quoted price now.") % {"part": made.name}
        return _("%(part)s is quoted at %(price)s.") % {
            "part": made.name,
            "price": words.unit_price(made.quoted_price),
        }

    def next_url(self, made: PackagingPart) -> str:
        return reverse("inventory:part_detail", args=[made.code])


class PartEditView(PartCreateView):
    @cached_property
    def part(self) -> PackagingPart:
        return part_of(self.kwargs["code"])

    def edited(self) -> Model:
        return self.part

    def get_initial(self) -> dict[str, Any]:
        fields = ("name", "kind", "reorder_point", "lead_time_days", "is_active")
        return {field: getattr(self.part, field) for field in fields}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(part=self.part, **kwargs)

    def act(self, data: dict[str, Any]) -> PackagingPart:
        del data["key"]
        return parts.save(part=self.part, **data)

    def done_message(self, made: PackagingPart) -> str:
        return _("Saved %(part)s.") % {"part": made.name}
