"""The taxes on the lines of a bill, by how its goods were taxed on the day of the hand-over."""

from collections.abc import Mapping, Sequence
from datetime import date

from apiary_sales.billing.models import InvoiceLine, InvoiceLineTax
from apiary_sales.customers.models import Customer, ExemptionCertificate
from apiary_sales.pricing.models import GoodsCategory, TaxRate
from apiary_sales.pricing.rules import tax
from apiary_sales.pricing.rules.tax import Treatment
from inventory.shared.models import House


def certificate_of(customer: Customer | None, day: date) -> ExemptionCertificate | None:
    """Return the certificate that freed a buyer from tax on a day, or None."""
    return ExemptionCertificate.objects.in_force(customer, day) if customer else None


def treatments_on(
    day: date, *, house: House, certificate: ExemptionCertificate | None = None
) -> Mapping[str, Treatment]:
    """Return how each kind of goods is taxed on a day, for a buyer with this certificate."""
    usual = tax.treatments(
        TaxRate.objects.in_force(day),
        GoodsCategory.objects.in_force(day),
        deposits_taxed=house.deposits_taxed,
    )
    return usual if certificate is None else tax.exempted(usual, certificate.reason_in_words)


def put_on(
    lines: Sequence[InvoiceLine],
    goods: Sequence[str],
    *,
    on: date,
    house: House,
    certificate: ExemptionCertificate | None = None,
    rounding: str = "",
) -> list[list[InvoiceLineTax]]:
    """Tax the unsaved lines of a bill, and return the taxes of each, unsaved too.

    `goods` says of each line what it is taxed as, `on` is the day they were handed over. The lines
    come with the amount of their price; where prices include their tax, it is taken out of it.
    `rounding` is the house's, unless another is given.
    """
    taxed = tax.tax_invoice_lines(
        [tax.TaxLine(kind, line.amount_cents) for kind, line in zip(goods, lines, strict=True)],
        rounding or house.tax_rounding,
        treatments=treatments_on(on, house=house, certificate=certificate),
        prices_include_tax=house.prices_include_tax,
    )
    taxes = []
    for line, found in zip(lines, taxed, strict=True):
        how = found.treatment
        line.tax_category, line.exemption_reason = how.category, how.reason
        line.certificate = certificate if how.is_by_certificate else None
        line.tax_name, line.tax_percent = how.rate.name, how.rate.percent
        line.amount_cents, line.tax_cents = found.net_cents, found.tax_cents
        line.rounding_cents = found.rounding_cents
        taxes.append(
            [
                InvoiceLineTax(
                    name=one.name,
                    jurisdiction=one.jurisdiction,
                    percent=one.percent,
                    base_cents=found.net_cents,
                    tax_cents=cents,
                )
                for one, cents in zip(how.rate.taxes, found.tax_by_name, strict=True)
            ]
        )
    return taxes
