"""Bill interest on what a customer pays late."""

from datetime import date
from decimal import Decimal

from django.db import transaction
from django.db.models import F, Max, Sum
from django.utils import timezone
from django.utils.formats import date_format, number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.billing.interest import Interest, Overdue, interest_cents
from apiary_sales.billing.models import InterestCharge, Invoice, plain
from apiary_sales.billing.services import book, service_bills
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.pricing.models import Service
from inventory.shared import keys, words
from inventory.shared.errors import BadValue, NotAllowedNow
from inventory.shared.money import amount
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat

# Interest is billed as this service, one of the usual ones.
SERVICE = "interest"
PERCENT_MAX = Decimal(100)


def preview(customer: Customer, *, percent_a_year: Decimal, until: date) -> list[Interest]:
    """Return the interest on each overdue invoice of a customer up to a day, oldest first.

    Bills for interest bear none. Days that were charged before are left out, unless that bill was
    credited.
    """
    bills = Invoice.objects.filter(pk__in=InterestCharge.objects.values("bill"))
    credited = bills.annotate(credited_cents=Sum("credit_notes__total_cents")).filter(
        credited_cents=-F("total_cents")
    )
    last_days = dict(
        InterestCharge.objects.filter(invoice__customer=customer)
        .exclude(bill__in=credited.values("pk"))
        .order_by()
        .values_list("invoice")
        .annotate(last=Max("until_day"))
    )
    overdue = (
        Invoice.objects.open_of(customer)
        .filter(due_on__lt=until)
        .exclude(pk__in=InterestCharge.objects.values("bill"))
    )
    found = []
    for invoice in overdue:
        after_day = max(invoice.due_on, last_days.get(invoice.pk, invoice.due_on))
        cents = interest_cents(invoice.open_cents, percent_a_year, (until - after_day).days)
        if cents > 0:
            base = Overdue(invoice.pk, str(invoice), invoice.open_cents, after_day)
            found.append(Interest(base, until, percent_a_year, cents))
    return found


@transaction.atomic
def charge(
    *,
    customer: Customer,
    percent_a_year: Decimal,
    billed_by: Person,
    key: str,
    until: date | None = None,
    total_cents: int | None = None,
) -> Invoice:
    """Bill a customer the interest that `preview` shows, a line an invoice; return the bill.

    `total_cents` is what was shown: when it is another by now, nothing is billed. Ask your state
    about limits of interest; the program has none but 100 % a year. Raises `BadValue`,
    `NotAllowedNow` where nothing is to be charged, `AlreadyRecorded`.
    """
    until = until or timezone.localdate()
    book.lock_customer(customer)
    refuse_repeat(Invoice, keys.part(key, "invoice"), made=service_bills.find(key))
    if not 0 < percent_a_year <= PERCENT_MAX:
        raise BadValue(
            _("Enter the interest a year, above 0 % and up to 100 %."), parameter="percent_a_year"
        )
    if until > timezone.localdate():
        raise BadValue(
            _("This day is in the future. Choose today or an earlier day."), parameter="until"
        )
    found = preview(customer, percent_a_year=percent_a_year, until=until)
    if not found:
        raise NotAllowedNow(
            _("%(customer)s has no overdue invoice with interest to charge up to this day.")
            % {"customer": customer}
        )
    now_cents = sum(each.cents for each in found)
    if total_cents is not None and total_cents != now_cents:
        raise BadValue(
            _("The interest is %(now)s by now, not %(shown)s. Look at it again.")
            % {"now": words.money(now_cents), "shown": words.money(total_cents)},
            parameter="total_cents",
        )
    service = Service.objects.filter(code=SERVICE, is_active=True).first()
    if service is None:
        raise NotAllowedNow(
            _(
                "The service “interest on a late payment” is missing. Add the usual services on "
                "the page Services first."
            )
        )
    bill = service_bills.bill(
        customer=customer,
        lines=[_line(each, service) for each in found],
        billed_by=billed_by,
        # Whoever pays late is often at the limit already.
        over_limit=True,
        key=key,
    )
    InterestCharge.objects.bulk_create(
        InterestCharge(
            invoice_id=each.overdue.invoice_pk,
            bill=bill,
            base_cents=each.overdue.open_cents,
            percent_a_year=percent_a_year,
            after_day=each.overdue.after_day,
            until_day=until,
            interest_cents=each.cents,
        )
        for each in found
    )
    return bill


def _line(interest: Interest, service: Service) -> LineWanted:
    description = ngettext(
        "Interest on %(invoice)s, %(open)s, %(percent)s %% a year, %(days)s day to %(until)s",
        "Interest on %(invoice)s, %(open)s, %(percent)s %% a year, %(days)s days to %(until)s",
        interest.days,
    ) % {
        "invoice": interest.overdue.name,
        "open": words.money(interest.overdue.open_cents),
        "percent": number_format(plain(interest.percent_a_year)),
        "days": interest.days,
        "until": date_format(interest.until_day),
    }
    return LineWanted(
        OrderLine.Kind.SERVICE,
        100,
        amount(interest.cents),
        service=service,
        description=description,
    )
