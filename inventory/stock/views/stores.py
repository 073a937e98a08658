"""Packed goods and parts: where they are, carried, counted, and written off."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.shared.people import person_of
from inventory.shared.row_keys import row_key
from inventory.shared.views import ActView
from inventory.stock import own_places
from inventory.stock.forms import stores as forms
from inventory.stock.models import Balance, Place, Posting
from inventory.stock.queries import honey as queries
from inventory.stock.services import stores


def stock_list(request: HttpRequest) -> HttpResponse:
    places = own_places.of(person_of(request), queries.stores())
    return render(request, "inventory/stock/stock_list.html", {"places": places})


class StockActView(ActView):
    """An act with packed goods or parts; the address may say which: ?stock=<balance>."""

    filled_by_address: tuple[str, ...] = ("stock",)
    _place: Place

    def get_initial(self) -> dict[str, Any]:
        given = {
            name: self.request.GET[name]
            for name in self.filled_by_address
            if name in self.request.GET
        }
        return super().get_initial() | given

    def next_url(self, made: Any) -> str:
        return reverse("inventory:place_detail", args=[self._place.code])

    def posting_to_undo(self, made: Posting) -> Posting:
        return made

    def next_url_of_repeat(self, made: Posting) -> str:
        return self.repeat_url(made)

    def repeat_url(self, made: Posting) -> str:
        return reverse("inventory:posting_detail", args=[made.pk])


class StockOfPersonView(StockActView):
    """An act with what is at the places at which a person may act."""

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"person": person_of(self.request)}


class StockTransferView(StockOfPersonView):
    """Carry pieces to another place. Whoever may write stock off may carry it too."""

    form_class = forms.StockTransferForm
    template_name = "inventory/stock/transfer.html"
    filled_by_address = ("stock", "target")

    def has_permission(self) -> bool:
        user = self.request.user
        return user.has_perm("inventory.move_honey") or user.has_perm("inventory.write_off")

    def act(self, data: dict[str, Any]) -> Posting:
        there: Balance = data["stock"]
        self._data, self._place = data, data["target"]
        return stores.transfer(
            item=there.item,
            lot=there.lot,
            source=there.place,
            target=data["target"],
            pieces=data["pieces"],
            carried_on=data["carried_on"],
            note=data["note"],
            recorded_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Posting) -> str:
        return _("%(pieces)s of %(item)s moved from %(source)s to %(target)s.") % {
            "pieces": self._data["stock"].item.in_words(self._data["pieces"]),
            "item": self._data["stock"].item.name,
            "source": self._data["stock"].place.name,
            "target": self._place.name,
        }


class StockWriteOffView(StockOfPersonView):
    permission_required = "inventory.write_off"
    form_class = forms.StockWriteOffForm
    template_name = "inventory/stock/write_off.html"

    def act(self, data: dict[str, Any]) -> Posting:
        there: Balance = data["stock"]
        self._data, self._place = data, there.place
        return stores.write_off(
            item=there.item,
            lot=there.lot,
            place=there.place,
            pieces=data["pieces"],
            reason=data["reason"],
            written_off_on=data["written_off_on"],
            may_be_fed=data["may_be_fed"],
            note=data["note"],
            recorded_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Posting) -> str:
        return _("%(pieces)s of %(item)s written off: %(kind)s.") % {
            "pieces": self._data["stock"].item.in_words(self._data["pieces"]),
            "item": self._data["stock"].item.name,
            "kind": made.get_kind_display(),
        }


class StockCountView(StockActView):
    permission_required = "inventory.adjust_stock"
    form_class = forms.StockCountForm
    template_name = "inventory/stock/count.html"
    filled_by_address = ("place", "thing")

    def get_form_kwargs(self) -> dict[str, Any]:
        may_exceed = self.request.user.has_perm("inventory.count_beyond_made")
        return super().get_form_kwargs() | {"may_exceed": may_exceed}

    def get_initial(self) -> dict[str, Any]:
        given = super().get_initial()
        there = self._balance_of_address()
        if there:
            given |= {"place": there.place.code, "thing": forms.thing_of(there)}
        return given

    def _balance_of_address(self) -> Balance | None:
        found = Balance.objects.filter(place__kind__in=Place.FOR_GOODS).select_related("place")
        return found.filter(pk=row_key(self.request.GET.get("stock"))).first()

    def form_valid(self, form) -> HttpResponse:
        self._place = form.cleaned_data["place"]
        return super().form_valid(form)

    def act(self, data: dict[str, Any]) -> Posting | None:
        self._item, lot = data["thing"]
        self._counted = data["counted"]
        return stores.count(
            item=self._item,
            lot=lot,
            place=data["place"],
            counted=data["counted"],
            counted_on=data["counted_on"],
            reason=data["reason"],
            surplus_reason=data.get("surplus_reason", ""),
            recorded_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Posting | None) -> str:
        figures = {
            "item": self._item.name,
            "place": self._place.name,
            "counted": self._item.in_words(self._counted),
        }
        if made is None:
            return _("%(item)s, %(place)s: the books agree, %(counted)s.") % figures
        return _("%(item)s, %(place)s: the books now say %(counted)s.") % figures
