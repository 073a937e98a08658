"""The stand: a page that sells with and without script, and with and without signal."""

import json
from typing import Any, cast

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.billing.forms.stand import StandForm, TakeBackForm
from apiary_sales.billing.forms.stand_messages import SELL
from apiary_sales.billing.models import Invoice, StandSale
from apiary_sales.billing.queries import receipts
from apiary_sales.billing.queries import stand as stand_queries
from apiary_sales.billing.services import stand, stand_returns
from apiary_sales.billing.services.stand import PaymentMade
from apiary_sales.billing.views import stand_app
from apiary_sales.billing.views.stand_messages import catalogue_of
from apiary_sales.billing.views.stand_words import sold_text, till_words
from apiary_sales.orders.rules import ways_back
from apiary_sales.orders.rules.lines import is_weighed_out
from inventory.shared import words
from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.stock.models import Place

# What of the catalogue names people: who is signed in, who else sells, and who picks up an order.
OF_PEOPLE = ("me", "sellers", "pickups")


class StandView(ActView):
    """The stand page. With script it is a till of its own; without, a form with quantities."""

    permission_required = SELL
    form_class = StandForm
    template_name = "billing/stand.html"

    def get(self, request: HttpRequest, *args, **kwargs) -> HttpResponse:
        return stand_app.mark_page(super().get(request, *args, **kwargs))

    def prepare(self) -> None:
        self.places = list(stand_queries.places(person_of(self.request)))
        self.place = stand_queries.chosen(self.places, self.request.GET.get("place"))
        self.on = timezone.localdate()
        self.offer = stand_queries.offer(self.places, self.on)
        self.products = self.offer.at(self.place) if self.place else []

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "products": self.products}

    def act(self, data: dict[str, Any]) -> StandSale:
        return stand.sell(
            lines=self.form.lines(),
            # Without a place there are no products, and a sale of none is refused.
            place=cast(Place, self.place),
            payments=[PaymentMade(data["method"], tendered_cents=data["tendered"])],
            source=StandSale.Source.FORM,
            discount_cents=data["discount"] or 0,
            sold_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: StandSale) -> str:
        return sold_text(made)

    def next_url(self, made: StandSale) -> str:
        return reverse("billing:receipt", args=[made.invoice.pk])

    repeat_url = next_url

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        data = catalogue_of(self.offer, person_of(self.request))
        # Apart, so that what is kept on the device can go without.
        people = {name: data.pop(name) for name in OF_PEOPLE}
        return {
            **super().get_context_data(**kwargs),
            "place": self.place,
            "places": self.places,
            "products": self.products,
            # What stands here comes first.
            "held_goods": sorted(self.offer.held, key=lambda held: held.place != self.place),
            "data": json.dumps(data),
            "people": json.dumps(people),
            "words": json.dumps(till_words()),
        }


class TakeBackView(ActView):
    """Undo a stand sale: jars back, money back."""

    permission_required = SELL
    form_class = TakeBackForm
    template_name = "billing/receipt_undo.html"

    def prepare(self) -> None:
        self.receipt = get_object_or_404(receipts.seen_by(self.request.user), pk=self.kwargs["pk"])
        self.sold = [
            line.fulfilment_line.order_line
            for line in self.receipt.lines.all()
            if line.fulfilment_line
        ]

    def get_form_kwargs(self) -> dict[str, Any]:
        return {
            **super().get_form_kwargs(),
            "has_weighed": any(is_weighed_out(line) for line in self.sold),
        }

    def act(self, data: dict[str, Any]) -> Invoice:
        self.weighed_comes_back = data.get("weighed_comes_back", False)
        stand_returns.check_may_take_back(self.receipt, person_of(self.request))
        return stand.take_back(
            receipt=self.receipt,
            taken_by=person_of(self.request),
            key=data["key"],
            reason=data["reason"],
            weighed_comes_back=self.weighed_comes_back,
        )

    def done_message(self, made: Invoice) -> str:
        happened = ways_back.what_happened(
            self.sold, had_left=False, spoils_weighed=not self.weighed_comes_back
        )
        done = _("The sale is undone. Give back %(amount)s. Credit note %(note)s.") % {
            "amount": words.money(-made.total_cents),
            "note": made,
        }
        return f"{done} {happened}".strip()

    def next_url(self, made: Invoice) -> str:
        return reverse("billing:receipt", args=[self.receipt.pk])

    repeat_url = next_url

    def get_context_data(self, **kwargs) -> dict[str, Any]:
        return {
            **super().get_context_data(**kwargs),
            "receipt": self.receipt,
            "sale": self.receipt.stand_sale,
            "undone_by": self.receipt.credit_notes.first(),
            "part_back": bool(self.receipt.credit_notes.all()) and not self.receipt.is_taken_back,
            "needs_approval": not self.receipt.is_taken_back
            and stand_returns.needs_approval(self.receipt, person_of(self.request)),
            "lines": [
                (line, sold.is_stocked, is_weighed_out(sold))
                for line, sold in zip(self.receipt.lines.all(), self.sold, strict=True)
            ],
        }
