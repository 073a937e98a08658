"""What the addresses of the API are about: the subjects by which they are described.

A subject names the first parts of its addresses; `tests/api/test_docs.py` names those of none.
"""

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _


@dataclass(frozen=True)
class Subject:
    """One subject; its slug is the tag of its operations, and the address of its page."""

    slug: str
    title: str | Promise
    beginnings: tuple[str, ...]


def _subject(slug: str, title: str | Promise, beginnings: str) -> Subject:
    return Subject(slug, title, tuple(beginnings.split()))


SUBJECTS = (
    _subject(
        "access",
        _("Keys, sessions and people"),
        "account me people people-added sessions sign-ins token tokens",
    ),
    _subject("today", _("The house today"), "find today"),
    _subject(
        "honey",
        _("Honey and lots"),
        "blend-plans blend-search comb-cuts comb-receipts dips dips-taken extractions honey "
        "honey-blends honey-flow honey-write-offs lots measurements postings purchases shortages "
        "transfers vessels-drained warmings warmings.pdf",
    ),
    _subject(
        "others-honey",
        _("Honey of others"),
        "honey-handed-back honey-of-others jars-handed-back others-honey others-honey-bought",
    ),
    _subject(
        "places",
        _("Tanks, drums and shelves"),
        "cleaning-tasks cleanings cleanings.pdf drum-fills drum-labels.pdf drum-weighings "
        "drums-added places places-added",
    ),
    _subject(
        "bottling",
        _("Bottling"),
        "bottling bottling-day-sheets bottling-days bottling-plan estimates-settled jars-to-do "
        "label-sheets label-sheets-added returned-jars runs",
    ),
    _subject(
        "products",
        _("Sizes and products"),
        "brands brands-added gift-boxes gift-boxes-made goods goods-in-stock goods-made "
        "goods-receipts goods-received honey-products jar-page products products-in-stock sizes "
        "sizes-added sizes-in-detail usual-sizes varieties varieties-added",
    ),
    _subject("parts", _("Packaging parts"), "parts parts-added parts-brought-in parts-received"),
    _subject(
        "stock",
        _("Stock and counts"),
        "count-sheets opening-jars stock stock-counts stock-for-sale stock-transfers "
        "stock-write-offs",
    ),
    _subject("recall", _("Holds and recalls"), "holds holds-released recall"),
    _subject(
        "prices",
        _("Prices and costs"),
        "bulk-prices bulk-prices-set channel-costs drum-or-jar filling-times late-costings "
        "price-changes price-trial prices private-labels season-costs season-expenses seasons "
        "selling-costs services services-added sold-without-cost usual-services weight-prices "
        "weight-prices-set when-to-stop",
    ),
    _subject(
        "customers",
        _("Customers"),
        "certificates certificates-by-expiry customers customers-added delivery-addresses",
    ),
    _subject(
        "orders",
        _("Quotes and orders"),
        "fulfilments orders orders-taken orders-to-do quotes quotes-made weight-sales",
    ),
    _subject(
        "regular-trade",
        _("Regular trade"),
        "consignment-deliveries consignment-shelves contracts delivery-rounds standing-orders",
    ),
    _subject(
        "drums-on-loan",
        _("Drums that are out"),
        "drum-holders drum-register.pdf drum-returns drums drums-lost drums-out kept-deposits "
        "returned-drums",
    ),
    _subject(
        "stand",
        _("The stand and markets"),
        "handed-in-sales honesty-boxes honesty-counts marked-sales market-days markets pickups "
        "receipts return-requests short-sales-seen stand-cash stand-catalogue stand-day-closes "
        "stand-days stand-sales takings takings.pdf",
    ),
    _subject(
        "invoices",
        _("Invoices and payments"),
        "adjustments deliveries-to-bill invoices invoices-printed money opening-credits "
        "opening-invoices owed-on payment-receipt-{id}.pdf payments statements-printed",
    ),
    _subject(
        "expenses",
        _("Suppliers, bills and expenses"),
        "expenses purchase-orders recurring-expenses supplier-balances supplier-bills "
        "supplier-payments suppliers",
    ),
    _subject(
        "books",
        _("The books of money"),
        "accounts books cash-book cash-counts deposit-slips first-numbers money-kept money-moves "
        "opening-amounts opening-balances to-deposit",
    ),
    _subject(
        "taxes",
        _("Taxes"),
        "exempt-sales tax-categories tax-documents tax-rates tax-return tax-return.pdf "
        "taxes-in-force",
    ),
    _subject(
        "e-mails",
        _("E-mails and reminders"),
        "email-papers email-texts emails reminder-pauses reminder-plan reminders",
    ),
    _subject("reports", _("Reports and plans"), "reports season-outlook season-plan"),
    _subject(
        "house",
        _("The house and its records"),
        "backups changes export exports files house import-kinds imports production-settings "
        "set-up system webhook-deliveries webhooks work",
    ),
)
ROOT = "/api/v1/"
BY_SLUG = {subject.slug: subject for subject in SUBJECTS}
BY_BEGINNING = {beginning: each for each in SUBJECTS for beginning in each.beginnings}


def of(path: str) -> Subject | None:
    """Return the subject of an address such as `/api/v1/lots/{code}/`."""
    return BY_BEGINNING.get(path.removeprefix(ROOT).partition("/")[0])
