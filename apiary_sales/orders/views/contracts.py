"""Contracts with packers: what is left of each, samples approved, drums called off."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from apiary_sales.customers.permissions import sees_buyers
from apiary_sales.orders.forms import trade as forms
from apiary_sales.orders.queries import contracts as found
from apiary_sales.orders.services import contracts
from apiary_sales.orders.trade_models import CallOff, Contract, ContractSample
from apiary_sales.orders.views.orders import order_url
from apiary_sales.orders.views.trade import TradeActView
from inventory.shared.paging import page_of
from inventory.shared.people import person_of


@sees_buyers
@require_safe
def contract_list(request: HttpRequest) -> HttpResponse:
    page = page_of(request, found.listed())
    tallies = found.tallies(page.object_list)
    rows = [(tally, found.state(tally.contract)) for tally in tallies]
    return render(request, "orders/trade/contract_list.html", {"rows": rows, "page": page})


@sees_buyers
@require_safe
def contract_detail(request: HttpRequest, number: str) -> HttpResponse:
    contract = contract_of(number)
    [tally] = found.tallies([contract])
    return render(
        request,
        "orders/trade/contract.html",
        {
            "contract": contract,
            "tally": tally,
            "state": found.state(contract),
            "call_offs": found.call_offs(contract),
            "samples": contract.samples.select_related("lot"),
        },
    )


class ContractCreateView(TradeActView):
    permission_required = "orders.quote_drums"
    form_class = forms.ContractForm
    template_name = "orders/trade/contract_form.html"
    heading = gettext_lazy("New contract")
    lead = gettext_lazy(
        "Honey in drums that a buyer takes over a time. Each call-off is an order at its price."
    )
    button = gettext_lazy("Save the contract")

    def act(self, data: dict[str, Any]) -> Contract:
        steps = self.form.price_steps
        kept = {name: data[name] for name in data if not name.startswith(("step_", "unit_"))}
        kept["min_grams"] = kept["min_grams"] or 0
        return contracts.agree(**kept, price_steps=steps, created_by=person_of(self.request))

    def done_message(self, made: Contract) -> str:
        return _("Contract %(number)s is saved.") % {"number": made.number}

    def back_url(self) -> str:
        return reverse("orders:contract_list")

    def next_url(self, made: Contract) -> str:
        return contract_url(made)


class ContractActView(TradeActView):
    """An act on one contract."""

    permission_required = "orders.quote_drums"

    def prepare(self) -> None:
        self.contract = contract_of(self.kwargs["number"])

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {**super().get_context_data(**kwargs), "contract": self.contract}

    def back_url(self) -> str:
        return contract_url(self.contract)


class ContractEndView(ContractActView):
    form_class = forms.ContractEndForm
    heading = gettext_lazy("Another last day")
    lead = gettext_lazy("Call-offs after it are asked about. What is called off stays as it is.")
    button = gettext_lazy("Save the day")

    def get_initial(self) -> dict[str, Any]:
        return {"ends_on": self.contract.ends_on}

    def act(self, data: dict[str, Any]) -> Contract:
        return contracts.end(contract=self.contract, ends_on=data["ends_on"])

    def done_message(self, made: Contract) -> str:
        return _("Contract %(number)s has its new last day.") % {"number": made.number}


class SampleView(ContractActView):
    form_class = forms.SampleForm
    heading = gettext_lazy("Approved sample")
    lead = gettext_lazy(
        "Once a sample is approved, drums of other lots are asked about when they are called off."
    )
    button = gettext_lazy("Save the sample")

    def act(self, data: dict[str, Any]) -> ContractSample:
        return contracts.approve_sample(
            contract=self.contract, recorded_by=person_of(self.request), **data
        )

    def done_message(self, made: ContractSample) -> str:
        return _("The sample of lot %(lot)s is approved.") % {"lot": made.lot.code}


class CallOffView(ContractActView):
    form_class = forms.CallOffForm
    template_name = "orders/trade/call_off.html"
    button = gettext_lazy("Take the order")

    @cached_property
    def heading(self) -> str:
        return _("Call off from contract %(number)s") % {"number": self.contract.number}

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "offers": found.free_drums(self.contract)}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        [tally] = found.tallies([self.contract])
        return {**super().get_context_data(**kwargs), "tally": tally}

    def act(self, data: dict[str, Any]) -> CallOff:
        names = ("wanted_on", "customer_reference", "note", "key", "beyond_is_right")
        more = ("quality_is_right", "over_limit", "moisture_is_right")
        return contracts.call_off(
            contract=self.contract,
            drums=self.form.drums,
            charges=self.form.charges,
            created_by=person_of(self.request),
            **{name: data[name] for name in (*names, *more)},
        )

    def done_message(self, made: CallOff) -> str:
        return _("Order %(order)s is taken, and its goods are reserved.") % {
            "order": made.order.number
        }

    def next_url(self, made: CallOff) -> str:
        return order_url(made.order)


def contract_of(number: str) -> Contract:
    return get_object_or_404(found.listed(), number=number)


def contract_url(contract: Contract) -> str:
    return reverse("orders:contract", args=[contract.number])
