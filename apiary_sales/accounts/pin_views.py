"""Pages that set a PIN: one's own, and that of another person."""

from typing import Any

from django.http import Http404
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.translation import gettext as _

from apiary_sales.accounts import access, queries, roles
from apiary_sales.accounts.models import SellerPin, User
from apiary_sales.accounts.pin_forms import OwnPinForm, PinForm
from apiary_sales.accounts.services import pins
from inventory.shared.views import ActView


class OwnPinView(ActView):
    permission_required = roles.SELL
    form_class = OwnPinForm
    template_name = "accounts/pin.html"

    def prepare(self) -> None:
        self.me = access.me(self.request)

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"request": self.request, "person": self.me}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(pin=queries.pin_of(self.me), **kwargs)

    def act(self, data: dict[str, Any]) -> SellerPin:
        return pins.set_pin(person=self.me, pin=data["pin"], set_by=self.me)

    def done_message(self, made: SellerPin) -> str:
        return _("Your PIN is set.")

    def next_url(self, made: SellerPin) -> str:
        return reverse("accounts:account")


class PersonPinView(ActView):
    permission_required = "accounts.manage_people"
    form_class = PinForm
    template_name = "accounts/person_pin.html"

    def prepare(self) -> None:
        self.person = get_object_or_404(User, pk=self.kwargs["pk"])
        if self.person.role not in roles.that_may(roles.SELL):
            raise Http404(_("This person does not sell at the stand."))

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        pin = queries.pin_of(self.person)
        return super().get_context_data(person=self.person, pin=pin, **kwargs)

    def act(self, data: dict[str, Any]) -> SellerPin:
        me = access.me(self.request)
        return pins.set_pin(person=self.person, pin=data["pin"], set_by=me)

    def done_message(self, made: SellerPin) -> str:
        return _("%(name)s has a new PIN. Tell it to this person.") % {
            "name": self.person.display_name
        }

    def next_url(self, made: SellerPin) -> str:
        return reverse("accounts:person", args=[self.person.pk])
