"""Sales at the stand that somebody should look at, and those that were given to the office."""

from typing import Any

from django.contrib.auth.decorators import permission_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_GET

from apiary_sales.billing.forms.stand_marks import (
    BookHandedInForm,
    LeaveUnbookedForm,
    SeeMarksForm,
    SeeShortForm,
)
from apiary_sales.billing.models import HandedInSale, SaleMark, StandSale
from apiary_sales.billing.queries import stand_marks as queries
from apiary_sales.billing.services import handed_in, stand_marks
from apiary_sales.billing.views.stand_words import sold_text
from inventory.shared.people import person_of
from inventory.shared.views import ActView

SEE = "billing.view_money"
PAGE_LENGTH = 50
# A sale with its marks takes much of a small screen.
MARKED_LENGTH = 20


@require_GET
@permission_required(SEE, raise_exception=True)
def mark_list(request: HttpRequest) -> HttpResponse:
    """Show the sales with marks, those that nobody has looked at unless told otherwise."""
    is_seen = request.GET.get("seen") == "1"
    kinds = queries.kinds(is_seen=is_seen)
    kind = request.GET.get("kind", "")
    kind = kind if kind in dict(kinds) else ""
    found = queries.sales(is_seen=is_seen, kind=kind)
    page = Paginator(found, MARKED_LENGTH).get_page(request.GET.get("page"))
    only_short = [] if is_seen else queries.only_short(page)
    return render(
        request,
        "billing/stand_marks.html",
        {
            "page_obj": page,
            "is_seen": is_seen,
            "kinds": kinds,
            "kind": kind,
            "only_short": only_short,
            "form": SeeShortForm(initial={"sales": [sale.pk for sale in only_short]}),
            "waiting": queries.handed_in(is_settled=False).count(),
        },
    )


class SeeMarksView(ActView):
    """Say that a sale with marks was looked at."""

    permission_required = SEE
    form_class = SeeMarksForm
    template_name = "billing/stand_marks_seen.html"

    def prepare(self) -> None:
        sales = StandSale.objects.select_related("receipt", "place", "sold_by")
        self.sale = get_object_or_404(sales, receipt=self.kwargs["pk"])

    def act(self, data: dict[str, Any]) -> StandSale:
        return stand_marks.see(sale=self.sale, seen_by=person_of(self.request), note=data["note"])

    def done_message(self, made: StandSale) -> str:
        return _("%(receipt)s was looked at.") % {"receipt": made.receipt}

    def next_url(self, made: StandSale) -> str:
        return reverse("billing:stand_marks")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {**super().get_context_data(**kwargs), "sale": self.sale}


class SeeShortView(ActView):
    """Say that sales which were only short of goods were looked at, all of a page together."""

    permission_required = SEE
    form_class = SeeShortForm
    template_name = "billing/stand_short_seen.html"

    def prepare(self) -> None:
        page = queries.sales(is_seen=False, kind=SaleMark.Kind.SHORT)[:MARKED_LENGTH]
        self.short = queries.only_short(page)

    def get_initial(self) -> dict[str, Any]:
        return {"sales": [sale.pk for sale in self.short]}

    def act(self, data: dict[str, Any]) -> int:
        return stand_marks.see_short(sales=data["sales"], seen_by=person_of(self.request))

    def done_message(self, made: int) -> str:
        return ngettext(
            "%(count)s sale was looked at.", "%(count)s sales were looked at.", made
        ) % {"count": made}

    def next_url(self, made: int) -> str:
        return reverse("billing:stand_marks")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {**super().get_context_data(**kwargs), "only_short": self.short}


@require_GET
@permission_required(SEE, raise_exception=True)
def handed_in_list(request: HttpRequest) -> HttpResponse:
    """Show the sales that were given to the office, those to settle unless told otherwise."""
    is_settled = request.GET.get("settled") == "1"
    found = queries.handed_in(is_settled=is_settled)
    page = Paginator(found, PAGE_LENGTH).get_page(request.GET.get("page"))
    return render(
        request, "billing/handed_in_sales.html", {"page_obj": page, "is_settled": is_settled}
    )


class HandedInView(ActView):
    """One sale that was given to the office."""

    permission_required = SEE
    template_name = "billing/handed_in_act.html"
    heading: str | Promise
    button: str | Promise

    def prepare(self) -> None:
        self.handed_in = get_object_or_404(HandedInSale, pk=self.kwargs["pk"])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {
            **super().get_context_data(**kwargs),
            "handed_in": self.handed_in,
            "act_heading": self.heading,
            "act_button": self.button,
        }


class BookHandedInView(HandedInView):
    """Put right what is wrong in it, and book it."""

    form_class = BookHandedInForm
    heading = gettext_lazy("Book a sale given to the office")
    button = gettext_lazy("Book the sale")

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "handed_in": self.handed_in}

    def act(self, data: dict[str, Any]) -> StandSale:
        return handed_in.book(
            handed_in=self.handed_in, settled_by=person_of(self.request), **self.form.sale
        )

    def done_message(self, made: StandSale) -> str:
        return f"{sold_text(made)} " + _("Receipt %(receipt)s.") % {"receipt": made.receipt}

    def next_url(self, made: StandSale) -> str:
        return reverse("billing:receipt", args=[made.receipt_id])


class LeaveUnbookedView(HandedInView):
    """Say why it is not booked."""

    form_class = LeaveUnbookedForm
    heading = gettext_lazy("Set a sale aside")
    button = gettext_lazy("Set it aside")

    def act(self, data: dict[str, Any]) -> HandedInSale:
        return handed_in.settle(
            handed_in=self.handed_in, settled_by=person_of(self.request), note=data["note"]
        )

    def done_message(self, made: HandedInSale) -> str:
        return _("The sale is set aside: %(note)s") % {"note": made.note}

    def next_url(self, made: HandedInSale) -> str:
        return reverse("billing:handed_in_sales")
