"""What was taken although the books had none of it, and how it is settled."""

from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.stock.forms import shortages as forms
from inventory.stock.models import Posting, Shortage
from inventory.stock.queries import shortages as queries
from inventory.stock.services import shortages

SETTLED_A_PAGE = 50


def shortage_list(request: HttpRequest) -> HttpResponse:
    """Show all that is to be settled, and below it what was settled, in pages."""
    page = Paginator(queries.settled(), SETTLED_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "shortages": queries.open_rows(),
        "settled": queries.rows(page),
        "page": page,
    }
    return render(request, "inventory/stock/shortage_list.html", context)


class ShortageActView(ActView):
    """An act that settles one shortage, or says more of it."""

    permission_required = "inventory.adjust_stock"

    def prepare(self) -> None:
        self.shortage = get_object_or_404(Shortage, pk=self.kwargs["pk"])
        found = queries.rows(queries.to_settle().filter(pk=self.shortage.pk))
        if not found:
            raise Http404(_("This is settled already."))
        self.row = found[0]

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(shortages=[self.row], row=self.row, **kwargs)

    def next_url(self, made: Posting) -> str:
        return reverse("inventory:shortage_list")

    def repeat_url(self, made: Posting) -> str:
        return self.next_url(made)


class SettleView(ShortageActView):
    form_class = forms.SettleForm
    template_name = "inventory/stock/shortage_settle.html"

    def act(self, data: dict[str, Any]) -> Posting:
        return shortages.settle(shortage=self.shortage, settled_by=person_of(self.request), **data)

    def done_message(self, made: Posting) -> str:
        return _("Settled: %(much)s of %(what)s.") % {"much": self.row.much, "what": self.row.what}


class LotNameView(ShortageActView):
    """Say of which lot unknown honey was; the shortage stays open."""

    form_class = forms.LotNameForm
    template_name = "inventory/stock/shortage_lot.html"

    def prepare(self) -> None:
        super().prepare()
        if not (self.row.is_lot_unknown and self.row.lot_key):
            raise Http404(_("The lot is known already."))

    def act(self, data: dict[str, Any]) -> Posting:
        self.lot = data["lot"]
        return shortages.name_lot(shortage=self.shortage, named_by=person_of(self.request), **data)

    def done_message(self, made: Posting) -> str:
        return _("%(much)s of %(what)s: it was lot %(lot)s.") % {
            "much": self.row.much,
            "what": self.row.what,
            "lot": self.lot.code,
        }
