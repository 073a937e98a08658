"""What the till says."""

from django.utils.translation import gettext as _

from apiary_sales.billing.models import StandSale
from inventory.shared import words


def till_words() -> dict[str, str]:
    """Return what the till says; `{name}` is filled in by its script."""
    return {
        "here": _("{count} here"),
        "none_here": _("0 here"),
        "one_less": _("One less: {name}"),
        "one_more": _("One more: {name}"),
        "cash": _("Cash"),
        "card": _("Card"),
        "check": _("Check"),
        "card_help": _("Take the payment on your card reader first. Here it is only recorded."),
        "check_help": _("Look at the amount, the date and the signature."),
        "card_finish": _("Card paid {total}"),
        "check_finish": _("Check taken for {total}"),
        "enter_cash": _("Enter the cash that was given"),
        "take": _("Take {given}"),
        "take_and_give": _("Take {given}, give back {change}"),
        "give_back": _("Give back {change}"),
        "no_change": _("No change"),
        "ask_for": _("Ask for {missing} more"),
        "too_little": _("The sale comes to {total}: ask for {missing} more."),
        "discount_too_much": _(
            "The discount of {discount} is more than the price of the goods, {whole}. Enter "
            "a smaller discount."
        ),
        "discount_unread": _("Enter the discount as money, for example 0.50."),
        "tax_included": _("{name}, included"),
        "sold": _("Sold"),
        "receipt": _("Recorded on receipt {number}."),
        # Why a sale waits.
        "no_signal": _("No signal."),
        "stalled": _("The connection is too slow."),
        "not_ours": _("This network asks you to sign in to it first."),
        "trouble": _("It could not be recorded yet. It is tried again by itself."),
        "kept": _("The sale is kept on this device and sent later."),
        "one_waits": _("1 sale is waiting to be sent"),
        "many_wait": _("{count} sales are waiting to be sent"),
        "settle": _("A sale was not accepted. Read the reason, fix the problem, then try again."),
        "try_again": _("Try again"),
        "remove": _("Remove"),
        "remove_sure": _(
            "Remove this sale from the device? It is not in the books, so write it down first: "
            "{sale}"
        ),
    }


def sold_text(made: StandSale) -> str:
    """Say what was sold, and what to give back."""
    total = words.money(made.invoice.total_cents)
    if made.change_cents:
        return _("Sold for %(total)s. Give back %(change)s.") % {
            "total": total,
            "change": words.money(made.change_cents),
        }
    return _("Sold for %(total)s.") % {"total": total}
