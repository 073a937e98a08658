"""Pages of the people and firms we sell to."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from apiary_sales.customers import queries
from apiary_sales.customers.fields import TYPED_MAX
from apiary_sales.customers.forms import AddressForm, CustomerForm, FindForm
from apiary_sales.customers.models import Customer, DeliveryAddress
from apiary_sales.customers.permissions import sees_buyers
from apiary_sales.customers.services import addresses, customers
from inventory.shared.errors import HouseError
from inventory.shared.forms.acts import ActForm
from inventory.shared.row_keys import row_key
from inventory.shared.views import ActView
from inventory.stock.models import Supplier

CUSTOMERS_A_PAGE = 50
# So many are offered below the box of a form; a longer part of the name finds the others.
NAMES_SHOWN = 8

manages_customers = permission_required("customers.manage_customers", raise_exception=True)


@sees_buyers
def customer_list(request: HttpRequest) -> HttpResponse:
    form = FindForm(request.GET)
    asked = form.cleaned_data if form.is_valid() else {}
    found = queries.find(
        words=asked.get("words", ""),
        kind=asked.get("kind", ""),
        include_inactive=asked.get("all", False),
    )
    found = found.prefetch_related("certificates")
    page = Paginator(found, CUSTOMERS_A_PAGE).get_page(request.GET.get("page"))
    today = timezone.localdate()
    rows = [(customer, queries.certificate(customer, today)) for customer in page]
    return render(
        request,
        "customers/list.html",
        {"form": form, "page": page, "rows": rows, "is_filtered": any(asked.values())},
    )


@sees_buyers
@require_safe
def customer_names(request: HttpRequest) -> HttpResponse:
    """The names that fit what is typed into the box of a form that asks for a customer."""
    found = queries.find(
        words=request.GET.get("words", "")[:TYPED_MAX],
        include_inactive="all" in request.GET,
    )
    return render(request, "customers/_names.html", {"customers": found[:NAMES_SHOWN]})


@sees_buyers
def customer_detail(request: HttpRequest, pk: int) -> HttpResponse:
    customer = get_object_or_404(Customer, pk=pk)
    today = timezone.localdate()
    return render(
        request,
        "customers/detail.html",
        {
            "customer": customer,
            "addresses": queries.delivery_addresses(customer),
            "certificate": queries.certificate(customer, today),
            "certificates": queries.certificates(customer, today),
            "data_missing": queries.missing_for_data(customer) if customer.gets_data else [],
        },
    )


@manages_customers
def customer_create(request: HttpRequest) -> HttpResponse:
    given = _known_of_supplier(request.GET.get("supplier", ""))
    form = CustomerForm(request.POST) if request.method == "POST" else CustomerForm(initial=given)
    if form.is_valid():
        try:
            added = customers.add(**form.cleaned_data)
        except HouseError as error:
            form.refuse(error)
        else:
            messages.success(request, _("%(name)s is a customer now.") % {"name": added.name})
            return redirect("customers:detail", pk=added.pk)
    status = 422 if form.errors else 200
    return render(request, "customers/form.html", {"form": form, "customer": None}, status=status)


def _known_of_supplier(key: str) -> dict[str, Any]:
    """Return what is known of a supplier, as the form of a customer shows it first."""
    supplier = Supplier.objects.filter(pk=row_key(key)).first()
    if supplier is None:
        return {}
    same = ("name", "contact", "phone", "email", "street", "city", "region", "postal_code")
    known = {name: getattr(supplier, name) for name in same}
    return known | {"country": supplier.country_name, "supplier": supplier.pk}


class CustomerEditView(ActView):
    permission_required = "customers.manage_customers"
    template_name = "customers/form.html"
    form_class = CustomerForm

    def prepare(self) -> None:
        self.customer = get_object_or_404(Customer, pk=self.kwargs["pk"])

    def edited(self) -> Customer:
        return self.customer

    def get_initial(self) -> dict[str, Any]:
        return {name: getattr(self.customer, name) for name in CustomerForm.base_fields}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {**super().get_context_data(**kwargs), "customer": self.customer}

    def act(self, data: dict[str, Any]) -> Customer:
        return customers.change(self.customer, **data)

    def done_message(self, made: Customer) -> str:
        return _("%(name)s is changed.") % {"name": made.name}

    def next_url(self, made: Customer) -> str:
        return reverse("customers:detail", args=[made.pk])


class AddressCreateView(ActView):
    permission_required = "customers.manage_customers"
    template_name = "customers/address_form.html"
    form_class = AddressForm

    def prepare(self) -> None:
        self.customer = get_object_or_404(Customer, pk=self.kwargs["pk"])

    def get_context_data(self, **kwargs):
        return {**super().get_context_data(**kwargs), "customer": self.customer}

    def act(self, data: dict[str, Any]) -> DeliveryAddress:
        return addresses.add(customer=self.customer, **data)

    def done_message(self, made: DeliveryAddress) -> str:
        return _("%(address)s is an address of %(customer)s now.") % {
            "address": made,
            "customer": self.customer.name,
        }

    def next_url(self, made: DeliveryAddress) -> str:
        return reverse("customers:detail", args=[self.customer.pk])

    def repeat_url(self, made: DeliveryAddress) -> str:
        return self.next_url(made)


class AddressRemoveView(ActView):
    permission_required = "customers.manage_customers"
    template_name = "customers/address_remove.html"
    form_class = ActForm

    def prepare(self) -> None:
        self.address = get_object_or_404(
            DeliveryAddress.objects.select_related("customer"), pk=self.kwargs["pk"]
        )

    def get_context_data(self, **kwargs):
        return {**super().get_context_data(**kwargs), "address": self.address}

    def act(self, data: dict[str, Any]) -> DeliveryAddress:
        return addresses.remove(self.address)

    def done_message(self, made: DeliveryAddress) -> str:
        return _("%(address)s is off the list. Orders that go there keep it.") % {"address": made}

    def next_url(self, made: DeliveryAddress) -> str:
        return reverse("customers:detail", args=[self.address.customer_id])
