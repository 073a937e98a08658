"""Pages about honey of other beekeepers: received, handed back, bought, and told in a statement."""

from typing import Any

from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from inventory.shared import documents, words
from inventory.shared.csv_files import csv_response
from inventory.shared.forms.days import PeriodForm
from inventory.shared.people import person_of
from inventory.stock.forms import others as forms
from inventory.stock.models import Balance, Lot, Posting, Supplier
from inventory.stock.queries import owners
from inventory.stock.services import honey, others
from inventory.stock.services.honey import HoneyPreview
from inventory.stock.views.acts import HoneyActView, place_url
from inventory.stock.views.deliveries import DeliveryView
from inventory.stock.views.stores import StockActView
from inventory.stock.views.suppliers import MANAGE

PAPER = "documents/owner_statement.html"


@permission_required(MANAGE, raise_exception=True)
def others_list(request: HttpRequest) -> HttpResponse:
    """All honey of other beekeepers that is here, owner by owner."""
    context = {"here": owners.all_here(), "owners": Supplier.objects.beekeepers()}
    return render(request, "inventory/others/list.html", context)


class OwnerReceiptView(DeliveryView):
    form_class = forms.OwnerReceiptForm
    template_name = "inventory/others/receive.html"
    filled_by_address = ("owner", "place_1")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        has_owners = Supplier.objects.beekeepers().exists()
        return super().get_context_data(has_owners=has_owners, **kwargs)

    @staticmethod
    def _arguments(data: dict[str, Any]) -> dict[str, Any]:
        return {
            "owner": data["owner"],
            "kind": data["kind"],
            "vessels": data["vessels"],
            **forms.OwnerReceiptForm.facts(data),
        }

    def preview(self, data: dict[str, Any]) -> HoneyPreview:
        return others.preview_receipt(**self._arguments(data))

    def act(self, data: dict[str, Any]) -> Lot:
        self._key = data["key"]
        return others.receive(
            **self._arguments(data), recorded_by=person_of(self.request), key=data["key"]
        )

    def done_message(self, made: Lot) -> str:
        return _("Lot %(lot)s received: %(weight)s that belong to %(owner)s.") % {
            "lot": made.code,
            "weight": words.weight(made.quantity_made, 1),
            "owner": made.owner,
        }


class HandBackView(HoneyActView):
    form_class = forms.HandBackForm
    template_name = "inventory/others/hand_back.html"
    filled_by_address = ("place",)

    def preview(self, data: dict[str, Any]) -> HoneyPreview:
        return honey.preview_write_off(place=data["place"], grams=data["weight"])

    def act(self, data: dict[str, Any]) -> Posting:
        self._place = data["place"]
        return others.hand_back(
            place=data["place"],
            grams=data["weight"],
            handed_on=data["handed_on"],
            note=data["note"],
            recorded_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Posting) -> str:
        line = made.lines.select_related("lot__owner").get(quantity__gt=0)
        return _("%(weight)s handed back to %(owner)s.") % {
            "weight": words.weight(line.quantity, 1),
            "owner": line.lot.owner if line.lot else "",
        }

    def next_url(self, made: Posting) -> str:
        return place_url(self._place)


class HandBackJarsView(StockActView):
    permission_required = "inventory.move_honey"
    form_class = forms.HandBackJarsForm
    template_name = "inventory/others/hand_back_jars.html"

    def act(self, data: dict[str, Any]) -> Posting:
        there: Balance = data["stock"]
        self._there, self._place, self._pieces = there, there.place, data["pieces"]
        return others.hand_back_jars(
            item=there.item,
            lot=there.honey_lot,
            place=there.place,
            pieces=data["pieces"],
            handed_on=data["handed_on"],
            note=data["note"],
            recorded_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Posting) -> str:
        return _("%(pieces)s of %(item)s handed back to %(owner)s.") % {
            "pieces": words.pieces(self._pieces),
            "item": self._there.item.name,
            "owner": self._there.honey_lot.owner,
        }


class BuyFromOwnerView(DeliveryView):
    form_class = forms.BuyFromOwnerForm
    template_name = "inventory/others/buy.html"
    filled_by_address = ("place",)

    def preview(self, data: dict[str, Any]) -> HoneyPreview:
        return others.preview_buy(**self._arguments(data))

    def act(self, data: dict[str, Any]) -> Lot:
        self._key = data["key"]
        return others.buy(
            **self._arguments(data),
            note=data["note"],
            recorded_by=person_of(self.request),
            key=data["key"],
        )

    @staticmethod
    def _arguments(data: dict[str, Any]) -> dict[str, Any]:
        return {
            "place": data["place"],
            "grams": data["weight"],
            "target": data["target"],
            "cost_cents": data["cost"],
            "price_per_pound": data["price_per_pound"],
            "bought_on": data["bought_on"],
        }

    def done_message(self, made: Lot) -> str:
        return _("%(weight)s bought from %(owner)s for %(cost)s: lot %(lot)s.") % {
            "weight": words.weight(made.quantity_made, 1),
            "owner": made.supplier,
            "cost": words.money(made.cost_cents or 0),
            "lot": made.code,
        }


def _context(request: HttpRequest, pk: int) -> dict[str, Any]:
    owner = get_object_or_404(Supplier, pk=pk)
    form, since, until = PeriodForm.asked(request.GET)
    return {
        "form": form,
        "statement": owners.statement(owner, since, until),
        "is_today": until == timezone.localdate(),
    }


@require_GET
@permission_required(MANAGE, raise_exception=True)
def statement(request: HttpRequest, pk: int) -> HttpResponse:
    """What came, was packed, lost and handed back of one beekeeper's honey, and what is here."""
    return _page(request, _context(request, pk))


def _page(request: HttpRequest, context: dict[str, Any]) -> HttpResponse:
    status = 422 if context["form"].errors else 200
    return render(request, "inventory/others/statement.html", context, status=status)


@require_GET
@permission_required(MANAGE, raise_exception=True)
def statement_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    context = _context(request, pk)
    if context["form"].errors:
        return _page(request, context)
    return documents.serve(
        request,
        name=_file_name(context["statement"], "pdf"),
        template_name=PAPER,
        context=context,
    )


@require_GET
@permission_required(MANAGE, raise_exception=True)
def statement_csv(request: HttpRequest, pk: int) -> HttpResponse:
    context = _context(request, pk)
    if context["form"].errors:
        return _page(request, context)
    made = context["statement"]
    return csv_response(_file_name(made, "csv"), owners.table(made))


def _file_name(made: owners.OwnerStatement, ending: str) -> str:
    day = made.until.isoformat()
    return f"{_('Honey of %(owner)s %(day)s') % {'owner': made.owner, 'day': day}}.{ending}"
