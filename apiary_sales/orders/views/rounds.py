"""Delivery rounds: planned, loaded, and their stops marked delivered."""

from typing import Any

from django.core.paginator import Paginator
from django.db.models import Model, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from apiary_sales.customers.permissions import sees_buyers
from apiary_sales.orders import trade_papers
from apiary_sales.orders.forms import trade as forms
from apiary_sales.orders.queries import rounds as found
from apiary_sales.orders.services import rounds
from apiary_sales.orders.services.rounds import Brought
from apiary_sales.orders.trade_models import DeliveryRound, RoundStop
from apiary_sales.orders.views.trade import TradeActView
from inventory.shared import documents
from inventory.shared.people import person_of

PAGE_SIZE = 30


@sees_buyers
@require_safe
def round_list(request: HttpRequest) -> HttpResponse:
    page = Paginator(found.listed(), PAGE_SIZE).get_page(request.GET.get("page"))
    return render(request, "orders/trade/round_list.html", {"page": page})


@sees_buyers
@require_safe
def round_detail(request: HttpRequest, number: str) -> HttpResponse:
    context = trade_papers.load_list_context(round_of(number))
    return render(request, "orders/trade/round.html", context)


@sees_buyers
@require_safe
def load_list_pdf(request: HttpRequest, number: str) -> HttpResponse:
    return documents.serve(
        request,
        name=f"load-list-{number}.pdf",
        template_name=trade_papers.LOAD_LIST,
        context=trade_papers.load_list_context(round_of(number)),
    )


class RoundCreateView(TradeActView):
    permission_required = "orders.fulfil_orders"
    form_class = forms.RoundForm
    template_name = "orders/trade/round_form.html"
    heading = gettext_lazy("New delivery round")
    lead = gettext_lazy(
        "Number the stops in the order in which they are made. What has no number stays here."
    )
    button = gettext_lazy("Save the round")

    def get_form_kwargs(self) -> dict[str, Any]:
        waiting = [*found.orders_to_bring(), *found.deliveries_to_bring()]
        return {**super().get_form_kwargs(), "waiting": waiting}

    def act(self, data: dict[str, Any]) -> DeliveryRound:
        return rounds.plan(
            **{name: data[name] for name in ROUND},
            stops=self.form.stops,
            created_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: DeliveryRound) -> str:
        return _("Round %(number)s is planned.") % {"number": made.number}

    def back_url(self) -> str:
        return reverse("orders:round_list")

    def next_url(self, made: DeliveryRound) -> str:
        return round_url(made)


ROUND = ("day", "vehicle", "driver", "note")


class RoundChangeView(RoundCreateView):
    heading = gettext_lazy("Change the round")

    def prepare(self) -> None:
        self.round = round_of(self.kwargs["number"])

    @cached_property
    def on_it(self) -> list[Brought]:
        waiting = [stop.stop for stop in found.load_list(self.round).waiting]
        brought = [stop.delivery or stop.order for stop in waiting]
        return [each for each in brought if each is not None]

    def edited(self) -> Model:
        return self.round

    def edited_parts(self) -> list[QuerySet[Any]]:
        return [self.round.stops.all()]

    def get_initial(self) -> dict[str, Any]:
        return {name: getattr(self.round, name) for name in ROUND}

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "on_it": self.on_it}

    def act(self, data: dict[str, Any]) -> DeliveryRound:
        return rounds.change(
            round=self.round, **{name: data[name] for name in ROUND}, stops=self.form.stops
        )

    def done_message(self, made: DeliveryRound) -> str:
        return _("Round %(number)s is changed.") % {"number": made.number}

    def back_url(self) -> str:
        return round_url(self.round)


class StopDeliverView(TradeActView):
    permission_required = "orders.fulfil_orders"
    form_class = forms.DeliveredForm
    template_name = "orders/trade/stop_deliver.html"
    lead = gettext_lazy(
        "All that is left of it is handed over. For less, or to weigh out honey, hand it over on "
        "the page of the order."
    )
    button = gettext_lazy("It is delivered")

    def prepare(self) -> None:
        self.round = round_of(self.kwargs["number"])
        self.stop = get_object_or_404(self.round.stops.all(), pk=self.kwargs["pk"])
        load = found.load_list(self.round)
        [self.to_make] = [each for each in load.stops if each.stop.pk == self.stop.pk]

    @cached_property
    def heading(self) -> str:
        return _("Deliver %(what)s") % {"what": self.to_make.what}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {**super().get_context_data(**kwargs), "each": self.to_make}

    def act(self, data: dict[str, Any]) -> RoundStop:
        return rounds.deliver(stop=self.stop, delivered_by=person_of(self.request), **data)

    def done_message(self, made: RoundStop) -> str:
        return _("%(what)s is delivered.") % {"what": self.to_make.what}

    def back_url(self) -> str:
        return round_url(self.round)


def round_of(number: str) -> DeliveryRound:
    return get_object_or_404(DeliveryRound.objects.all(), number=number)


def round_url(round: DeliveryRound) -> str:
    return reverse("orders:round", args=[round.number])
