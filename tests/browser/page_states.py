"""The states of the pages around the till, in the house of the demo."""

from datetime import timedelta

from django.urls import reverse
from django.utils import timezone

from apiary_sales.billing.models import HonestyBox, MarketDay, ReturnRequest, StandDay, StandSale
from apiary_sales.billing.queries import stand_pickups
from tests.browser.states import STATES
from tests.browser.till_states import lose_signal, open_stand, sell


def go(page, name, *args):
    page.goto(reverse(f"billing:{name}", args=args))


def at_the_stand():
    return StandSale.objects.standing().filter(place__code="stand")


def newest_sale():
    return at_the_stand().filter(sold_at__date=timezone.localdate()).latest("sold_at")


def older_sales():
    return at_the_stand().filter(sold_at__date__lt=timezone.localdate()).order_by("-sold_at")


# ---- the day

state = STATES.group("Today and the day", is_whole=True)


@state("Today of the stand person, with sales that wait")
def today(page):
    open_stand(page)
    lose_signal(page)
    sell(page)
    page.context.set_offline(False)
    page.context.route("**/stand/sales/", lambda route: route.abort())
    page.goto("/")
    page.locator("[data-waiting]:not([hidden])").wait_for()


@state("A day is opened with its float")
def day_begins(page):
    go(page, "stand_day_open")


@state("An open day")
def day_open(page):
    go(page, "stand_day", StandDay.objects.latest("day").pk)


@state("Cash in or out")
def day_cash(page):
    go(page, "stand_day_cash", StandDay.objects.latest("day").pk)


@state("The drawer is counted")
def day_count(page):
    go(page, "stand_day_close", StandDay.objects.latest("day").pk)


@state("A closed day")
def day_closed(page):
    go(page, "stand_day", StandDay.objects.earliest("day").pk)


@state("Days")
def days(page):
    go(page, "stand_days")


@state("Takings", role="owner")
def takings(page):
    go(page, "stand_takings")
    since = timezone.localdate() - timedelta(days=100)
    page.goto(f"{page.url}?from={since}")


@state("Takings of the stand person")
def takings_of_mine(page):
    go(page, "stand_takings")


@state("Sales to look at", role="owner")
def marks(page):
    go(page, "stand_marks")


@state("Sales given to the office", role="owner")
def handed_in(page):
    go(page, "handed_in_sales")


# ---- market days and honesty boxes

state = STATES.group("Market day and honesty box", is_whole=True)


def market_day(days_from_today):
    return MarketDay.objects.get(day=timezone.localdate() + timedelta(days=days_from_today)).pk


@state("Market days")
def market_days(page):
    go(page, "market_days")


@state("A market day is planned")
def market_planned(page):
    go(page, "market_day", market_day(1))


@state("Its load list")
def load_list(page):
    go(page, "market_day_list_goods", market_day(1))


@state("Loading")
def load(page):
    go(page, "market_day_load", market_day(1))


@state("Loaded")
def loaded(page):
    go(page, "market_day", market_day(0))


@state("What came home")
def unload(page):
    go(page, "market_day_unload", market_day(0))


@state("What it earned", role="owner")
def market_result(page):
    go(page, "market_day", MarketDay.objects.earliest("day").pk)


@state("A honesty box")
def honesty_box(page):
    go(page, "honesty_box", HonestyBox.objects.first().pk)


@state("Box and shelf are counted")
def honesty_count(page):
    go(page, "honesty_box_count", HonestyBox.objects.first().pk)


# ---- orders that buyers fetch

state = STATES.group("Pick-ups", is_whole=True)


@state("Orders that buyers fetch")
def pickup_list(page):
    go(page, "stand_pickups")


@state("An order is handed over")
def pickup(page):
    go(page, "stand_pickup", stand_pickups.waiting("")[0].order.number)


# ---- receipts and returns

state = STATES.group("Receipts and returns", is_whole=True)


@state("Receipts")
def receipts(page):
    go(page, "receipt_list")


@state("A receipt")
def receipt(page):
    go(page, "receipt", newest_sale().receipt_id)


@state("What the buyer reads")
def public_receipt(page):
    go(page, "read_receipt", newest_sale().read_code)


@state("Something of today comes back")
def return_today(page):
    go(page, "receipt_return", newest_sale().receipt_id)


@state("Something of an older day comes back: the office is asked")
def return_asked(page):
    go(page, "receipt_return", older_sales()[0].receipt_id)


@state("Without a receipt")
def return_without_receipt(page):
    go(page, "return_no_receipt")


@state("Returns")
def returns(page):
    go(page, "return_requests")


@state("The office decides", role="owner")
def return_decided(page):
    go(page, "return_decide", ReturnRequest.objects.filter(state="asked").latest("pk").pk)


@state("The money is given back")
def money_back(page):
    go(page, "return_request", ReturnRequest.objects.filter(state="approved").latest("pk").pk)


@state("By weight, with the name of the buyer")
def weight_page(page):
    go(page, "stand_weight")
