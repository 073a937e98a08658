"""What the till says."""

from django.utils.translation import gettext as _

from apiary_sales.billing.models import StandSale
from inventory.shared import conventions, weights, words
from inventory.shared.weights import in_words as of_house


def till_words() -> dict[str, str]:
    """Return what the till says; `{name}` is filled in by its script."""
    return {
        **_goods_words(),
        **_basket_words(),
        **_paying_words(),
        **_sale_words(),
        **_list_words(),
        **_state_words(),
        **_seller_words(),
        "ok": _("OK"),
        "cancel": _("Cancel"),
    }


def _goods_words() -> dict[str, str]:
    return {
        "all_products": _("All"),
        "kind_honey": _("Honey"),
        "kind_goods": _("Other goods"),
        "kind_gift_box": _("Gift boxes"),
        "here": _("{count} here"),
        "none_here": _("0 here: sell anyway"),
        "setting": _("{count} ready from {day}"),
        "in_sale": _("× {count}"),
        "offer": _("{count} for {price}"),
        "offer_case": _("Case of {count}: {price}"),
        "per_pound": of_house(_("{price} per {lb}")),
        "no_price_per_pound": of_house(_("no price per {unit} yet")),
        "no_price_text": of_house(
            _("It has no price per {unit}. The office sets one on the price list.")
        ),
        "pickups": _("Orders to pick up: {count}"),
        "scan": _("Scan a code"),
        "scan_help": _("Hold the bar code in front of the camera."),
        "scan_no_camera": _(
            "The camera can't be used. Allow it for this page, or type the number."
        ),
        "scan_unknown": _("No product here has the code {text}."),
        "gross": _("Full container"),
        "tare": _("Empty container"),
        "or_net": _("Or only the net weight:"),
        "net": _("Net weight"),
        "weight_unit": _("Weights are in"),
        "put_in": _("Put in the sale"),
        "weight_unread": (
            _("Enter each weight as a number, for example 2.5 or 1.25 kg.")
            if conventions.current().is_metric
            else _("Enter each weight as a number, for example 2.5 or 2 lb 8 oz.")
        ),
        "weight_missing": _("Enter what it weighs: full and empty, or the net weight."),
        "weight_one_way": _("Enter either the full container or the net weight, not both."),
        "tare_missing": _("Enter what the empty container weighs, or 0."),
        "tare_too_heavy": _(
            "The full container must weigh more than the empty one. Check both weights."
        ),
        "weight_too_heavy": _("That is more than a ton. Check the weight and its unit."),
    }


def _basket_words() -> dict[str, str]:
    return {
        "one_less": _("One less: {name}"),
        "one_more": _("One more: {name}"),
        "take_out": _("Take out"),
        "more_than_here": _("By the books {count} are here. Sell it anyway: it is settled later."),
        "gone_from_list": _(
            "It is not on the price list any more. It is sold at the price it had."
        ),
        "mending_bar": _("Mending a sale: {text}"),
        "weight": "{number} " + weights.unit_word(),
        "weight_at": of_house(_("{weight} at {price} per {lb}")),
        "pieces_one": _("1 piece"),
        "pieces_many": _("{count} pieces"),
        "way_amount": _("Taken off the whole sale"),
        "way_percent": _("Percent taken off"),
        "way_named": _("What the buyer pays in all"),
        "discount_too_much": _(
            "The discount of {discount} is more than the price of the goods, {whole}. Enter "
            "a smaller discount."
        ),
        "discount_unread": _("Enter the discount as money, for example 0.50."),
        "percent_unread": _("Enter the discount in percent, from 0 to 100."),
        "named_unread": _("Enter what the buyer pays as money, for example 20."),
        "tip_unread": _("Enter what is given on top as money, for example 0.50."),
        "tax_included": _("{name}, included"),
        "price_changed": _("{name} now costs {after}; before it was {before}. This sale has it."),
        "mend_first": _("Finish mending this sale first, or leave it as it was."),
        "place_title": _("Go to {to}?"),
        "place_text": _("The sale at {from} is not finished: {count} in the basket."),
        "place_keep": _("Keep the basket at {from}"),
        "place_carry": _("Take the basket to {to}"),
        "place_stay": _("Stay at {from}"),
    }


def _paying_words() -> dict[str, str]:
    return {
        "cash": _("Cash"),
        "card": _("Card"),
        "check": _("Check"),
        "of_total": _("left of {total}"),
        "with_on_top": _("with {amount} on top"),
        "rounded_from": _("{total}, rounded to the smallest coin"),
        "enter_cash": _("Enter the cash that was given"),
        "enter_card": _("Enter what was paid by card"),
        "enter_check": _("Enter the amount of the check"),
        "take": _("Take {given}"),
        "take_and_give": _("Take {given}, give back {change}"),
        "card_finish": _("Card paid {total}"),
        "check_finish": _("Check taken for {total}"),
        "cash_part": _("Take {amount}"),
        "card_part": _("Card paid {amount}, the rest another way"),
        "check_part": _("Check taken for {amount}, the rest another way"),
        "give_back": _("Give back {change}"),
        "no_change": _("No change"),
        "ask_for": _("Ask for {missing} more"),
        "left_then": _("Then {missing} is left to pay"),
        "keep_change": _("The buyer leaves the change: {amount}"),
        "change_back": _("Give the change after all: {amount}"),
        "kept_change": _("No change: {amount} is given on top"),
        "too_little": _("The sale comes to {total}: {missing} is missing."),
        "correct_amount": _("Correct the amount"),
        "pays_less": _("The buyer pays {missing} less"),
        "rest_otherwise": _("{amount} in cash, {missing} another way"),
        "too_much": _("{left} is left to pay: this is {more} more."),
        "more_on_top": _("{more} is given on top"),
        "change_sure": _("Give back {change}?"),
        "change_sure_help": _("{given} is a lot for {total}. Check the cash that was given."),
        "change_right": _("The amount is right"),
        "nothing_paid": _("nothing to pay"),
    }


def _sale_words() -> dict[str, str]:
    return {
        "sold": _("Sold"),
        "sending": _("Stored on this device; it is being sent."),
        "kept": _("The sale is kept on this device and sent later."),
        "receipt": _("Recorded on receipt {number}."),
        "undone": _("The sale is undone."),
        "not_sold": _("Not stored"),
        "not_stored": _(
            "This device could not store the sale, and it is not in the books yet. Keep this page "
            "open and write the sale down; it is sent again by itself."
        ),
        "not_stored_but_sent": _(
            "This device could not store the sale, so it was sent at once: it is in the books."
        ),
        "settle": _("Open it under Sales here."),
    }


def _list_words() -> dict[str, str]:
    return {
        "state_waits": _("waits"),
        "state_refused": _("not accepted"),
        "state_differs": _("differs"),
        "state_done": _("in the books"),
        "state_handed_in": _("given to the office"),
        "state_undone": _("undone"),
        "state_undoing": _("is being undone"),
        "badge_waits": _("{count} wait"),
        "badge_settle": _("{count} to look at"),
        "wait_one": _("1 sale is waiting to be sent."),
        "wait_many": _("{count} sales are waiting to be sent."),
        "undo_waits_one": _("1 undo is waiting to be sent"),
        "undo_waits_many": _("{count} undos are waiting to be sent"),
        "today": _("Today at {place}: {total}"),
        "today_unsure": _("At {place}: {total}"),
        "clock_unsure": _(
            "The clock of this device is not sure until there is a signal. These are the takings "
            "of {day}, with all sales that wait here."
        ),
        "for_office": _("{amount} given to the office, not in these takings"),
        "sales_one": _("1 sale"),
        "sales_many": _("{count} sales"),
        "not_in_books_one": _("1 of them is not in the books yet"),
        "not_in_books_many": _("{count} of them are not in the books yet"),
        "discount": _("Discount"),
        "total": _("Total"),
        "on_top": _("On top"),
        "change": _("Change given"),
        "open_receipt": _("Receipt"),
        "read_later": _("Receipt to read later"),
        "share_receipt": _("Share the receipt"),
        "recorded_is": _("In the books: {recorded}"),
        "entered_is": _("On this device: {entered}"),
        "mend": _("Change the sale"),
        "try_again": _("Try again"),
        "undo": _("Undo"),
        "hand_in": _("Give to the office"),
        "correct": _("Record it as on this device"),
        "keep_recorded": _("Leave it as in the books"),
        "reason": _("Why?"),
        "reason_missing": _("Write in a few words why"),
        "undo_title": _("Undo this sale?"),
        "undo_text": _("{sale}. Give back {back}; the goods are back in stock."),
        "undo_do": _("Undo and give back {back}"),
        "undo_mistyped": _("Mistyped"),
        "undo_changed_mind": _("The buyer changed their mind"),
        "undo_trial": _("It was only a trial"),
        "hand_in_title": _("Give this sale to the office?"),
        "hand_in_text": _("{sale}. The office books it or sets it aside; here it is settled."),
        "hand_in_why": _("It is not accepted"),
        "hand_in_do": _("Give to the office"),
    }


def _state_words() -> dict[str, str]:
    return {
        "of_time": _("Prices and stock of {time}."),
        "hours_old_one": _("Prices and stock are 1 hour old."),
        "hours_old_many": _("Prices and stock are {count} hours old."),
        "days_old": _("Prices and stock are {count} days old."),
        "state_none": _("No signal. Go on selling: sales are kept on this device and sent later."),
        "state_trouble": _(
            "The house's computer does not answer properly. Go on selling: sales are kept on this "
            "device and sent later."
        ),
        "state_stalled": _("Weak signal. Go on selling: sales are kept here and sent later."),
        "portal": _(
            "This network shows a page of its own instead of ours. Sign in to the network, or "
            "leave it. Go on selling: sales are kept on this device."
        ),
        "signed_out": _("Sign in again to send the sales that are waiting."),
        "sign_in": _("Sign in"),
        "clock_wrong": _(
            "The clock of this device is wrong. Sales get the right time: it is {time}."
        ),
        "not_durable": _(
            "The browser may delete sales that wait when the device runs out of room. Send them "
            "before the end of the day."
        ),
        "cannot_store": _(
            "This device stores nothing for this page, perhaps because the window is private. "
            "Each sale is sent at once; without signal use paper."
        ),
        "held": _("On hold, do not sell:"),
        # Why a sale waits.
        "no_signal": _("No signal."),
        "stalled": _("The connection is too slow."),
        "not_ours": _("This network asks you to sign in to it first."),
        "trouble": _("The house's computer does not answer properly."),
    }


def _seller_words() -> dict[str, str]:
    return {
        "who_sells": _("Who sells now?"),
        "seller_change": _("{name} sells. Change the seller"),
        "pin_of": _("PIN of {name}"),
        "pin_ok": _("{name} sells now"),
        "pin_wrong": _("This is not the right PIN."),
        "pin_wait": _("Too many wrong PINs. Wait {minutes} minutes."),
        "pin_needs_signal": _(
            "Without signal only people can take over who typed their PIN on this device before. "
            "{name} has not."
        ),
        "no_pin": _("{name} has no PIN yet. It is set under Account."),
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
