"""What the books hold of a customer as a person."""

from django.utils.translation import gettext as _

from apiary_sales.billing.models import Invoice, Payment
from apiary_sales.customers.models import Customer
from apiary_sales.customers.personal_data import HeldData, row_of
from inventory.shared import words


def held(customer: Customer) -> list[HeldData]:
    """Return bills and payments; all of them stay."""
    stays = _(
        "Books and the papers they rest on are kept for as long as tax law says, mostly six to ten "
        "years. Ask your adviser. They name whom a lot went to if it must be called back."
    )
    bills = Invoice.objects.filter(customer=customer).order_by("pk")
    payments = Payment.objects.filter(customer=customer).order_by("pk")
    return [
        HeldData(
            _("Invoices and credit notes"),
            [
                {
                    _("number"): str(each),
                    **row_of(each, "issued_on"),
                    **{str(name): str(value) for name, value in each.buyer.items() if value},
                }
                for each in bills
            ],
            stays=stays,
        ),
        HeldData(
            _("Payments"),
            [
                {
                    **row_of(each, "received_on", "method", "reference", "note"),
                    _("amount"): words.money(each.amount_cents),
                }
                for each in payments
            ],
            stays=stays,
        ),
    ]
