"""The pages about customers, what they owe, and first numbers."""

from datetime import timedelta
from typing import Any

from django.http import QueryDict
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.billing.models import OpeningAmount
from apiary_sales.billing.queries.number_series import number_series
from apiary_sales.billing.services import beginning, opening
from apiary_sales.billing.services.book import Account
from apiary_sales.customers.models import Customer
from apiary_sales.customers.services import customers
from apiary_sales.web.first_hour import pasted, steps
from apiary_sales.web.first_hour.forms.books import CustomerRow, FirstNumberRow, MoneyInHandForm
from apiary_sales.web.first_hour.forms.rows import Rows, rows_in
from apiary_sales.web.first_hour.views.opening import as_day, is_day
from apiary_sales.web.first_hour.views.step import Asked, StepView
from inventory.shared.people import person_of
from inventory.stock.services import numbers

CUSTOMERS_ASKED = 5
# So many of those who are there already are named.
CUSTOMERS_NAMED = 50
COLUMNS = ("name", "email", "number", "amount", "issued_on")
KINDS: dict[str, str] = {
    Customer.Tier.STAND: Customer.Kind.RETAIL,
    Customer.Tier.SHOP: Customer.Kind.SHOP,
    Customer.Tier.DISTRIBUTOR: Customer.Kind.SHOP,
    Customer.Tier.BULK: Customer.Kind.BULK,
}
ACCOUNTS: dict[str, str] = {"cash": Account.CASH, "bank": Account.TRANSFER}


class CustomersView(StepView):
    slug = "customers"
    template_name = "web/set_up/customers.html"

    def ask(self, data: QueryDict | None, files: Any = None) -> Asked:
        form = MoneyInHandForm(data)
        for name, account in ACCOUNTS.items():
            if OpeningAmount.objects.filter(account=account, undone_on=None).exists():
                del form.fields[name]
        rows = Rows(CustomerRow, data, prefix="customers", blank=CUSTOMERS_ASKED)
        return Asked(form, {"customers": rows})

    def read_in(self, data: QueryDict) -> QueryDict | None:
        if "read" not in data:
            return super().read_in(data)
        read, position, unread = data.copy(), 0, []
        for line in pasted.cells(data.get("pasted", "")):
            while read.get(f"customers-{position}-name", "").strip():
                position += 1
            read[f"customers-{position}-tier"] = Customer.Tier.SHOP.value
            for name, cell in zip(COLUMNS, line, strict=False):
                value = as_day(cell) if name == "issued_on" else cell
                if name == "issued_on" and cell and not is_day(value):
                    unread.append(f"{line[0]}, {cell}")
                read[f"customers-{position}-{name}"] = value
            position += 1
        self.tell_not_read(unread)
        count = rows_in(data, "customers")
        read["customers-rows"], read["pasted"] = str(max(count, position)), ""
        return read

    def context(self) -> dict[str, Any]:
        return {
            "customers": Customer.objects.order_by("name")[:CUSTOMERS_NAMED],
            "customers_more": max(0, Customer.objects.count() - CUSTOMERS_NAMED),
            "open_invoices": beginning.opening_invoices().select_related("customer"),
            "amounts": OpeningAmount.objects.filter(undone_on=None),
        }

    def save(self, asked: Asked) -> str:
        assert asked.form is not None
        made: dict[str, Customer] = {}
        for position, row in enumerate(asked.rows["customers"].filled()):
            with self.telling_at(row):
                self._save_row(row.cleaned_data, made, position)
        for name, account in ACCOUNTS.items():
            if cents := asked.form.cleaned_data.get(name):
                with self.telling_at(asked.form, amount_cents=name, account=name):
                    opening.amount(
                        account=account,
                        amount_cents=cents,
                        begins_on=steps.begins_on(),
                        recorded_by=person_of(self.request),
                        key=f"{self.key}-{name}",
                    )
        return ngettext(
            "%(count)s customer is entered.", "%(count)s customers are entered.", len(made)
        ) % {"count": len(made)}

    def _save_row(self, data: dict[str, Any], made: dict[str, Customer], position: int) -> None:
        name = " ".join(data["name"].split())
        customer = made.get(name.casefold())
        if customer is None and data["amount"]:
            # A second open invoice of somebody who is there.
            customer = Customer.objects.filter(name__iexact=name).first()
        if customer is None:
            customer = customers.add(
                name=name,
                tier=data["tier"],
                kind=KINDS[data["tier"]],
                email=data["email"],
            )
            made[name.casefold()] = customer
        if data["amount"]:
            opening.owe(
                customer=customer,
                number=data["number"],
                amount_cents=data["amount"],
                issued_on=data["issued_on"],
                due_on=data["issued_on"] + timedelta(days=customer.terms_days),
                begins_on=steps.begins_on(),
                recorded_by=person_of(self.request),
                key=f"{self.key}-{position}",
            )


class NumbersView(StepView):
    slug = "numbers"
    template_name = "web/set_up/numbers.html"

    def ask(self, data: QueryDict | None, files: Any = None) -> Asked:
        proposed = [
            {"title": each.name, "subject": each.series, "first": each.next_number}
            for each in number_series()
            if not each.has_begun
        ]
        return Asked(rows={"numbers": Rows(FirstNumberRow, data, prefix="no", proposed=proposed)})

    def context(self) -> dict[str, Any]:
        return {"begun": [each for each in number_series() if each.has_begun]}

    def save(self, asked: Asked) -> str:
        proposed = {each.series: each.next_number for each in number_series()}
        for row in asked.rows["numbers"].filled():
            if row.cleaned_data["first"] != proposed[row.subject]:
                with self.telling_at(row):
                    numbers.begin_at(row.subject, number=row.cleaned_data["first"])
        return _("The first numbers are saved.")
