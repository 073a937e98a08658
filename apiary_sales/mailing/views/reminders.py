"""Reminders: approve what is due, the schedule, and pauses."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.db.models import Model
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from apiary_sales.billing.models import Invoice
from apiary_sales.customers.models import Customer
from apiary_sales.mailing.forms.reminders import (
    ApproveForm,
    PauseForm,
    ReminderPlanForm,
    value_of,
)
from apiary_sales.mailing.models import Email, ReminderPause, ReminderPlan
from apiary_sales.mailing.queries import emails as queries
from apiary_sales.mailing.services import emails, reminders
from apiary_sales.mailing.services.reminders import DueReminder
from inventory.shared.errors import HouseError
from inventory.shared.people import person_of
from inventory.shared.views import ActView

SEND = "billing.issue_invoices"


class RemindersView(ActView):
    """Show the reminders that are due, each ticked, and send those that stay ticked."""

    permission_required = SEND
    form_class = ApproveForm
    template_name = "mailing/reminders.html"

    @cached_property
    def rows(self) -> list[DueReminder]:
        found = reminders.due(timezone.localdate(), sent_by=person_of(self.request))
        return found[: reminders.CUSTOMERS_MAX]

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "rows": self.rows}

    def act(self, data: dict[str, Any]) -> list[Email]:
        return reminders.send(
            chosen=data["chosen"], sent_by=person_of(self.request), key=data["key"]
        )

    def done_message(self, made: list[Email]) -> str:
        return ngettext(
            "%(count)s reminder is on its way.", "%(count)s reminders are on their way.", len(made)
        ) % {"count": len(made)}

    def next_url(self, made: list[Email]) -> str:
        return reverse("mailing:email_list")

    repeat_url = next_url

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        context = super().get_context_data(**kwargs)
        ticked = context["form"].ticked()
        return {
            **context,
            "rows": [(row, value_of(row), value_of(row) in ticked) for row in self.rows],
            "sendable": sum(1 for row in self.rows if row.customer.email),
            "pauses": queries.pauses(timezone.localdate()),
            "plan": ReminderPlan.current(),
            "sender": emails.sender_address(),
            "leaves_the_house": queries.leaves_the_house(),
        }


class ReminderPlanView(ActView):
    permission_required = SEND
    form_class = ReminderPlanForm
    template_name = "mailing/reminder_plan.html"

    def edited(self) -> Model:
        return ReminderPlan.current()

    def get_initial(self) -> dict[str, Any]:
        plan = ReminderPlan.current()
        return {
            "first_days": plan.first_days,
            "second_days": plan.second_days,
            "third_days": plan.third_days,
            "minimum": plan.minimum_cents,
        }

    def act(self, data: dict[str, Any]) -> ReminderPlan:
        return reminders.change_plan(
            first_days=data["first_days"],
            second_days=data["second_days"],
            third_days=data["third_days"],
            minimum_cents=data["minimum"],
        )

    def done_message(self, made: ReminderPlan) -> str:
        return _("The schedule of reminders is saved.")

    def next_url(self, made: ReminderPlan) -> str:
        return reverse("mailing:reminders")


class PauseView(ActView):
    """Stop the reminders of a customer, or of one disputed invoice."""

    permission_required = SEND
    form_class = PauseForm
    template_name = "mailing/pause.html"

    def prepare(self) -> None:
        self.customer = get_object_or_404(Customer, pk=self.kwargs["pk"])
        self.page_url = reverse("customers:detail", args=[self.customer.pk])

    def get_initial(self) -> dict[str, Any]:
        return {"invoice": self.request.GET.get("invoice", "")}

    def get_form_kwargs(self) -> dict[str, Any]:
        return {**super().get_form_kwargs(), "invoices": Invoice.objects.open_of(self.customer)}

    def act(self, data: dict[str, Any]) -> ReminderPause:
        return reminders.pause(
            customer=self.customer,
            invoice=data["invoice"],
            reason=data["reason"],
            until=data["until"],
            placed_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: ReminderPause) -> str:
        if made.invoice:
            return _("No reminders of %(invoice)s are sent.") % {"invoice": made.invoice}
        return _("No reminders are sent to %(customer)s.") % {"customer": made.customer}

    def next_url(self, made: ReminderPause) -> str:
        return self.page_url

    repeat_url = next_url

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {
            **super().get_context_data(**kwargs),
            "customer": self.customer,
            "page_url": self.page_url,
        }


@require_POST
@permission_required(SEND, raise_exception=True)
def end_pause(request: HttpRequest, pk: int) -> HttpResponse:
    pause = get_object_or_404(ReminderPause.objects.select_related("customer"), pk=pk)
    try:
        reminders.end_pause(pause=pause, ended_by=person_of(request))
    except HouseError as error:
        messages.info(request, error.message)
    else:
        messages.success(
            request,
            _("Reminders are sent to %(customer)s again.") % {"customer": pause.customer},
        )
    return redirect("mailing:reminders")
