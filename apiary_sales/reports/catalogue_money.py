"""The reports on money by month, money to come, and what remains after the costs of selling."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any
from urllib.parse import urlencode

from django.db.models import TextChoices
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from apiary_sales.billing.models import Adjustment
from apiary_sales.orders.models import Order
from apiary_sales.pricing.models import ChannelCost
from apiary_sales.reports import forms_money as forms
from apiary_sales.reports.columns import NOT_ENTERED, Address, Column, Row, Unit
from apiary_sales.reports.forms import ALL_DAYS
from apiary_sales.reports.frames import cash, sales, selling_cost, to_come
from apiary_sales.reports.frames.make import total
from apiary_sales.reports.report import FilteredReport, Picture, Report
from inventory.shared import words
from inventory.shared.days import month_end, years_before
from inventory.shared.weights import by_unit

# So many that were written off are named; the others are in the table.
WRITTEN_OFF_NAMED = 5

MONEY, SALES = gettext_lazy("Money"), gettext_lazy("Sales")


class ComingKind(TextChoices):
    """What money that is to come is from or for."""

    INVOICE = to_come.INVOICE, gettext_lazy("invoice")
    BILL = to_come.BILL, gettext_lazy("bill of a supplier")
    ORDER = to_come.ORDER, gettext_lazy("order, not invoiced")
    STANDING = to_come.STANDING, gettext_lazy("standing order")
    AGAIN = to_come.AGAIN, gettext_lazy("expense that comes again")


def _fixed(*columns: Column) -> Any:
    return lambda _frame, _asked: list(columns)


def _cents(name: str, label: Any, **options: Any) -> Column:
    return Column(name, label, Unit.CENTS, adds_up=True, **options)


def _with(address: str, asked: Mapping[str, str]) -> str:
    wanted = {name: value for name, value in asked.items() if value or name in ALL_DAYS}
    return f"{address}?{urlencode(wanted)}" if wanted else address


# Money by month.

WHAT_MONEY_IS = gettext_lazy(
    "Money is cash, checks, card payments and the bank, as the books have them, on the day on "
    "which an entry counts. The figures add up to these accounts in the trial balance."
)
WHAT_IS_RECEIVED = gettext_lazy(
    "Received is what customers and buyers at the stand paid, sales tax and deposits on drums "
    "included, with what they gave on top for the house. Money given back, and checks that "
    "bounced or payments that were undone, are taken off in the month in which that counts. Tips "
    "for the people at the stand are not counted: they are theirs."
)
WHAT_IS_PAID = gettext_lazy(
    "Paid out is expenses with the tax in them, bills of suppliers that were paid, sales tax paid "
    "to the tax office, and fees of the bank. What the owner paid with their own money moved no "
    "money of the house, and is not counted."
)
WHAT_IS_MOVED = gettext_lazy(
    "Cash brought to the bank, card payments paid out to the bank, and cash moved between a "
    "drawer and the cash box are neither received nor paid out. “Other” is tips taken and handed "
    "over, the owner's money put in and taken out, cash that a count found over or short, and "
    "what there was when the books began."
)
WHAT_A_YEAR_BEFORE_IS = gettext_lazy(
    "A year before is the same month of the last year, whole. Of a month before the books began, "
    "or in which they began, it is not known, and not zero. Past sales that were brought in from "
    "a list are figures only: no money of them is here."
)
WHAT_IS_DUE = gettext_lazy(
    "Due to you is what is left to pay on invoices, on the day on which it is due; what is "
    "overdue has a line of its own. Money of a customer that no invoice has used yet is taken "
    "off what that customer has to pay first. Bills to pay are those entered, on the day on "
    "which they are due. "
    "Discounts for early payment are not taken off."
)
WHAT_IS_EXPECTED = gettext_lazy(
    "Expected are orders and standing orders that are not invoiced, before sales tax, so many "
    "days after they are wanted as the customer has to pay; and expenses that come again. "
    "Standing orders and such expenses are looked at until three months after this one, at "
    "today's prices. Sales at the stand to come are not guessed."
)

WHERE_MORE_IS = gettext_lazy(
    "“Money to come, by month” has the months ahead, and “Money by month, what it was” what the "
    "money of each month was from and for."
)

WHAT_HAS_NO_DAY = gettext_lazy(
    "An order without a day on which it is wanted has no day here, and is in no month."
)

RECEIVED = _cents("received_cents", gettext_lazy("Received"))
PAID = _cents("paid_cents", gettext_lazy("Paid out"))
NET = _cents("net_cents", gettext_lazy("Received less paid out"))
THERE = Column("there_cents", gettext_lazy("There at the end"), Unit.CENTS)
DUE = _cents(to_come.DUE, gettext_lazy("Due to you"), is_left_out_when_nothing=True)
BILLS = _cents(to_come.BILLS, gettext_lazy("Bills to pay"), is_left_out_when_nothing=True)
EXPECTED_IN = _cents(
    to_come.EXPECTED_IN, gettext_lazy("Expected to come in"), is_left_out_when_nothing=True
)
EXPECTED_OUT = _cents(
    to_come.EXPECTED_OUT, gettext_lazy("Expected to be spent"), is_left_out_when_nothing=True
)
MONTH = Column("month", gettext_lazy("Month"), Unit.MONTH)
RECEIVED_BEFORE = _cents(
    "received_before_cents", gettext_lazy("Received a year before"), needs_every_row=True
)
PAID_BEFORE = _cents(
    "paid_before_cents", gettext_lazy("Paid out a year before"), needs_every_row=True
)


def _days_of_month(month: str) -> dict[str, str]:
    first = date.fromisoformat(f"{month}-01")
    return {"since": first.isoformat(), "until": month_end(first).isoformat()}


def _month_url(row: Row, _address: Address) -> str:
    """Return the cash book of a month."""
    return _with(reverse("billing:cash_book"), _days_of_month(row["month"]))


def _coming_url(row: Row, _address: Address) -> str:
    """Return the list of what is to come in a month; of what has none, all that is to come."""
    yesterday = timezone.localdate() - timedelta(days=1)
    special = {cash.OVERDUE: {"until": yesterday.isoformat()}, cash.NO_DAY: {}}
    days = special[row["month"]] if row["month"] in special else _days_of_month(row["month"])
    return _with(reverse("reports:report", args=["money-to-come"]), days)


def _cash_answer(made: FilteredReport) -> list[str]:
    return [*_answer_of_month(made.frame.attrs["answer"]), *_answer_to_come(made)]


def _answer_of_month(answer: cash.MoneyAnswer) -> list[str]:
    month = date_format(answer.today, "F")
    before = years_before(answer.today.replace(day=1), 1)
    said = {
        "month": month,
        "received": words.money(answer.received_cents),
        "paid": words.money(answer.paid_cents),
        "there": words.money(answer.there_cents),
        "year_before": date_format(before, "YEAR_MONTH_FORMAT"),
    }
    if answer.received_before_cents is None:
        received = _(
            "Received %(received)s in %(month)s so far. What all of %(year_before)s brought is not "
            "known: the books do not have that whole month."
        )
    else:
        said["before"] = words.money(answer.received_before_cents)
        received = _(
            "Received %(received)s in %(month)s so far (%(before)s in all of %(year_before)s)."
        )
    paid = _("Paid out %(paid)s in %(month)s so far. By the books there is %(there)s now.")
    return [received % said, paid % said]


def _moved_answer(made: FilteredReport) -> list[str]:
    """Say what customers paid in all the months shown, and what was paid out for what."""
    parts = ("spent_cents", "bills_paid_cents", "tax_paid_cents", "paid_otherwise_cents")
    spent, bills, *rest = (made.total[part] or 0 for part in parts)
    back = -(made.total["given_back_cents"] or 0)
    said = {
        "given": words.money(made.total["given_cents"] or 0),
        "back": words.money(back),
        "paid": words.money(spent + bills + sum(rest)),
        "spent": words.money(spent),
        "bills": words.money(bills),
        "rest": words.money(sum(rest)),
    }
    came = _("From customers came %(given)s; of that, %(back)s was given back or bounced.")
    paid = _("Paid out %(paid)s: expenses %(spent)s, bills %(bills)s, tax and other %(rest)s.")
    return [(came if back else _("From customers came %(given)s.")) % said, paid % said]


def _answer_to_come(made: FilteredReport) -> list[str]:
    answer: cash.MoneyAnswer = made.frame.attrs["answer"]
    said = {
        "until": date_format(answer.until, "F"),
        "due": words.money(answer.due_cents),
        "overdue": words.money(answer.overdue_cents),
        "bills": words.money(answer.bills_cents),
        "bills_overdue": words.money(answer.bills_overdue_cents),
        "expected": words.money(answer.expected_cents),
        "no_day": words.money(answer.no_day_cents),
    }
    sentences = [
        _("Due by the end of %(until)s: %(due)s; overdue: %(overdue)s."),
        _("Bills to pay by then: %(bills)s, of which %(bills_overdue)s is overdue.")
        if answer.bills_overdue_cents
        else _("Bills to pay by then: %(bills)s; none is overdue."),
    ]
    if answer.expected_cents:
        sentences.append(
            _("Expected by then from orders that are not invoiced, before tax: %(expected)s.")
        )
    if answer.no_day_cents:
        sentences.append(_("Orders of %(no_day)s more have no day on which they are wanted."))
    return [sentence % said for sentence in sentences]


def _warns_coming(made: FilteredReport) -> list[str]:
    answer: cash.MoneyAnswer = made.frame.attrs["answer"]
    return list(answer.not_known)


def _warns_cash(made: FilteredReport) -> list[str]:
    answer: cash.MoneyAnswer = made.frame.attrs["answer"]
    warnings = _warns_coming(made)
    if answer.began_on is not None and not answer.has_opening:
        warnings.append(
            _(
                "No opening amount of cash or the bank is entered: what there was before the books "
                "began is not in what there is at the end of a month."
            )
        )
    if answer.began_on is not None and answer.began_on.day > 1:
        warnings.append(
            _("The books begin on %(day)s: that month is not whole, and is compared with no other.")
            % {"day": date_format(answer.began_on)}
        )
    return warnings


def _is_so_far(row: Row, name: str, _asked: Any) -> bool:
    """Tell whether a figure is of the month of today; what came a year before is whole."""
    this_month = f"{timezone.localdate():%Y-%m}"
    return row["month"] == this_month and name in ("received_cents", "paid_cents")


CASH_BY_MONTH = Report(
    slug="money-by-month",
    title=gettext_lazy("Money by month"),
    sentence=gettext_lazy(
        "What was received and paid out each month, against the same month a year before."
    ),
    subject=MONEY,
    definition=(
        WHAT_MONEY_IS,
        WHAT_IS_RECEIVED,
        WHAT_IS_PAID,
        WHAT_IS_MOVED,
        WHAT_A_YEAR_BEFORE_IS,
        WHAT_IS_DUE,
        WHERE_MORE_IS,
    ),
    form=forms.CashForm,
    frame=cash.by_month,
    columns=_fixed(
        MONTH,
        RECEIVED,
        RECEIVED_BEFORE,
        PAID,
        PAID_BEFORE,
        NET,
        _cents("other_cents", gettext_lazy("Other"), is_left_out_when_nothing=True),
        THERE,
    ),
    picture=Picture("years", RECEIVED.label, (RECEIVED.name, RECEIVED_BEFORE.name)),
    more_pictures=(Picture("years", PAID.label, (PAID.name, PAID_BEFORE.name)),),
    opens=_month_url,
    nothing=gettext_lazy("Nothing was received or paid out."),
    warns=_warns_cash,
    answers=_cash_answer,
    is_unfinished=_is_so_far,
    is_newest_first=True,
)
CASH_IN_AND_OUT = Report(
    slug="money-in-and-out",
    title=gettext_lazy("Money by month, what it was"),
    sentence=gettext_lazy("What the money received and paid out each month was from and for."),
    subject=MONEY,
    definition=(
        WHAT_MONEY_IS,
        WHAT_IS_RECEIVED,
        WHAT_IS_PAID,
        WHAT_IS_MOVED,
        gettext_lazy(
            "From customers, less what was given back or bounced, is what was received. Expenses, "
            "bills, tax and other payments are what was paid out. With tips, the owner's money, "
            "cash over or short and what there was when the books began, they are what there is "
            "at the end."
        ),
    ),
    form=forms.CashForm,
    frame=cash.moved_by_month,
    columns=_fixed(
        MONTH,
        _cents("given_cents", gettext_lazy("From customers")),
        _cents("given_back_cents", gettext_lazy("Given back or bounced")),
        _cents("spent_cents", gettext_lazy("Expenses")),
        _cents("bills_paid_cents", gettext_lazy("Bills paid")),
        _cents(
            "tax_paid_cents",
            gettext_lazy("Sales tax paid to the office"),
            is_left_out_when_nothing=True,
        ),
        _cents(
            "paid_otherwise_cents", gettext_lazy("Paid otherwise"), is_left_out_when_nothing=True
        ),
        _cents("tips_cents", gettext_lazy("Tips held for people"), is_left_out_when_nothing=True),
        _cents("owner_cents", gettext_lazy("Owner's money put in"), is_left_out_when_nothing=True),
        _cents("over_cents", gettext_lazy("Cash over or short"), is_left_out_when_nothing=True),
        _cents(
            "opening_cents",
            gettext_lazy("There when the books began"),
            is_left_out_when_nothing=True,
        ),
        THERE,
        _cents(
            "by_owner_cents",
            gettext_lazy("Paid with the owner's own money, not counted"),
            is_left_out_when_nothing=True,
        ),
    ),
    picture=None,
    opens=_month_url,
    nothing=gettext_lazy("Nothing was received or paid out."),
    answers=_moved_answer,
)

# What is to come.


def _coming_answer(made: FilteredReport) -> list[str]:
    frame = made.frame
    overdue = frame[frame["state"] == "overdue"]
    sums = {
        "due": words.money(total(frame, to_come.DUE) or 0),
        "overdue": words.money(total(overdue, to_come.DUE) or 0),
        "bills": words.money(total(frame, to_come.BILLS) or 0),
        "bills_overdue": words.money(total(overdue, to_come.BILLS) or 0),
    }
    return [
        _("Left to pay on invoices: %(due)s, of which %(overdue)s is overdue.") % sums,
        _("Bills to pay: %(bills)s, of which %(bills_overdue)s is overdue.") % sums
        if total(overdue, to_come.BILLS)
        else _("Bills to pay: %(bills)s; none is overdue.") % sums,
    ]


COMING_BY_MONTH = Report(
    slug="money-to-come-by-month",
    title=gettext_lazy("Money to come, by month"),
    sentence=gettext_lazy(
        "What is due and expected in each month to come, with what is overdue on a line of its own."
    ),
    subject=MONEY,
    definition=(
        WHAT_IS_DUE,
        WHAT_IS_EXPECTED,
        WHAT_HAS_NO_DAY,
        gettext_lazy(
            "A year before is what was received and paid out in all of the same month of the year "
            "before, sales at the stand included. What the books do not have whole is not known."
        ),
    ),
    form=forms.CashForm,
    frame=cash.coming_by_month,
    columns=_fixed(
        Column("label", gettext_lazy("Month"), is_kept_together=True),
        DUE,
        BILLS,
        EXPECTED_IN,
        EXPECTED_OUT,
        RECEIVED_BEFORE,
        PAID_BEFORE,
    ),
    picture=Picture(
        "bars",
        gettext_lazy("Due and to pay by month"),
        ("due_cents", "bills_cents", "expected_in_cents", "expected_out_cents"),
    ),
    opens=_coming_url,
    nothing=gettext_lazy("Nothing is due or expected."),
    warns=_warns_coming,
    answers=_answer_to_come,
)
MONEY_TO_COME = Report(
    slug="money-to-come",
    title=gettext_lazy("Money to come"),
    sentence=gettext_lazy("Everything that is due or expected, each with its day."),
    subject=MONEY,
    definition=(
        WHAT_IS_DUE,
        WHAT_IS_EXPECTED,
        WHAT_HAS_NO_DAY,
        gettext_lazy(
            "“Usually late” is the median of the last ten invoices of this customer that are paid, "
            "in days after the day they were due; below zero is early. With fewer than three it is "
            "not known. “As usual” is the day on which it would come if it is paid like those. No "
            "other figure uses it."
        ),
    ),
    form=forms.ComingForm,
    frame=to_come.lines,
    columns=_fixed(
        Column("document", gettext_lazy("What"), is_kept_together=True),
        Column("kind", gettext_lazy("Kind"), names=dict(ComingKind.choices)),
        Column("who", gettext_lazy("Who")),
        Column("day", gettext_lazy("Day"), Unit.DAY, says_unknown=gettext_lazy("not known")),
        Column("state", gettext_lazy("State"), names={"overdue": gettext_lazy("overdue")}),
        DUE,
        BILLS,
        EXPECTED_IN,
        EXPECTED_OUT,
        Column("usual_days", gettext_lazy("Usually late"), Unit.DAYS),
        Column("usual_on", gettext_lazy("As usual"), Unit.DAY),
    ),
    picture=None,
    opens=lambda row, _address: row["url"],
    nothing=gettext_lazy("Nothing is due or expected on these days."),
    warns=lambda made: list(made.frame.attrs["not_known"]),
    answers=_coming_answer,
    instead_of_main=(to_come.BILLS, to_come.EXPECTED_IN, to_come.EXPECTED_OUT),
)

# What remains after selling.

WHAT_REMAINS_IS = gettext_lazy(
    "What remains is sales before tax, less those without a cost, the cost of the goods, card "
    "fees, the cost of selling, discounts for early payment, what was written off and the costs of "
    "market days. In percent it is of the sales whose cost is known; by weight, of their honey "
    "with all else sold beside it. Tips are not sales."
)
WHAT_IS_SOLD = gettext_lazy(
    "Everything handed over on these days is counted, other goods, services, drums and freight "
    "too. Services, drums and freight have no cost here, and past sales that were brought in have "
    "none, so they are under “Sales without a cost”, and in no figure of what remains."
)
WHAT_IS_TYPED = gettext_lazy(
    "Typed rates: card fees in percent of all sales, and the cost of each piece and by weight, as "
    "they are under Costs of selling today. They are taken of the sales whose cost is known, line "
    "by line, each rounded to a cent; pieces of other goods bear the cost of a piece, and honey "
    "alone bears the one by weight. Delivery is in these rates. The usual discount of a channel is "
    "not used: real discounts are off the sales already."
)
WHAT_IS_RECORDED = gettext_lazy(
    "Recorded: discounts for early payment and what was written off, without their tax, on the day "
    "on which they count; and the expenses of market days, on the day of the market. These belong "
    "to buyers at the stand, and not to a customer."
)
WHAT_IS_NOT_THERE = gettext_lazy(
    "Hours of work at the stand and on the road, other advertising and freight, and rent are not "
    "in it. Customers are in the price group of today: it tells distributors from shops."
)
SELLING_DEFINITION = (
    WHAT_REMAINS_IS,
    WHAT_IS_SOLD,
    WHAT_IS_TYPED,
    WHAT_IS_RECORDED,
    WHAT_IS_NOT_THERE,
)
WAYS = {
    **dict(ChannelCost.Channel.choices),
    Order.Channel.SERVICE: Order.Channel.SERVICE.label,
    Order.Channel.CONSIGNMENT: Order.Channel.CONSIGNMENT.label,
    selling_cost.FROM_BEFORE: gettext_lazy("from the books before"),
}
REMAINS = _cents("remains_cents", gettext_lazy("What remains"), says_unknown=NOT_ENTERED)
SELLING_COLUMNS = (
    _cents("amount_cents", gettext_lazy("Sales")),
    _cents(
        "discount_cents",
        gettext_lazy("Discounts, off the sales already"),
        is_left_out_when_nothing=True,
    ),
    _cents("no_cost_cents", gettext_lazy("Sales without a cost"), is_left_out_when_nothing=True),
    _cents("cost_cents", gettext_lazy("Cost of the goods"), says_unknown=NOT_ENTERED),
    _cents("card_cents", gettext_lazy("Card fees (typed)"), is_left_out_when_nothing=True),
    _cents("handling_cents", gettext_lazy("Selling (typed)"), is_left_out_when_nothing=True),
    _cents("early_cents", gettext_lazy("Early payment (recorded)"), is_left_out_when_nothing=True),
    _cents("market_cents", gettext_lazy("Market days (recorded)"), is_left_out_when_nothing=True),
    _cents(
        "written_off_cents", gettext_lazy("Written off (recorded)"), is_left_out_when_nothing=True
    ),
    REMAINS,
    Column(
        "remains_percent",
        gettext_lazy("Remains, percent of sales"),
        Unit.PERCENT,
        part="remains_cents",
        whole="known_cents",
    ),
    Column(
        "remains_per_pound",
        by_unit(gettext_lazy("Remains per {unit}")),
        Unit.PER_POUND,
        part="remains_cents",
        whole="known_nanograms",
        scale=sales.NANO,
    ),
)


def _selling_answer(made: FilteredReport) -> list[str]:
    frame = made.frame
    remains = total(frame, "remains_cents")
    if remains is None:
        return []
    known = total(frame, "known_cents") or 0
    percent = selling_cost.percent(remains, known)
    said = {
        "sold": words.money(total(frame, "amount_cents") or 0),
        "known": words.money(known),
        "remains": words.money(remains),
        "percent": words.number(percent) if percent is not None else "",
    }
    sentences = [
        _(
            "Of %(known)s sold whose cost is known, %(remains)s remains after the goods and the "
            "selling: %(percent)s %%."
        )
        if percent is not None
        else _("%(remains)s remains after the goods and the selling.")
    ]
    if below := int((frame["remains_cents"] < 0).sum()):
        said["below"] = words.number(below)
        sentences.append(
            ngettext(
                "%(below)s row is below zero: it cost more than it brought.",
                "%(below)s rows are below zero: they cost more than they brought.",
                below,
            )
        )
    return [sentence % said for sentence in sentences]


def _warns_selling(made: FilteredReport) -> list[str]:
    frame = made.frame
    beside: selling_cost.Beside = frame.attrs["beside"]
    warnings = []
    if left_out := total(frame, "left_out_cents"):
        warnings.append(
            _(
                "%(amount)s of recorded costs belongs to rows without any known cost of goods, and "
                "is in no figure of what remains."
            )
            % {"amount": words.money(left_out)}
        )
    if beside.written_off:
        warnings.append(_written_off(beside))
    typed = total(frame, "card_cents") or 0
    if beside.card_fees_cents:
        warnings.append(
            _(
                "Card fees come to %(typed)s by the typed rates; on these days the books have "
                "%(booked)s of them, of all sales together."
            )
            % {"typed": words.money(typed), "booked": words.money(beside.card_fees_cents)}
        )
    for cents, not_shared in (
        (
            beside.selling_cents,
            _(
                "%(amount)s of advertising and stand fees, entered as expenses of no market day, "
                "is shared out to nobody."
            ),
        ),
        (
            beside.freight_cents,
            _("%(amount)s of freight, entered as expenses, is shared out to nobody."),
        ),
    ):
        if cents:
            warnings.append(not_shared % {"amount": words.money(cents)})
    return warnings


def _written_off(beside: selling_cost.Beside) -> str:
    """Name what was written off and of whom, the largest first."""
    named = [
        _("%(customer)s %(amount)s (%(kind)s)")
        % {
            "customer": each.customer or _("Buyers at the stand"),
            "amount": words.money(each.cents),
            "kind": Adjustment.Kind(each.kind).label,
        }
        for each in beside.written_off[:WRITTEN_OFF_NAMED]
    ]
    if further := len(beside.written_off) - len(named):
        named.append(_("%(count)s more") % {"count": words.number(further)})
    return _("Written off on these days: %(named)s.") % {"named": ", ".join(named)}


def _sold_lines(address: Address, **more: str) -> str:
    return _with(reverse("reports:report", args=["sale-lines"]), {**address, **more})


def _way_lines(row: Row, address: Address) -> str | None:
    if not row["only_channel"] or not row["lines"]:
        return None
    return _sold_lines(address, channel=row["only_channel"])


SELLING_BY_CUSTOMER = Report(
    slug="margin-after-selling-by-customer",
    title=gettext_lazy("Margin after selling, by customer"),
    sentence=gettext_lazy(
        "What remains of each customer's sales when the goods and the costs of selling are paid."
    ),
    subject=SALES,
    definition=SELLING_DEFINITION,
    form=forms.SellingForm,
    frame=selling_cost.by_customer,
    columns=_fixed(Column("customer", gettext_lazy("Customer")), *SELLING_COLUMNS),
    picture=Picture("bars", gettext_lazy("What remains, by customer"), ("remains_cents",)),
    opens=lambda row, address: (
        _sold_lines(address, customer=row["customer_key"]) if row["lines"] else None
    ),
    nothing=gettext_lazy("There were no sales on these days with these filters."),
    warns=_warns_selling,
    answers=_selling_answer,
)
SELLING_BY_CHANNEL = Report(
    slug="margin-after-selling-by-channel",
    title=gettext_lazy("Margin after selling, by channel"),
    sentence=gettext_lazy(
        "What remains of each way of selling when the goods and the costs of selling are paid."
    ),
    subject=SALES,
    definition=SELLING_DEFINITION,
    form=forms.SellingForm,
    frame=selling_cost.by_channel,
    columns=_fixed(Column("way", gettext_lazy("Way of selling"), names=WAYS), *SELLING_COLUMNS),
    picture=Picture("bars", gettext_lazy("What remains, by way of selling"), ("remains_cents",)),
    opens=_way_lines,
    nothing=gettext_lazy("There were no sales on these days with these filters."),
    warns=_warns_selling,
    answers=_selling_answer,
)

REPORTS = (
    CASH_BY_MONTH,
    CASH_IN_AND_OUT,
    COMING_BY_MONTH,
    MONEY_TO_COME,
    SELLING_BY_CUSTOMER,
    SELLING_BY_CHANNEL,
)
