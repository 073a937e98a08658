"""Pages of honesty boxes: all of them, one with its history, and the count of shelf and box."""

from typing import Any

from django.contrib.auth.decorators import permission_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET

from apiary_sales.billing.forms.honesty_boxes import HonestyBoxForm, HonestyCountForm
from apiary_sales.billing.forms.market_days import KeyForm, WhyForm
from apiary_sales.billing.models import HonestyBox, HonestyCount
from apiary_sales.billing.queries import honesty_boxes as found
from apiary_sales.billing.services import honesty_boxes
from inventory.shared import words
from inventory.shared.people import person_of
from inventory.shared.views import ActView

SELL = "orders.sell_at_stand"


@require_GET
@permission_required(SELL, raise_exception=True)
def box_list(request: HttpRequest) -> HttpResponse:
    """Show each box with its last count, and how much was missing so far."""
    context = {"histories": found.histories(list(found.boxes()))}
    return render(request, "billing/market/boxes.html", context)


@require_GET
@permission_required(SELL, raise_exception=True)
def box(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what one box brought, count by count."""
    history = found.history(box_of(pk))
    return render(request, "billing/market/box.html", {"history": history, "box": history.box})


class BoxActView(ActView):
    """An act on one box; a subclass says its heading and its button."""

    permission_required = SELL
    template_name = "billing/market/act.html"
    heading: Any = ""
    lead: Any = ""
    button: Any = ""

    def prepare(self) -> None:
        self.box = box_of(self.kwargs["pk"])

    def next_url(self, made: Any) -> str:
        return reverse("billing:honesty_box", args=[self.box.pk])

    def repeat_url(self, made: Any) -> str:
        return self.next_url(made)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            box=self.box,
            act_heading=self.heading,
            act_lead=self.lead,
            button=self.button,
            back_url=self.next_url(None),
            **kwargs,
        )


class SetUpBoxView(ActView):
    permission_required = SELL
    form_class = HonestyBoxForm
    template_name = "billing/market/act.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(
            act_heading=_("Set up a honesty box"),
            act_lead=_("At a stand where nobody stands: buyers take goods and pay into a box."),
            button=_("Set it up"),
            back_url=reverse("billing:honesty_boxes"),
            is_of_boxes=True,
            **kwargs,
        )

    def act(self, data: dict[str, Any]) -> HonestyBox:
        return honesty_boxes.set_up(set_up_by=person_of(self.request), **data)

    def done_message(self, made: HonestyBox) -> str:
        return _("The box is set up. Count its shelf once, to begin.")

    def next_url(self, made: HonestyBox) -> str:
        return reverse("billing:honesty_box", args=[made.pk])

    repeat_url = next_url


class CountBoxView(BoxActView):
    form_class = HonestyCountForm
    template_name = "billing/market/box_count.html"

    def prepare(self) -> None:
        super().prepare()
        self.last = found.history(self.box).last
        self.heading = _("Count box and shelf")
        self.button = _("Enter the count")
        self.lead = (
            _(
                "Count the shelf and the box. What is missing from the shelf since the last count "
                "is sold, and the cash in the box pays for it."
            )
            if self.last
            else _(
                "This is the first count: it says what is on the shelf. From the next one on, what "
                "is missing is sold."
            )
        )

    def get_form_kwargs(self) -> dict[str, Any]:
        return {
            **super().get_form_kwargs(),
            "shelf": found.shelf(self.box, self.last),
            "may_exceed": self.request.user.has_perm("inventory.count_beyond_made"),
        }

    def act(self, data: dict[str, Any]) -> HonestyCount:
        return honesty_boxes.count(
            box=self.box,
            lines=self.form.lines(),
            cash_cents=data["cash"],
            counted_on=data["counted_on"],
            note=data["note"],
            surplus_reason=data.get("surplus_reason", ""),
            counted_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: HonestyCount) -> str:
        if made.is_first:
            return _("The shelf is counted. From now on, what is missing is sold.")
        figures = {
            "sold": words.money(made.expected_cents),
            "cash": words.money(made.cash_cents),
            "short": words.money(made.short_cents),
            "on_top": words.money(made.on_top_cents),
        }
        if made.short_cents:
            return _("Sold for %(sold)s, and %(cash)s was in the box: %(short)s is missing.") % (
                figures
            )
        if made.on_top_cents:
            return _(
                "Sold for %(sold)s, and %(cash)s was in the box: %(on_top)s was given on top."
            ) % (figures)
        return _("Sold for %(sold)s, and all of it was in the box.") % figures


class UndoCountView(BoxActView):
    form_class = WhyForm
    heading = gettext_lazy("Undo the count")
    lead = gettext_lazy(
        "The goods are on the shelf again in the books, and the cash is taken out of them. Count "
        "again afterwards."
    )
    button = gettext_lazy("Undo the count")

    def prepare(self) -> None:
        self.count = get_object_or_404(
            HonestyCount.objects.select_related("box__place"), pk=self.kwargs["pk"]
        )
        self.box = self.count.box

    def act(self, data: dict[str, Any]) -> HonestyCount:
        return honesty_boxes.undo(
            count=self.count,
            undone_by=person_of(self.request),
            reason=data["reason"],
            key=data["key"],
        )

    def done_message(self, made: HonestyCount) -> str:
        return _("The count is undone.")


class PutBoxAwayView(BoxActView):
    form_class = KeyForm
    heading = gettext_lazy("Put the box away")
    lead = gettext_lazy("It is not counted any more. Its counts stay readable.")
    button = gettext_lazy("Put it away")

    def act(self, data: dict[str, Any]) -> HonestyBox:
        return honesty_boxes.put_away(box=self.box)

    def done_message(self, made: HonestyBox) -> str:
        return _("The box is put away.")


def box_of(pk: int) -> HonestyBox:
    return get_object_or_404(found.boxes(), pk=pk)
