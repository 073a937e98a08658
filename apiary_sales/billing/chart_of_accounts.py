"""The accounts of the journal: those of money, those of stock, and what each is called.

The numbers are common practice for a small business: 1 what there is, 2 what is owed, 3 the
owner's, 4 what comes in, 5 what was sold cost, 6 what else is spent. The owner may change numbers
and names; an account that entries use and nobody has named is here by itself.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from apiary_sales.billing.models import EntryLine, ExpenseCategory, LedgerAccount

Kind = LedgerAccount.Kind
Account = EntryLine.Account

# Accounts of the stock side. The book of money has none of them but what came in and is not billed.
HONEY, PACKED, GOODS, PARTS = "stock:honey", "stock:packed", "stock:goods", "stock:part"
VALUED = (HONEY, PACKED, GOODS, PARTS)
RETURNED = "stock:returned"
TO_SETTLE = "stock:to_settle"
NOT_BILLED = str(Account.NOT_BILLED)
OWN_USE = "own_use"
COST_OF_SALES = "cost_of_sales"
HARVEST, LABOUR, FILLED = "production:harvest", "production:labour", "production:filled"
LOSSES = "losses"
GIVEN_AWAY = "given_away"
COUNTED = "count_differences"
COSTS_ANEW = "cost_differences"


@dataclass(frozen=True)
class ChartAccount:
    """An account of the chart: what entries call it, and what people do.

    `is_own` tells that the owner named it.
    """

    key: str
    number: str
    name: str | Promise
    kind: str
    is_own: bool = False

    @property
    def title(self) -> str:
        return f"{self.number} {self.name}"

    @property
    def kind_in_words(self) -> str | Promise:
        return Kind(self.kind).label

    @property
    def is_of_result(self) -> bool:
        """Whether it is part of the year's profit or loss, and not of what there is."""
        return self.kind in (Kind.INCOME, Kind.COST_OF_SALES, Kind.EXPENSE)


_DEFAULTS: tuple[tuple[str, str, str | Promise, str], ...] = (
    (Account.CASH, "1000", gettext_lazy("Cash"), Kind.ASSET),
    (Account.CHECK, "1010", gettext_lazy("Checks not in the bank yet"), Kind.ASSET),
    (Account.CARD, "1020", gettext_lazy("Card payments not in the bank yet"), Kind.ASSET),
    (Account.TRANSFER, "1050", gettext_lazy("Bank"), Kind.ASSET),
    (Account.RECEIVABLE, "1100", gettext_lazy("Owed by customers"), Kind.ASSET),
    (Account.STOCK, "1200", gettext_lazy("Stock"), Kind.ASSET),
    (HONEY, "1210", gettext_lazy("Stock: honey in bulk"), Kind.ASSET),
    (PACKED, "1220", gettext_lazy("Stock: jars"), Kind.ASSET),
    (GOODS, "1230", gettext_lazy("Stock: other goods"), Kind.ASSET),
    (PARTS, "1240", gettext_lazy("Stock: parts"), Kind.ASSET),
    (RETURNED, "1250", gettext_lazy("Stock: came back, not decided yet"), Kind.ASSET),
    (TO_SETTLE, "1260", gettext_lazy("Stock: used before it was booked"), Kind.ASSET),
    (Account.PURCHASE_TAX, "1300", gettext_lazy("Tax on purchases"), Kind.ASSET),
    (Account.PAYABLE, "2000", gettext_lazy("Owed to suppliers"), Kind.LIABILITY),
    (NOT_BILLED, "2050", gettext_lazy("Received, not billed yet"), Kind.LIABILITY),
    (Account.SALES_TAX, "2100", gettext_lazy("Sales tax"), Kind.LIABILITY),
    (Account.DEPOSITS, "2200", gettext_lazy("Deposits on drums"), Kind.LIABILITY),
    (Account.TIPS, "2300", gettext_lazy("Tips for the people at the stand"), Kind.LIABILITY),
    (Account.OWNER, "3000", gettext_lazy("Owner"), Kind.EQUITY),
    (OWN_USE, "3050", gettext_lazy("Honey for own use"), Kind.EQUITY),
    (Account.OPENING, "3900", gettext_lazy("Opening amounts"), Kind.EQUITY),
    (Account.SALES, "4000", gettext_lazy("Sales"), Kind.INCOME),
    (Account.DISCOUNTS, "4100", gettext_lazy("Discounts for early payment"), Kind.INCOME),
    (Account.FEES, "4200", gettext_lazy("Fees"), Kind.INCOME),
    (Account.INTEREST, "4300", gettext_lazy("Interest"), Kind.INCOME),
    (Account.GIFTS, "4400", gettext_lazy("Given on top by buyers"), Kind.INCOME),
    (Account.ROUNDING, "4900", gettext_lazy("Rounding"), Kind.INCOME),
    (Account.CASH_ROUNDING, "4910", gettext_lazy("Rounding of cash"), Kind.INCOME),
    (COST_OF_SALES, "5000", gettext_lazy("Cost of sales"), Kind.COST_OF_SALES),
    (HARVEST, "5100", gettext_lazy("Cost of honey that was harvested"), Kind.COST_OF_SALES),
    (LABOUR, "5110", gettext_lazy("Labour that is in jars and goods"), Kind.COST_OF_SALES),
    (FILLED, "5120", gettext_lazy("Differences of filling"), Kind.COST_OF_SALES),
    (LOSSES, "5200", gettext_lazy("Broken, spoiled and lost"), Kind.COST_OF_SALES),
    (GIVEN_AWAY, "5210", gettext_lazy("Given away"), Kind.COST_OF_SALES),
    (COUNTED, "5220", gettext_lazy("Count and scale differences"), Kind.COST_OF_SALES),
    (COSTS_ANEW, "5900", gettext_lazy("Costs set anew, and rounding"), Kind.COST_OF_SALES),
    (Account.EXPENSES, "6000", gettext_lazy("Expenses"), Kind.EXPENSE),
    (Account.WRITE_OFFS, "6900", gettext_lazy("Bad debts"), Kind.EXPENSE),
)


# Differences between what goods came in at and what their supplier billed.
_PRICE_DIFFERENCE = "price_difference"
_FIRST_EXPENSE, _STEP = 6010, 10


def key_of(account: str, detail: str = "") -> str:
    """Return what an account with a detail is called in entries."""
    return f"{account}:{detail}" if detail else account


def chart(used: Iterable[str] = (), own: Iterable[LedgerAccount] = ()) -> dict[str, ChartAccount]:
    """Return the accounts by key, in the order of their numbers.

    `own` are those that the owner named; what is `used` and neither in the list nor named is
    beside the account that it is a detail of.
    """
    found = {
        str(key): ChartAccount(str(key), number, name, kind)
        for key, number, name, kind in (*_DEFAULTS, *_expenses())
    }
    for row in own:
        found[row.key] = ChartAccount(row.key, row.number, row.name, row.kind, is_own=True)
    for key in sorted(set(used) - set(found)):
        found[key] = _unnamed(key, found)
    return dict(sorted(found.items(), key=lambda pair: (pair[1].number, pair[0])))


def _expenses() -> Iterator[tuple[str, str, str, str]]:
    """Yield an account for each category of expenses, and one for differences to the bill."""
    details: list[tuple[str, str | Promise]] = [
        *ExpenseCategory.choices,
        (_PRICE_DIFFERENCE, _("price differences of bills")),
    ]
    for place, (detail, words) in enumerate(details):
        name = _("Expenses: %(category)s") % {"category": words}
        number = str(_FIRST_EXPENSE + _STEP * place)
        yield key_of(Account.EXPENSES, detail), number, name, Kind.EXPENSE


def _unnamed(key: str, named: Mapping[str, ChartAccount]) -> ChartAccount:
    """Return an account that nobody has named: a detail has the number of its account and a dot."""
    account, _sign, detail = key.partition(":")
    above = named.get(account)
    words = (detail or account).replace("_", " ")
    if above is None:
        return ChartAccount(key, f"9000.{key}", words, Kind.EXPENSE)
    return ChartAccount(
        key,
        f"{above.number}.{detail}",
        _("%(account)s: %(detail)s") % {"account": above.name, "detail": words},
        above.kind,
    )
