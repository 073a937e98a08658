"""The business terms of EN 16931 for an invoice or credit note, by their numbers: BT-1, BG-25.

Nothing here reads or writes the database: the bill is handed in, loaded. The terms are those of
EN 16931-1:2017; `factur-x` writes them as UBL or CII. Where the norm leaves a choice:

- A tax that is no value added tax, such as sales tax, is written as one: the norm has no other. The
  taxes of a state and a county on one line are one rate.
- What is outside the scope of tax may not be beside other lines (BR-O-11 to BR-O-14). On such a
  bill it is written as exempt, and the reason says that it is outside the scope.
- Where prices include their tax, or a line does not multiply out before tax, its price is the net
  amount for the whole quantity: the price base quantity (BT-149) is the quantity.
- What was paid (BT-113) is what payments were put to the bill up to now. Credit notes are documents
  of their own, so they lower no amount due; nor does what was taken off without payment.
- Amounts of a credit note are positive: its kind, 381, says that they are taken back.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.billing.models import Invoice, InvoiceLine, plain
from apiary_sales.customers.rules import is_vat_number, plain_number
from inventory.shared import bank_accounts
from inventory.shared.money import amount, cents_half_up, price_places

Category = InvoiceLine.TaxCategory
Terms = dict[str, Any]

# UNTDID 1001, BT-3.
INVOICE, CREDIT_NOTE, CORRECTED = "380", "381", "384"
# UNTDID 4461, BT-81.
NOT_DEFINED, CREDIT_TRANSFER, SEPA_TRANSFER = "1", "30", "58"
# UNTDID 5189, BG-27.
DISCOUNT = "95"
# Of the VATEX list, BT-121.
NOT_SUBJECT_TO_TAX = "VATEX-EU-O"
# The scheme of an electronic address that is an e-mail address, BT-34.
E_MAIL = "EM"
# UN/ECE Recommendation 20, and 21 for the drum (X before its code); BT-130.
UNITS: Mapping[str, str] = {
    InvoiceLine.Unit.PIECE: "H87",
    InvoiceLine.Unit.POUND: "LBR",
    InvoiceLine.Unit.EACH: "C62",
    InvoiceLine.Unit.HOUR: "HUR",
    InvoiceLine.Unit.DAY: "DAY",
    InvoiceLine.Unit.MONTH: "MON",
    InvoiceLine.Unit.HIVE: "C62",
    InvoiceLine.Unit.DRUM: "XDR",
    InvoiceLine.Unit.SERVED_POUND: "LBR",
    InvoiceLine.Unit.KILOGRAM: "KGM",
    InvoiceLine.Unit.SERVED_KILOGRAM: "KGM",
}


@dataclass(frozen=True)
class Bill:
    """An invoice or credit note with its lines, what is known of both parties, and what was paid.

    Seller and buyer are as `Invoice.seller` and `Invoice.buyer`.
    """

    invoice: Invoice
    lines: Sequence[InvoiceLine]
    seller: Mapping[str, str]
    buyer: Mapping[str, str]
    paid_cents: int = 0

    @property
    def sign(self) -> int:
        return -1 if self.invoice.is_credit_note else 1

    @property
    def is_outside_tax(self) -> bool:
        """Whether nothing of it is within the scope of tax."""
        return all(line.tax_category == Category.OUTSIDE for line in self.lines)


def terms_of(bill: Bill) -> Terms:
    """Return the business terms of a bill, its texts in the language in force."""
    invoice = bill.invoice
    before = invoice.credits or invoice.corrects
    notes = [text for text in (invoice.note, invoice.exemption) if text]
    return {
        "BT-1": _text(str(invoice)),
        "BT-2": invoice.issued_on,
        "BT-3": _kind(invoice),
        "BT-5": invoice.currency,
        **_days(bill),
        **_if_any("BT-10", bill.buyer.get("buyer_reference")),
        **_if_any("BT-13", bill.buyer.get("reference")),
        **_if_any("BT-14", bill.buyer.get("order_number")),
        "BG-1": [{"BT-22": _text(note)} for note in notes],
        "BG-3": [{"BT-25": _text(str(before)), "BT-26": before.issued_on}] if before else [],
        "BG-4": _seller(bill),
        "BG-7": _buyer(bill),
        **_payment(bill),
        **_totals(bill),
        "BG-23": _tax_breakdown(bill),
        "BG-25": [_line(bill, number, line) for number, line in enumerate(bill.lines, 1)],
    }


def _kind(invoice: Invoice) -> str:
    if invoice.is_credit_note:
        return CREDIT_NOTE
    return CORRECTED if invoice.corrects_id else INVOICE


def _days(bill: Bill) -> Terms:
    """Return the days of tax, hand-over and payment, and the terms of it (BT-7, 72, 9, 20).

    The hand-over of a credit note is that of the goods it credits.
    """
    invoice = bill.invoice
    if invoice.credits:
        terms = _("It stays on your account, unless we gave it back to you.")
        return {"BT-72": invoice.credits.supplied_on, "BT-20": terms}
    return {
        **({"BT-7": invoice.supplied_on} if invoice.supplied_on != invoice.issued_on else {}),
        "BT-72": invoice.supplied_on,
        "BT-9": invoice.due_on,
        "BT-20": _terms_of_payment(invoice),
    }


def _terms_of_payment(invoice: Invoice) -> str:
    days = invoice.terms_days
    net = ngettext("%(days)s day net", "%(days)s days net", days) % {"days": days}
    terms = [net if days else _("due at once")]
    if invoice.discount_until:
        early = {
            "percent": invoice.discount_rate,
            "day": date_format(invoice.discount_until, "DATE_FORMAT"),
        }
        terms.append(_("%(percent)s %% if paid by %(day)s") % early)
    return "; ".join(terms)


def _seller(bill: Bill) -> Terms:
    seller = bill.seller
    number = seller["tax_number"]
    contact = {
        "name": _text(seller["name"]),
        **_if_any("phone", seller.get("phone")),
        **_if_any("email", seller.get("email")),
    }
    found = {**_party(bill, seller), "contacts": [contact] if len(contact) > 1 else []}
    if not is_vat_number(number) or bill.is_outside_tax:
        # BR-CO-26 wants one more number than that of a local tax (BT-32).
        found["identifiers"] = {None: _text(number)}
    if not is_vat_number(number):
        found["tax_identifier"] = _text(number)
    return found


def _buyer(bill: Bill) -> Terms:
    buyer = bill.buyer
    number = buyer.get("tax_number", "")
    found = {
        **_party(bill, buyer),
        "contacts": [{"name": _text(buyer["contact"])}] if buyer.get("contact") else [],
    }
    if number and (not is_vat_number(number) or bill.is_outside_tax):
        found["identifiers"] = {None: _text(number)}
    return found


def _party(bill: Bill, party: Mapping[str, str]) -> Terms:
    number, email = party.get("tax_number", ""), party.get("email", "")
    # BR-O-02: who sells outside the scope of tax names no number for it.
    has_vat = is_vat_number(number) and not bill.is_outside_tax
    return {
        "name": _text(party["name"]),
        "country_code": party["country_code"],
        **_if_any("addr_l1", party.get("street")),
        **_if_any("city", party.get("city")),
        **_if_any("postcode", party.get("postal_code")),
        **_if_any("country_subdivision", party.get("region")),
        **({"vat_identifier": plain_number(number)} if has_vat else {}),
        **({"einvoicing_addr": email, "einvoicing_addr_schemeid": E_MAIL} if email else {}),
    }


def _payment(bill: Bill) -> Terms:
    """Return how it is to be paid (BG-16); a credit note is not."""
    if bill.invoice.is_credit_note:
        return {}
    account = bank_accounts.plain(bill.seller.get("bank_account", ""))
    way = {**_if_any("BT-82", bill.seller.get("payment_note")), "BT-83": _text(str(bill.invoice))}
    if not account:
        return {"BT-81": NOT_DEFINED, **way}
    is_sepa = bank_accounts.is_iban(account) and bill.invoice.currency == "EUR"
    return {
        "BT-81": SEPA_TRANSFER if is_sepa else CREDIT_TRANSFER,
        **way,
        "BT-84": account,
        "BT-85": _text(bill.seller["name"]),
        **_if_any("BT-86", bill.seller.get("bank_code")),
    }


def _totals(bill: Bill) -> Terms:
    """Return the totals (BG-22): due = net + tax − paid + rounding (BR-CO-16)."""
    invoice, sign = bill.invoice, bill.sign
    net, tax = sign * invoice.net_cents, sign * invoice.tax_cents
    rounding = sign * invoice.rounding_cents
    return {
        "BT-106": _money(sum(sign * line.amount_cents for line in bill.lines)),
        "BT-109": _money(net),
        "BT-110": _money(tax),
        "BT-112": _money(net + tax),
        **({"BT-113": _money(bill.paid_cents)} if bill.paid_cents else {}),
        **({"BT-114": _money(rounding)} if rounding else {}),
        "BT-115": _money(net + tax - bill.paid_cents + rounding),
    }


def _category(bill: Bill, line: InvoiceLine) -> str:
    if line.tax_category == Category.OUTSIDE and not bill.is_outside_tax:
        return Category.EXEMPT.value
    # A rate of zero is no standard rate (BR-S-05).
    if line.tax_category == Category.TAXABLE and not line.tax_percent:
        return Category.ZERO_RATED.value
    return line.tax_category


def _tax_breakdown(bill: Bill) -> list[Terms]:
    """Return what each category and rate of tax is on (BG-23), the highest rate first."""
    groups: dict[tuple[Decimal, str], list[InvoiceLine]] = {}
    for line in bill.lines:
        groups.setdefault((plain(line.tax_percent), _category(bill, line)), []).append(line)
    return [
        {
            "BT-116": _money(bill.sign * sum(line.amount_cents for line in lines)),
            "BT-117": _money(bill.sign * sum(line.tax_cents for line in lines)),
            "BT-118": category,
            **_rate("BT-119", category, percent),
            **_exemption(category, lines),
            # `factur-x` writes the day of tax of the whole bill where it is with each rate.
            **({"BT-7": day} if (day := _days(bill).get("BT-7")) else {}),
        }
        for (percent, category), lines in sorted(groups.items(), reverse=True)
    ]


def _exemption(category: str, lines: Iterable[InvoiceLine]) -> Terms:
    """Return why no tax is on some lines (BT-120 and 121); zero-rated goods need no reason."""
    if category not in (Category.EXEMPT, Category.OUTSIDE):
        return {}
    reasons = dict.fromkeys(_reason(line) for line in lines)
    found = {"BT-120": "; ".join(reasons)}
    return found | ({"BT-121": NOT_SUBJECT_TO_TAX} if category == Category.OUTSIDE else {})


def _reason(line: InvoiceLine) -> str:
    said = _text(line.exemption_reason)
    if line.tax_category != Category.OUTSIDE:
        return said or _("exempt from tax")
    outside = str(Category.OUTSIDE.label)
    return f"{outside}: {said}" if said else outside


def _rate(term: str, category: str, percent: Decimal) -> Terms:
    """Return a rate of tax; what is outside the scope has none (BR-O-05)."""
    return {} if category == Category.OUTSIDE else {term: f"{percent:f}"}


def _line(bill: Bill, number: int, line: InvoiceLine) -> Terms:
    """Return one line (BG-25): quantity × price ÷ base quantity − allowance = net amount."""
    net, discount = bill.sign * line.amount_cents, bill.sign * line.discount_cents
    quantity = bill.sign * line.quantity
    category = _category(bill, line)
    terms: Terms = {
        "BT-126": str(number),
        "BT-129": _number(quantity),
        "BT-130": UNITS[line.unit],
        "BT-131": _money(net),
        "BT-151": category,
        **_rate("BT-152", category, plain(line.tax_percent)),
        "BT-153": _text(line.description),
    }
    if line.lot_code:
        terms["BG-32"] = [{"BT-160": _("Lot"), "BT-161": _text(line.lot_code)}]
    if cents_half_up(quantity * line.unit_price) - discount != net:
        return {**terms, "BT-146": _money(net), "BT-149": _number(quantity)}
    terms["BT-146"] = f"{line.unit_price:.{price_places(line.unit_price)}f}"
    if discount:
        reason = {"reason": _("Discount"), "reason_code": DISCOUNT}
        terms["BG-27"] = [{"amount": _money(discount), **reason}]
    return terms


def _if_any(term: str, text: str | None) -> Terms:
    """Return a term with its text, or nothing where there is no text."""
    cleaned = _text(text or "")
    return {term: cleaned} if cleaned else {}


def _text(text: str) -> str:
    """Return a text on one line, without control characters, which XML can't have."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _money(cents: int) -> str:
    return str(amount(cents))


def _number(number: Decimal) -> str:
    return f"{plain(number):f}"
