"""What keeps and sends sales on a phone, without the page around it: whatever the network and the
device do, a sale that happened is in the books once.
"""

from collections.abc import Callable
from datetime import date, datetime, timedelta
from types import SimpleNamespace

import pytest
from django.utils import timezone

from apiary_sales.billing.models import HandedInSale, Invoice, Payment, StandSale
from apiary_sales.billing.queries import books
from apiary_sales.pricing.models import PiecePrice
from inventory.shared.models import House
from inventory.stock.models import Balance, Place
from tests import builders
from tests.browser import weak_network
from tests.browser.conftest import PHONE

SALES = "/stand/sales/"
# A page of a seller on which no till runs.
QUIET_PAGE = "/stand/receipts/"
DAY_MS = 24 * 60 * 60 * 1000

START = """
async ([patience, turn]) => {
  const address = (name) => `/static/billing/stand/${name}.js`;
  const [store, clocks, sending] = await Promise.all(
    ["store", "clock", "sending"].map((name) => import(address(name))),
  );
  const clock = await clocks.startClock();
  const heard = { signals: [], data: 0, entries: [] };
  const urls = {
    sales: "/stand/sales/",
    undo: "/stand/undo/",
    handed_in: "/stand/handed-in/",
    data: "/stand/data/",
  };
  const words = { no_signal: "no signal", stalled: "slow", not_ours: "portal", trouble: "trouble" };
  window.till = {
    store,
    clock,
    heard,
    sending: sending.startSending({
      urls,
      words,
      clock,
      token: () => document.cookie.match(/csrftoken=([^;]+)/)?.[1] ?? "",
      onEntry: (entry) => heard.entries.push([entry.key, entry.state]),
      onData: () => { heard.data += 1; },
      onSignal: (signal) => heard.signals.push(signal),
      patience,
      pauses: [300],
      turn,
    }),
  };
}
"""
SELL = """
async ({ key, body }) => {
  const outcome = await till.sending.sell({
    key,
    kind: "sale",
    place: "stand",
    seller: null,
    body,
    text: "1 x One pound",
    total_cents: 800,
    change_cents: 0,
  });
  return outcome;
}
"""


@pytest.fixture
def stand(transactional_db):
    House(name="Hollow Oak Honey House").save()
    return builders.place("stand", Place.Kind.STAND, name="Stand")


@pytest.fixture
def pounds(stand):
    """The one-pound jar at 8.00, 24 of them at the stand."""
    product = builders.product("One pound", code="one-pound")
    builders.packed_lot(product, stand, 24)
    PiecePrice.objects.create(
        tier="stand", product=product, piece_cents=800, valid_from=date(2026, 1, 1)
    )
    return product


@pytest.fixture
def network(live_server):
    with weak_network.before(live_server.url) as network:
        yield network


class Till:
    """The engine on a page of its own."""

    def __init__(self, page, network, *, turn: int = 1_000) -> None:
        self.page = page
        self.network = network
        # How long it waits for another tab to let it send.
        self.turn = turn

    def open(self) -> "Till":
        self.page.goto(self.network.url + QUIET_PAGE)
        return self.start()

    def start(self, patience: int = 8_000) -> "Till":
        self.page.evaluate(START, [patience, self.turn])
        return self

    def stop(self) -> None:
        self.page.evaluate("() => till.sending.stop()")

    def sell(self, key: str, *, pieces: int = 1, **more):
        body = {
            "place": "stand",
            "lines": [{"product": "one-pound", "pieces": pieces, "unit_price": "8.0000"}],
            "discount_cents": 0,
            "on_top_cents": 0,
            "payments": [{"method": "cash", "cents": 800 * pieces, "tendered_cents": 20_000}],
            "total_cents": 800 * pieces,
            **more,
        }
        outcome = self.page.evaluate(SELL, {"key": key, "body": body})
        return SimpleNamespace(**outcome)

    def act(self, name: str, *values):
        return self.page.evaluate(
            "([name, values]) => till.sending[name](...values)", [name, values]
        )

    def entry(self, key: str) -> dict:
        return self.page.evaluate("(key) => till.store.find(key)", key)

    def entries(self) -> list[dict]:
        return self.page.evaluate("() => till.store.entries()")

    def until(self, key: str, state: str, *, why: str | None = None) -> dict:
        """Wait until an entry is in a state, and return it."""
        found: dict = {}

        def is_so() -> bool:
            nonlocal found
            found = self.entry(key) or {}
            return found.get("state") == state and why in (None, found["why"])

        self.wait(is_so, lambda: found)
        return found

    def until_tried(self, key: str) -> None:
        self.wait(lambda: self.entry(key)["tried"] > 0, lambda: self.entry(key))

    def wait(self, is_so: Callable[[], bool], what: Callable[[], object]) -> None:
        """Wait for what only a promise answers."""
        for _moment in range(800):
            if is_so():
                return
            self.page.wait_for_timeout(25)
        raise AssertionError(what())

    def until_there(self) -> "Till":
        """Wait until the connection is known to be good."""
        self.page.wait_for_function("() => till.heard.signals.at(-1) === 'there'", timeout=10_000)
        return self


@pytest.fixture
def till(sign_in, network, pounds):
    return Till(sign_in("stand", PHONE), network).open().until_there()


@pytest.fixture
def another_till(sign_in, network, pounds):
    return Till(sign_in("stand", PHONE), network).open().until_there()


def at_stand(product):
    return Balance.objects.get(place__code="stand", item=product.item).quantity


def assert_sold_once(pounds, *keys):
    """The books have one sale of one jar for each key, and nothing else."""
    assert sorted(StandSale.objects.values_list("key", flat=True)) == sorted(keys)
    assert Invoice.objects.count() == len(keys)
    assert [payment.amount_cents for payment in Payment.objects.all()] == [800] * len(keys)
    assert at_stand(pounds) == 24 - len(keys)
    assert list(books.faults()) == []


# ---- the network ----


FAULTS = [
    # What happens, why the sale says that it waits, the signal, and whether it was booked.
    ("none", "no signal", "none", False),
    ("lost", "no signal", "none", True),
    ("hangs", "slow", "stalled", False),
    ("stalls", "slow", "stalled", True),
    ("cut", "no signal", "none", True),
    ("portal", "portal", "portal", False),
    ("portal_json", "portal", "portal", False),
    ("portal_redirect", "portal", "portal", False),
    (500, "trouble", "trouble", False),
    (502, "trouble", "trouble", False),
    (429, "trouble", "trouble", False),
    (404, "portal", "portal", False),
    (422, "portal", "portal", False),
]


def test_whatever_the_network_does_the_sale_waits_and_is_booked_once(till, network, pounds):
    till.stop()
    till.start(patience=1_000).until_there()
    for fault, why, signal, booked in FAULTS:
        key = f"sale-{fault}"
        network.break_down(fault)
        till.page.evaluate("() => { till.heard.signals.length = 0; }")

        outcome = till.sell(key)
        waiting = till.until(key, "waits", why=why)

        assert outcome.stored, fault
        assert waiting["tried"] >= 1, fault
        assert till.page.evaluate("() => till.heard.signals[0]") == signal, fault
        assert StandSale.objects.filter(key=key).exists() is booked, fault

        network.heal()
        till.act("nudge")
        done = till.until(key, "done")

        assert done["said"]["number"] == str(Invoice.objects.get(stand_sale__key=key)), fault
        assert done["why"] == "", fault
        till.until_there()
    assert_sold_once(pounds, *(f"sale-{fault}" for fault, *_ in FAULTS))


def test_sold_is_said_at_once_though_the_network_hangs_for_ever(till, network):
    network.break_down("hangs")

    stored = [till.sell(f"sale-{number}").stored for number in range(5)]

    # How long it takes is measured in `tests/benchmarks/bench_sold.py`.
    assert stored == [True] * 5
    assert [entry["state"] for entry in till.entries()] == ["waits"] * 5
    assert not StandSale.objects.exists()


def test_sales_that_never_get_through_do_not_hold_the_others(till, network, pounds):
    keys = ["bad-1", "bad-2", "good-1", "good-2"]
    till.page.context.set_offline(True)
    for key in keys:
        till.sell(key)
    # As after a page that was closed: none of them is at hand.
    till.stop()
    network.only_for = lambda body: body and body.get("key", "").startswith("bad")
    network.break_down("hangs", SALES)
    till.page.context.set_offline(False)

    till.start(patience=1_000)
    till.until("good-1", "done")
    till.until("good-2", "done")

    assert network.keys_sent()[:2] == ["bad-1", "bad-2"]
    assert_sold_once(pounds, "good-1", "good-2")
    network.heal()
    till.until("bad-1", "done")
    till.until("bad-2", "done")
    assert_sold_once(pounds, *keys)


def test_the_sale_at_hand_is_sent_first_and_the_rest_oldest_first(till, network, pounds):
    till.page.context.set_offline(True)
    for key in ["old-1", "old-2", "old-3"]:
        till.sell(key)
    # As after a page that was closed: none of them is at hand.
    till.stop()
    till.page.context.set_offline(False)
    network.break_down("none", "/stand/data/")
    till.start()

    till.sell("new")
    network.heal()
    till.act("nudge")
    till.until("old-3", "done")

    assert network.keys_sent() == ["new", "old-1", "old-2", "old-3"]
    assert_sold_once(pounds, "new", "old-1", "old-2", "old-3")


def test_each_answer_brings_new_prices_and_stock(till):
    before = till.page.evaluate("() => till.heard.data")

    till.sell("sale-1")
    till.until("sale-1", "done")

    assert till.page.evaluate("() => till.heard.data") > before
    kept = till.page.evaluate("() => till.store.recall('data')")
    [pound] = [row for row in kept["products"] if row["code"] == "one-pound"]
    assert pound["at"]["stand"]["free"] == 23


def test_a_server_that_was_restarted_gets_what_waited(till, network, pounds):
    network.break_down("none")
    till.sell("sale-1")
    till.until("sale-1", "waits", why="no signal")

    # Nobody touches the phone.
    network.heal()
    till.until("sale-1", "done")

    assert_sold_once(pounds, "sale-1")


# ---- pages ----


def test_a_page_closed_half_way_loses_nothing(till, network, pounds):
    network.break_down("stalls", SALES)
    till.sell("sale-1")
    till.until_tried("sale-1")
    context = till.page.context
    till.page.close()
    network.heal()

    again = Till(context.new_page(), network).open()
    again.until("sale-1", "done")

    assert_sold_once(pounds, "sale-1")


def test_two_tabs_send_each_sale_once(sign_in, network, pounds):
    # Neither gives up on the other, however slow the machine is.
    till = Till(sign_in("stand", PHONE), network, turn=60_000).open().until_there()
    other = Till(till.page.context.new_page(), network, turn=60_000).open().until_there()
    till.page.context.set_offline(True)
    for number in range(3):
        till.sell(f"one-{number}")
        other.sell(f"two-{number}")

    till.page.context.set_offline(False)
    keys = [f"{tab}-{number}" for tab in ("one", "two") for number in range(3)]
    for key in keys:
        other.until(key, "done")

    assert sorted(network.keys_sent()) == sorted(keys)
    assert till.entry("two-2")["state"] == "done"
    assert ["two-2", "done"] in till.page.evaluate("() => till.heard.entries")
    assert_sold_once(pounds, *keys)
    assert till.page.evaluate("() => till.store.device()") == other.page.evaluate(
        "() => till.store.device()"
    )


def test_a_tab_that_sleeps_while_it_sends_does_not_hold_the_other(till, network, pounds):
    asleep = till.page.context.new_page()
    asleep.goto(network.url + QUIET_PAGE)
    asleep.evaluate(
        """() => new Promise((resolve) => {
            navigator.locks.request("stand-send", () => {
              resolve();
              return new Promise(() => {});
            });
        })"""
    )

    till.sell("sale-1")
    till.until("sale-1", "done")

    assert_sold_once(pounds, "sale-1")


def test_two_phones_sell_the_same_jars_and_both_sales_are_booked(till, another_till, pounds):
    till.page.context.set_offline(True)
    another_till.page.context.set_offline(True)
    till.sell("sale-1", pieces=20)
    # Each phone estimates the server's time. Of the two sales, the later one is short.
    another_till.page.wait_for_function(
        "(first) => till.clock.now() > new Date(first)", arg=till.entry("sale-1")["sold_at"]
    )
    another_till.sell("sale-2", pieces=10)

    till.page.context.set_offline(False)
    till.until("sale-1", "done")
    another_till.page.context.set_offline(False)
    said = another_till.until("sale-2", "done")["said"]

    assert sorted(StandSale.objects.values_list("key", flat=True)) == ["sale-1", "sale-2"]
    assert len(set(StandSale.objects.values_list("device", flat=True))) == 2
    # Six jars more than there were: said to who sold them.
    assert len(said["marks"]) == 1
    assert list(books.faults()) == []


# ---- the device ----

NO_ROOM = """
() => {
  const put = IDBObjectStore.prototype.put;
  IDBObjectStore.prototype.put = function (...values) {
    if (this.name === "entries" && window.isFull !== false) {
      throw new DOMException("no room", "QuotaExceededError");
    }
    return put.apply(this, values);
  };
}
"""


def test_a_full_device_sends_the_sale_at_once_and_says_that_it_kept_nothing(till, pounds):
    till.page.evaluate(NO_ROOM)

    outcome = till.sell("sale-1")

    assert (outcome.stored, outcome.reason) == (False, "full")
    assert outcome.outcome["done"]["number"] == str(Invoice.objects.get())
    assert_sold_once(pounds, "sale-1")


def test_a_full_device_without_signal_says_so_and_sends_while_the_page_is_open(
    till, network, pounds
):
    till.page.evaluate(NO_ROOM)
    network.break_down("none")

    outcome = till.sell("sale-1")

    assert (outcome.stored, outcome.reason) == (False, "full")
    assert outcome.outcome == {"waits": "no signal"}
    network.heal()
    till.until("sale-1", "done")
    assert_sold_once(pounds, "sale-1")


def test_a_sale_that_found_no_room_is_stored_as_soon_as_there_is_some(till, network, pounds):
    till.page.evaluate(NO_ROOM)
    network.break_down("none")
    till.sell("sale-1")

    till.page.evaluate("() => { window.isFull = false; }")
    till.page.wait_for_function("() => till.store.loose().length === 0")
    context = till.page.context
    till.page.close()
    network.heal()
    again = Till(context.new_page(), network).open()
    again.until("sale-1", "done")

    assert_sold_once(pounds, "sale-1")


def test_a_browser_that_keeps_nothing_sells_all_the_same(sign_in, network, pounds):
    page = sign_in("stand", PHONE)
    page.add_init_script("Object.defineProperty(window, 'indexedDB', { value: undefined });")
    till = Till(page, network).open().until_there()

    outcome = till.sell("sale-1")

    assert (outcome.stored, outcome.reason) == (False, "none")
    assert "done" in outcome.outcome
    assert_sold_once(pounds, "sale-1")


def test_a_device_that_never_ends_writing_is_one_that_cannot_store(till, pounds):
    till.page.evaluate(
        "() => { IDBObjectStore.prototype.put = function () { "
        "const rows = this; (function again() { rows.count().onsuccess = again; })(); }; }"
    )

    outcome = till.sell("sale-1")

    assert (outcome.stored, outcome.reason) == (False, "slow")
    assert StandSale.objects.get().key == "sale-1"


OLD_SALES = """
(sales) => new Promise((resolve, reject) => {
  const asked = indexedDB.open("stand", 1);
  asked.onupgradeneeded = () => asked.result.createObjectStore("sales", { keyPath: "key" });
  asked.onerror = () => reject(asked.error);
  asked.onsuccess = () => {
    const transaction = asked.result.transaction("sales", "readwrite");
    for (const sale of sales) transaction.objectStore("sales").put(sale);
    transaction.oncomplete = () => {
      if (!window.staysOpen) asked.result.close();
      resolve();
    };
  };
})
"""


def old_sale(key, **more):
    """A sale as the page of the version before kept it."""
    body = {
        "key": key,
        "place": "stand",
        "lines": [{"product": "one-pound", "pieces": 1, "unit_price": "8.0000"}],
        "method": "cash",
        "tendered_cents": 1_000,
        "discount_cents": 0,
        "sold_at": timezone.now().isoformat(),
    }
    return {"key": key, "text": "1 x One pound", "change": 200, "body": body, **more}


def test_sales_that_the_version_before_kept_are_taken_over_and_sent(sign_in, network, pounds):
    till = Till(sign_in("stand", PHONE), network)
    till.page.goto(network.url + QUIET_PAGE)
    sales = [
        old_sale("waits"),
        old_sale("half-way", isNew=True),
        old_sale("refused", refused="Not enough One pound"),
    ]
    till.page.evaluate(OLD_SALES, sales)

    till.start()
    till.until("waits", "done")
    till.until("half-way", "done")

    refused = till.entry("refused")
    assert (refused["state"], refused["why"]) == ("refused", "Not enough One pound")
    assert refused["change_cents"] == 200
    assert_sold_once(pounds, "waits", "half-way")
    till.act("retry", "refused")
    till.until("refused", "done")
    assert_sold_once(pounds, "waits", "half-way", "refused")


def test_an_old_page_in_another_tab_does_not_swallow_sales(sign_in, network, pounds):
    page = sign_in("stand", PHONE)
    page.goto(network.url + QUIET_PAGE)
    page.evaluate("() => { window.staysOpen = true; }")
    page.evaluate(OLD_SALES, [old_sale("old")])

    till = Till(page.context.new_page(), network).open().until_there()
    outcome = till.sell("new")

    assert (outcome.stored, outcome.reason) == (False, "blocked")
    assert_sold_once(pounds, "new")
    page.close()

    def is_sent() -> bool:
        till.act("nudge")
        return (till.entry("old") or {}).get("state") == "done"

    till.wait(is_sent, lambda: till.entry("old"))
    assert_sold_once(pounds, "new", "old")


# ---- the clock ----

SHIFT = """
(() => {
  const RealDate = Date;
  const shift = %d;
  window.Date = class extends RealDate {
    constructor(...values) {
      super(...(values.length ? values : [RealDate.now() + shift]));
    }
    static now() {
      return RealDate.now() + shift;
    }
  };
})();
"""


@pytest.mark.parametrize("days", [60, -60])
def test_a_wrong_clock_is_put_right_by_the_server_and_remembered(sign_in, network, pounds, days):
    page = sign_in("stand", PHONE)
    page.add_init_script(SHIFT % (days * DAY_MS))
    till = Till(page, network).open().until_there()
    till.sell("with-signal")
    till.until("with-signal", "done")

    # Opened again where no answer comes: what was remembered counts.
    network.break_down("none", "/stand/data/")
    network.break_down("none", SALES)
    page.reload()
    till.start()
    till.sell("without")
    assert page.evaluate("() => till.clock.isSure()") is False
    assert page.evaluate("() => till.clock.isOff()") is True
    said = datetime.fromisoformat(till.entry("without")["body"]["sold_at"])
    assert abs(timezone.now() - said) < timedelta(minutes=1)
    network.heal()
    till.act("nudge")
    till.until("without", "done")

    for sale in StandSale.objects.all():
        assert abs(timezone.now() - sale.sold_at) < timedelta(minutes=1), sale.key
        assert abs(sale.clock_said - timezone.now() - timedelta(days=days)) < timedelta(minutes=2)
        assert Invoice.objects.get(stand_sale=sale).issued_on == timezone.localdate()
    assert StandSale.objects.count() == 2


CLOCK = """
async (steps) => {
  const { makeClock } = await import("/static/billing/stand/clock.js");
  let wall = 0;
  let ticked = 0;
  const remembered = [];
  const clock = makeClock({
    difference: 5000,
    device: () => wall,
    ticks: () => ticked,
    remember: (difference) => remembered.push(difference),
  });
  const told = [];
  for (const [wallNow, tickedNow, heard] of steps) {
    wall = wallNow;
    ticked = tickedNow;
    if (heard !== null) clock.heard(new Date(heard).toISOString());
    told.push(clock.now().getTime());
  }
  return [told, remembered];
}
"""


def test_the_clock_goes_on_by_what_only_counts_and_through_a_sleep(till):
    """In milliseconds: what the device says, what it counts, what the server said."""
    hour = 60 * 60 * 1000
    steps = [
        # Nothing heard: by the difference that was remembered.
        (100_000, 0, None),
        # The server says 500 s; the device is 400 s behind.
        (100_000, 0, 500_000),
        (110_000, 10_000, None),
        # Asleep for an hour: the count stood still.
        (111_000 + hour, 11_000, None),
        # Somebody set the clock: 60 days on, and then back again.
        (112_000 + hour + 60 * DAY_MS, 12_000, None),
        (113_000 + hour, 13_000, None),
    ]

    told, remembered = till.page.evaluate(CLOCK, [list(step) for step in steps])

    assert told == [
        95_000,
        500_000,
        510_000,
        511_000 + hour,
        512_000 + hour,
        513_000 + hour,
    ]
    # What counts after a reload follows the clock that was set.
    assert remembered == [-400_000, 60 * DAY_MS - 400_000, -400_000]


# ---- mending, undoing, giving to the office ----


def test_a_sale_undone_before_it_left_is_never_sent(till, network, pounds):
    till.page.context.set_offline(True)
    till.sell("mistake")

    outcome = till.act("undo", "mistake", "Wrong jar")

    assert outcome == {"undone": True}
    till.page.context.set_offline(False)
    till.sell("sale-1")
    till.until("sale-1", "done")
    assert network.keys_sent() == ["sale-1"]
    assert till.entry("mistake")["state"] == "undone"
    assert_sold_once(pounds, "sale-1")


def test_a_sale_that_may_have_left_is_undone_behind_it(till, network, pounds):
    for fault in ("lost", "none"):
        network.break_down(fault)
        till.sell(fault)
        till.until(fault, "waits", why="no signal")

        outcome = till.act("undo", fault, "Wrong jar")

        assert outcome == {"undone": False}
        waiting = till.entry(fault)
        assert waiting["undoing"] is True
        # While its sale can't be sent, the undo is not: a sale on its way would stay.
        network.heal()
        network.break_down(502, SALES)
        till.act("nudge")
        till.until(fault, "waits", why="trouble")
        till.until_there()
        assert fault not in network.keys_sent("/stand/undo/")
        network.heal()
        till.act("nudge")
        undone = till.until(fault, "undone")
        sale = StandSale.objects.get(key=fault)
        assert sale.undone_on is not None
        assert undone["credit_note"] == str(sale.receipt.credit_notes.get())
        assert network.keys_sent("/stand/undo/").count(fault) == 1
        till.until_there()
    assert at_stand(pounds) == 24
    assert list(books.faults()) == []


def test_a_sale_mended_before_it_left_is_booked_as_mended(till, pounds):
    till.page.context.set_offline(True)
    till.sell("sale-1", pieces=3)
    lines = [{"product": "one-pound", "pieces": 1, "unit_price": "8.0000"}]
    payments = [{"method": "card", "cents": 800, "tendered_cents": None}]

    till.act("mend", "sale-1", {"body": {"lines": lines, "payments": payments, "total_cents": 800}})

    till.page.context.set_offline(False)
    till.until("sale-1", "done")
    assert_sold_once(pounds, "sale-1")
    assert Payment.objects.get().method == "card"


def test_a_mended_sale_whose_first_form_was_booked_differs_and_is_corrected(till, network, pounds):
    network.break_down("lost")
    till.sell("sale-1", pieces=3)
    till.until("sale-1", "waits", why="no signal")
    lines = [{"product": "one-pound", "pieces": 1, "unit_price": "8.0000"}]
    payments = [{"method": "cash", "cents": 800, "tendered_cents": 1_000}]
    till.act("mend", "sale-1", {"body": {"lines": lines, "payments": payments, "total_cents": 800}})

    network.heal()
    differs = till.until("sale-1", "differs")

    assert differs["said"]["total_cents"] == 2_400
    assert differs["body"]["lines"] == lines
    assert StandSale.objects.get().total_cents == 2_400

    right = till.act("correct", "sale-1")
    till.until(right["key"], "done")

    assert till.entry("sale-1")["corrected_by"] == right["key"]
    sale = StandSale.objects.standing().get()
    assert (sale.key, sale.total_cents) == (right["key"], 800)
    assert at_stand(pounds) == 23
    assert list(books.faults()) == []


def test_a_sale_mended_while_it_is_on_its_way_is_not_taken_for_settled(till, network, pounds):
    network.break_down("late", SALES)
    till.sell("sale-1", pieces=3)
    till.until_tried("sale-1")
    lines = [{"product": "one-pound", "pieces": 1, "unit_price": "8.0000"}]

    till.act("mend", "sale-1", {"body": {"lines": lines}})
    network.heal()
    differs = till.until("sale-1", "differs")

    assert differs["said"]["total_cents"] == 2_400
    assert StandSale.objects.get().total_cents == 2_400


def test_what_cannot_be_booked_is_given_to_the_office_and_never_lost(till, network):
    till.sell("strange", lines=[{"product": "no-such", "pieces": 1, "unit_price": "8.0000"}])
    refused = till.until("strange", "refused")
    assert "no-such" in refused["why"]
    network.break_down("none")

    till.act("handIn", "strange", "Nobody knows this jar")
    till.until("strange", "waits", why="no signal")
    network.heal()
    till.until("strange", "handed_in")

    handed_in = HandedInSale.objects.get()
    assert (handed_in.key, handed_in.reason) == ("strange", "Nobody knows this jar")
    assert handed_in.body["lines"][0]["product"] == "no-such"
    assert not StandSale.objects.exists()


def test_whoever_signs_in_next_carries_the_sale_and_its_seller_stays(sign_in, till, pounds):
    seller = builders.person("stand")
    signed_in = till.page.context.cookies()
    till.page.context.clear_cookies(name="sessionid")
    till.sell("sale-1", seller=seller.pk)
    waiting = till.until("sale-1", "waits", why="Sign in again to send the sales that are waiting.")
    assert till.page.evaluate("() => till.heard.signals.at(-1)") == "signed_out"
    # The server said that it did not book it.
    assert waiting["tried"] == 0

    owners = sign_in("owner", PHONE).context.cookies()
    token = [cookie for cookie in signed_in if cookie["name"] == "csrftoken"]
    till.page.context.add_cookies([c for c in owners if c["name"] == "sessionid"] + token)
    till.act("nudge")
    till.until("sale-1", "done")

    sale = StandSale.objects.get()
    assert (sale.sold_by, sale.sent_by.username) == (seller, "owner")
    assert_sold_once(pounds, "sale-1")


def test_a_token_that_is_gone_is_fetched_again(till, pounds):
    till.page.context.clear_cookies(name="csrftoken")

    till.sell("sale-1")
    waiting = till.until("sale-1", "waits", why="trouble")
    till.until("sale-1", "done")

    assert waiting["tried"] == 1
    assert "portal" not in till.page.evaluate("() => till.heard.signals")
    assert_sold_once(pounds, "sale-1")


def test_settled_sales_are_kept_for_three_days_and_open_ones_for_ever(till):
    network = till.network
    till.sell("sale-1")
    till.until("sale-1", "done")
    network.break_down("none")
    till.sell("waits")

    for days, kept in [(2, ["sale-1", "waits"]), (4, ["waits"])]:
        till.page.evaluate(
            "(ms) => till.store.prune(new Date(Date.now() + ms - 3 * 864e5).toISOString())",
            days * DAY_MS,
        )
        assert sorted(entry["key"] for entry in till.entries()) == kept


def test_leaving_a_page_with_a_sale_that_only_it_has_is_asked_about(till, network):
    till.page.evaluate(NO_ROOM)
    network.break_down("none")
    till.sell("sale-1")

    is_stopped = till.page.evaluate(
        """() => {
            const leaving = new Event("beforeunload", { cancelable: true });
            window.dispatchEvent(leaving);
            return leaving.defaultPrevented;
        }"""
    )

    assert is_stopped is True
