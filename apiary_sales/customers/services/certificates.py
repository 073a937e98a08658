"""Accept the certificates that free customers from sales tax, and end them."""

from datetime import date, timedelta

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer, ExemptionCertificate
from inventory.shared.checks import save_checked
from inventory.shared.errors import Problems
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat

# A longer time is a typing error in the year.
YEARS_MAX = timedelta(days=50 * 366)


@transaction.atomic
def accept(
    *,
    customer: Customer,
    number: str,
    reason: str,
    valid_from: date,
    accepted_by: Person,
    key: str,
    jurisdiction: str = "",
    other_reason: str = "",
    expires: date | None = None,
) -> ExemptionCertificate:
    """Accept a certificate: what is handed over from its first day to its last bears no tax.

    Bills that were issued keep their tax. Raises `BadValue` or `SeveralProblems`, and
    `AlreadyRecorded` with the certificate when the key came before.
    """
    refuse_repeat(ExemptionCertificate, key)
    certificate = ExemptionCertificate(
        customer=customer,
        number=number.strip(),
        jurisdiction=jurisdiction.strip(),
        reason=reason,
        other_reason=other_reason.strip() if reason == ExemptionCertificate.Reason.OTHER else "",
        valid_from=valid_from,
        expires=expires,
        accepted_by=accepted_by,
        accepted_on=timezone.localdate(),
        idempotency_key=key,
    )
    _check(certificate)
    save_checked(certificate)
    return certificate


@transaction.atomic
def change_end(certificate: ExemptionCertificate, *, expires: date | None) -> ExemptionCertificate:
    """Set the last day of a certificate; None means it does not expire. Raises `BadValue`.

    A certificate that is withdrawn, or was accepted by mistake, ends by this. Bills that were
    issued keep what they say.
    """
    certificate = ExemptionCertificate.objects.select_for_update(no_key=True).get(pk=certificate.pk)
    certificate.expires = expires
    problems = Problems()
    _check_days(problems, certificate)
    problems.raise_any()
    save_checked(certificate)
    return certificate


def _check(certificate: ExemptionCertificate) -> None:
    problems = Problems()
    if not certificate.number:
        problems.add("number", _("Enter the number of the certificate."))
    elif ExemptionCertificate.objects.filter(
        customer=certificate.customer,
        number__iexact=certificate.number,
        jurisdiction__iexact=certificate.jurisdiction,
        valid_from=certificate.valid_from,
    ).exists():
        problems.add("number", _("This certificate of the customer is entered already."))
    if certificate.reason not in ExemptionCertificate.Reason.values:
        problems.add("reason", _("Choose why the customer is exempt."))
    elif certificate.reason == ExemptionCertificate.Reason.OTHER and not certificate.other_reason:
        problems.add("other_reason", _("Say why the customer is exempt."))
    _check_days(problems, certificate)
    problems.raise_any()


def _check_days(problems: Problems, certificate: ExemptionCertificate) -> None:
    first, last = certificate.valid_from, certificate.expires
    today = timezone.localdate()
    if first is not None and abs(first - today) > YEARS_MAX:
        problems.add("valid_from", _("Check the year of the first day."))
    if last is not None and abs(last - today) > YEARS_MAX:
        problems.add("expires", _("Check the year of the last day."))
    elif first is not None and last is not None and last < first:
        problems.add("expires", _("The certificate expires before it begins."))
