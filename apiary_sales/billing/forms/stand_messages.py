"""What the stand page sends: a sale that happened, read into the arguments of `stand.sell`.

A device may have kept a sale since before the house got a new version, so what earlier pages sent
is read too: a size in place of a product, one way of paying, no seller.
"""

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal, InvalidOperation
from typing import Any

from django.utils import translation
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _

from apiary_sales.accounts.models import User
from apiary_sales.accounts.seller_proofs import is_proof
from apiary_sales.billing.models import Payment, SaleMark, StandSale
from apiary_sales.billing.services.stand_marks import MarkFound
from apiary_sales.billing.services.stand_money import PaymentMade
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules import weighing
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.rules.weighing import Weighed
from inventory.bottling.models import Product
from inventory.shared import conventions, keys
from inventory.shared.checks import GRAMS_MAX
from inventory.shared.errors import BadValue
from inventory.shared.row_keys import row_key
from inventory.stock.models import Place

SELL = "orders.sell_at_stand"
# What two messages under one key may differ in and still tell of the same sale.
NOT_THE_SALE = frozenset(
    {"wants_data", "data_made_at", "clock_said", "corrects", "total_cents", "seller_proof"}
)
TEXT_MAX = 1000


def parse_sale(data: Any, *, sent_by: User | None = None) -> dict[str, Any]:
    """Return the arguments of `stand.sell` out of what the stand page sent.

    With `sent_by`, who is signed in at the phone, the sale is marked where it names somebody else
    as its seller and has no proof of that person. Without, a person has looked at the sale.

    Prices come from the page, because the buyer paid what the page showed: a sale kept without
    signal may reach us after a price has changed. Raises `BadValue` for anything unreadable.
    """
    if not isinstance(data, dict):
        raise unreadable()
    seller, marks = _seller(data, sent_by)
    return {
        "key": text(data, "key"),
        "place": _place(text(data, "place")),
        "lines": [_parse_line(line) for line in _list(data, "lines")],
        "payments": _payments(data),
        "discount_cents": _cents(data, "discount_cents", may_be_missing=True) or 0,
        "on_top_cents": _cents(data, "on_top_cents", may_be_missing=True) or 0,
        "sold_at": _moment(data, "sold_at"),
        "clock_said": _moment(data, "clock_said", may_be_missing=True),
        "not_before": _moment(data, "data_made_at", may_be_missing=True),
        "device": text(data, "device") if data.get("device") else "",
        "corrects": _corrects(data),
        "sold_by": seller,
        "marks": marks,
        "asked": kept(data),
    }


def is_same(asked: Mapping[str, Any] | None, data: Mapping[str, Any]) -> bool:
    """Tell whether two messages tell of the same sale; one that was not kept may be any."""
    if asked is None:
        return True

    def sale(message: Mapping[str, Any]) -> dict[str, Any]:
        return {name: value for name, value in message.items() if name not in NOT_THE_SALE}

    return sale(asked) == sale(data)


def kept(data: Mapping[str, Any]) -> dict[str, Any]:
    """Return what is kept of a message: nothing with which others could sell in somebody's name."""
    return {name: value for name, value in data.items() if name != "seller_proof"}


def _seller(data: dict, sent_by: User | None) -> tuple[User | None, list[MarkFound]]:
    """Return who sold, None where the message names nobody who can have; with a mark of a doubt."""
    asked = data.get("seller")
    if asked is None:
        return None, []
    found = User.objects.filter(pk=_whole(data, "seller")).first()
    if found is not None and found.is_active and found.has_perm(SELL):
        if sent_by in (None, found) or is_proof(data.get("seller_proof"), found):
            return found, []
        return found, [MarkFound(SaleMark.Kind.SELLER, _without_proof(found, sent_by))]
    with translation.override(conventions.current().language):
        name = found.display_name if found else asked
        sentence = _("%(name)s may not sell at the stand; whoever sent the sale counts as seller.")
        return None, [MarkFound(SaleMark.Kind.SELLER, sentence % {"name": name})]


def _without_proof(seller: User, sent_by: User) -> str:
    with translation.override(conventions.current().language):
        return _(
            "The phone names %(name)s as the seller, but %(sender)s was signed in when it sent the "
            "sale, and it showed neither the PIN nor the sign-in of %(name)s. Ask who sold."
        ) % {"name": seller.display_name, "sender": sent_by.display_name}


def _corrects(data: dict) -> StandSale | None:
    if not data.get("corrects"):
        return None
    sale = StandSale.objects.standing().filter(key=text(data, "corrects")).first()
    if sale is None:
        raise BadValue(
            _("The sale that is corrected is not in the books, or was undone already."),
            parameter="corrects",
        )
    return sale


def _parse_line(data: Any) -> LineWanted:
    if not isinstance(data, dict):
        raise unreadable()
    if "weighed" in data:
        return _parse_weighed(data)
    # A sale that a phone kept since before there were products names the size: its standard
    # product has the same code.
    code = text(data, "product" if "product" in data else "size")
    product = Product.objects.select_related("item").filter(code=code).first()
    if product is None:
        raise _gone(code)
    return LineWanted(
        kind=OrderLine.Kind.PACKED,
        quantity=_whole(data, "pieces"),
        unit_price=_price(data),
        product=product,
    )


def _parse_weighed(data: dict) -> LineWanted:
    kind, _sign, asked = text(data, "weighed").partition("-")
    number = row_key(asked)
    if not number or kind not in ("vessel", "goods"):
        raise unreadable()
    weighed = _weighed(data)
    if kind == "goods":
        product = Product.objects.sold_by_weight().select_related("item").filter(pk=number).first()
        if product is None:
            raise _gone(text(data, "weighed"))
        return LineWanted(
            OrderLine.Kind.WEIGHED,
            weighed.net_grams,
            _price(data),
            product=product,
            weighed=weighed,
        )
    vessel = Place.objects.filter(pk=number, kind__in=Place.VESSELS).first()
    if vessel is None:
        raise _gone(text(data, "weighed"))
    return LineWanted(
        OrderLine.Kind.HONEY,
        weighed.net_grams,
        _price(data),
        drum=vessel,
        is_drawn=True,
        weighed=weighed,
    )


def _weighed(data: dict) -> Weighed:
    if data.get("gross_grams") is None:
        return Weighed(_grams(data, "net_grams"))
    gross, tare = _grams(data, "gross_grams"), _grams(data, "tare_grams")
    if tare >= gross:
        raise BadValue(
            _("The empty container weighs as much as the full one. Weigh again."),
            parameter="lines",
        )
    return weighing.on_scale(gross_grams=gross, tare_grams=tare)


def _grams(data: dict, name: str) -> int:
    grams = _whole(data, name)
    if not 0 <= grams <= GRAMS_MAX:
        raise unreadable()
    return grams


def _payments(data: dict) -> list[PaymentMade]:
    if "payments" not in data:
        tendered_cents = _cents(data, "tendered_cents", may_be_missing=True)
        method = text(data, "method")
        cash_cents = tendered_cents if method == Payment.Method.CASH else None
        return [PaymentMade(method, tendered_cents=cash_cents)]
    made = []
    for row in _list(data, "payments"):
        if not isinstance(row, dict):
            raise unreadable()
        made.append(
            PaymentMade(
                text(row, "method"),
                cents=_cents(row, "cents", may_be_missing=True),
                tendered_cents=_cents(row, "tendered_cents", may_be_missing=True),
                reference=text(row, "reference")[:60] if row.get("reference") else "",
            )
        )
    return made


def _place(code: str) -> Place:
    place = Place.objects.filter(code=code, kind__in=Place.STORES).first()
    if place is None:
        raise BadValue(
            _("There is no stand called %(code)s any more. Open the stand page again.")
            % {"code": code},
            parameter="place",
        )
    return place


def _gone(code: str) -> BadValue:
    return BadValue(
        _("There is no product called %(code)s any more. Open the stand page again.")
        % {"code": code},
        parameter="lines",
    )


def unreadable() -> BadValue:
    """Return the refusal of a message that makes no sense."""
    return BadValue(_("The sale could not be read. Open the stand page again."))


def text(data: dict, name: str, longest: int = keys.LENGTH_MAX) -> str:
    """Return a text of a message that must be there; raises `BadValue`."""
    value = data.get(name)
    if not isinstance(value, str) or not value or len(value) > longest:
        raise unreadable()
    # PostgreSQL accepts no null character, neither in a stored text nor in a query.
    if "\x00" in value:
        raise unreadable()
    return value


def _list(data: dict, name: str) -> list:
    value = data.get(name)
    if not isinstance(value, list):
        raise unreadable()
    return value


def _whole(data: dict, name: str) -> int:
    value = data.get(name)
    if not isinstance(value, int) or isinstance(value, bool) or abs(value) > 10**9:
        raise unreadable()
    return value


def _cents(data: dict, name: str, *, may_be_missing: bool) -> int | None:
    if may_be_missing and data.get(name) is None:
        return None
    return _whole(data, name)


def _price(data: dict) -> Decimal:
    try:
        price = Decimal(text(data, "unit_price"))
    except InvalidOperation:
        raise unreadable() from None
    # More than that is a typing error, and could overflow sums in the database.
    if not price.is_finite() or abs(price) > 10**6 or price != round(price, 4):
        raise unreadable()
    return price


def _moment(data: dict, name: str, *, may_be_missing: bool = False) -> datetime | None:
    if may_be_missing and data.get(name) is None:
        return None
    try:
        moment = parse_datetime(text(data, name))
    except ValueError:
        moment = None
    # The first and last possible dates can't be converted to local time.
    if moment is None or moment.tzinfo is None or not 1900 <= moment.year <= 9000:
        raise unreadable()
    return moment
