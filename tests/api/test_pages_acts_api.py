"""Acts of the pages through the API: what each makes is in the books and lists afterwards."""

import json
from datetime import timedelta
from decimal import Decimal
from itertools import count

import pytest

from apiary_sales.accounts.models import SellerPin, SetUp, User
from apiary_sales.accounts.services import set_up
from apiary_sales.billing.models import HandedInSale, StandSale
from apiary_sales.customers.models import Customer
from apiary_sales.imports.models import Import
from apiary_sales.planning.models import SeasonOutlook
from apiary_sales.pricing.models import ChannelCost, PiecePrice
from apiary_sales.pricing.services import prices
from apiary_sales.web.first_hour import steps
from inventory.bottling.models import BottlingRun, LabelSheet, PackagingPart, Size
from inventory.shared.models import House, LongWork
from inventory.stock.models import Balance, Lot, Place
from inventory.stock.queries import books
from tests import builders
from tests.imports.lists import file_of
from tests.uploads import image, upload

pytestmark = pytest.mark.django_db


@pytest.fixture
def send(client):
    keys = (f"sent-{number}" for number in count())

    def make(path, body=None, *, method="post", role="owner", key=None, replaces=False):
        return getattr(client, method)(
            f"/api/v1/{path}",
            json.dumps({} if body is None else body),
            content_type="application/json",
            headers={
                "Authorization": builders.authorization(role),
                "Idempotency-Key": key or next(keys),
                **({"If-Match": "*"} if replaces else {}),
            },
        )

    return make


@pytest.fixture
def read(client):
    def make(path, role="owner"):
        headers = {"Authorization": builders.authorization(role)}
        return client.get(f"/api/v1/{path}", headers=headers)

    return make


@pytest.fixture
def tank():
    return builders.place("tank-1", name="Holding tank")


def wrong_fields(answer, status=422):
    assert answer.status_code == status, answer.content
    return [error["field"] for error in answer.json()["errors"]]


# ----------------------------------------------------------------------- places and honey


def test_a_tank_is_added_with_its_shape_and_dipped(send):
    shape = {"form": "upright", "diameter_mm": 1000, "length_mm": 1500}
    added = send(
        "places-added/", {"kind": "tank", "code": "tank-9", "name": "Nine", "shape": shape}
    )
    assert added.status_code == 201, added.content
    tank = Place.objects.get(code="tank-9")
    builders.lot_in(tank, 400_000)
    dip = {"place": "tank-9", "depth_mm": 400, "celsius": "25.0"}

    read = send("dips-taken/", dip)
    accepted = send(f"dips/{read.json()['id']}/accept/", {"reason": "Foam was skimmed off"})

    # A metre across and 400 mm deep: 314.159 litres, of honey of some 1.42 kg each.
    assert Decimal(read.json()["litres"]) == Decimal("314.159")
    assert accepted.status_code == 201
    assert Balance.objects.in_vessel(tank).quantity == read.json()["grams"]
    assert list(books.faults()) == []


def test_what_is_wrong_with_a_shape_is_named_in_it(send):
    shape = {"form": "upright", "diameter_mm": 1000}

    said = send("places-added/", {"kind": "tank", "code": "t", "name": "T", "shape": shape})

    assert wrong_fields(said) == ["shape.length_mm"]


def test_drums_are_added_in_a_row_changed_and_taken_out_of_use(send):
    made = send("drums-added/", {"first_code": "D-001", "count": 3, "tare_grams": 20_000})
    changed = send("places/D-002/change/", {"name": "Dented drum", "tare_grams": 21_000})
    off = send("places/D-003/out-of-use/")
    on = send("places/D-003/in-use/")

    assert [drum["code"] for drum in made.json()] == ["D-001", "D-002", "D-003"]
    assert changed.json()["tare_grams"] == 21_000
    assert (off.json()["is_active"], on.json()["is_active"]) == (False, True)


def test_honey_is_blended_drained_and_put_right_by_an_undo(send, tank):
    builders.lot_in(tank, 30_000)
    builders.lot_in(builders.place("tank-2"), 20_000)
    target, other = builders.place("tank-3"), builders.place("tank-4")
    sources = [{"place": "tank-1", "grams": 10_000}, {"place": "tank-2", "grams": None}]

    blended = send("honey-blends/", {"sources": sources, "target": "tank-3"})
    drained = send("vessels-drained/", {"drum": "tank-3", "target": "tank-4"})
    undone = send(f"postings/{drained.json()['id']}/undo/", {"note": "Wrong tank"})

    assert (blended.status_code, undone.status_code) == (201, 201)
    assert undone.json()["reverses"] == drained.json()["id"]
    assert Balance.objects.in_vessel(target).quantity == 30_000
    assert Balance.objects.in_vessel(other) is None


def test_the_source_of_a_blend_that_is_wrong_is_named_by_its_position(send, tank):
    builders.lot_in(tank, 1_000)
    builders.place("tank-2")
    sources = [{"place": "tank-1", "grams": 500}, {"place": "nowhere", "grams": 1}]

    said = send("honey-blends/", {"sources": sources, "target": "tank-2"})

    assert wrong_fields(said, 400) == ["sources.1.place"]


@pytest.mark.parametrize(("role", "status"), [("office", 201), ("stand", 422)])
def test_jars_are_carried_by_whom_they_are_in_the_pages(send, role, status):
    shelf = builders.place("shelf", Place.Kind.SHELF)
    builders.place("stand", Place.Kind.STAND)
    builders.place("cellar", Place.Kind.SHELF)
    lot = builders.packed_lot(builders.product(), shelf, 10)
    body = {"lot": lot.pk, "source": "shelf", "target": "cellar", "pieces": 4}

    carried = send("stock-transfers/", body, role=role)

    assert carried.status_code == status
    assert Balance.objects.get(lot=lot, place=shelf).quantity == (6 if status == 201 else 10)


def test_a_shelf_is_counted_in_one_act(send):
    shelf = builders.place("shelf", Place.Kind.SHELF)
    lot = builders.packed_lot(builders.product(), shelf, 10)

    made = send("places/shelf/count/", {"things": [{"lot": lot.pk, "quantity": 9}]})

    assert made.status_code == 201
    assert made.json()["closed_at"] is not None
    assert Balance.objects.get(lot=lot, place=shelf).quantity == 9


def test_seals_are_entered_by_whom_has_every_place(send, tank):
    drum = builders.place("D-001", Place.Kind.DRUM)
    builders.lot_in(drum, 5_000)
    sheet = send("count-sheets/", {"name": "All", "is_blind": False}).json()["number"]

    refused = send(f"count-sheets/{sheet}/seals/", {"vessels": ["D-001"]}, role="stand")
    made = send(f"count-sheets/{sheet}/seals/", {"vessels": ["D-001"]})

    assert refused.status_code == 403
    assert [line["how"] for line in made.json()] == ["seal"]


def test_the_origin_and_the_cost_of_a_lot_are_set(send, tank):
    lot = builders.lot_in(tank, 10_000)

    origin = send(f"lots/{lot.code}/origin/", {"country": "US", "region": "Ohio"})
    cost = send(f"lots/{lot.code}/cost/", {"cost_cents": 12_300}, method="put")

    assert origin.json()["region"] == "Ohio"
    assert [row["cost_cents"] for row in cost.json()] == [12_300]
    assert Lot.objects.get(pk=lot.pk).cost_cents == 12_300


# ------------------------------------------------------------------------ sizes and parts


def test_a_size_is_made_up_from_parts_that_came_in(send):
    builders.place("shelf", Place.Kind.SHELF)
    part = {"name": "Square jar", "kind": "jar", "reorder_point": 24, "lead_time_days": 10}
    code = send("parts-added/", part).json()["code"]
    came = {
        "part": code,
        "place": "shelf",
        "pieces": 100,
        "cost_cents": 4_500,
        "supplier": "Glass Works",
        "received_on": builders.today().isoformat(),
    }
    received = send("parts-brought-in/", came)
    size = {
        "name": "Half pound",
        "declared_amount": "8",
        "declared_unit": "oz",
        "brimful_ml": "180.0",
        "parts": [{"part": code}],
    }

    added = send("sizes-added/", size)
    changed = send(f"sizes/{added.json()['code']}/change/", size | {"pieces_per_case": 6})
    lead = send(f"parts/{code}/change/", {"name": "Square jar", "kind": "jar"})

    assert (received.status_code, added.status_code) == (201, 201)
    assert received.json()["supplier"] == "Glass Works"
    assert changed.json()["pieces_per_case"] == 6
    assert Size.objects.get().size_parts.get().part.code == code
    # What is left out takes its usual value: nobody knows how long it takes.
    assert lead.json()["lead_time_days"] is None
    assert PackagingPart.objects.get().reorder_point == 0


def test_sizes_products_varieties_and_brands_are_taken_out_of_use(send):
    usual = send("usual-sizes/").json()
    code = usual[0]["code"]
    variety = send("varieties-added/", {"name": "Linden"}).json()
    brand = send("brands-added/", {"name": "Hill Farm"}).json()

    assert len(usual) == Size.objects.count() > 1
    assert send("usual-sizes/").json() == []
    assert send(f"sizes/{code}/out-of-use/").json()["is_active"] is False
    assert send(f"sizes/{code}/in-use/").json()["is_active"] is True
    assert send(f"products/{code}/out-of-use/").json()["is_active"] is False
    assert send(f"products/{code}/in-use/").json()["is_active"] is True
    off = {"name": "Linden honey", "is_active": False}
    assert send(f"varieties/{variety['id']}/change/", off).json()["name"] == "Linden honey"
    off = {"name": "Hill Farm", "is_active": False}
    assert send(f"brands/{brand['id']}/change/", off).json()["is_active"] is False


def test_a_layout_of_labels_is_added_and_changed(send):
    body = {"name": "Ten", "paper": "A4", "label_width_mm": "99.1", "label_height_mm": "57"}

    made = send("label-sheets-added/", body | {"columns": 2, "rows": 5}).json()
    too_wide = send(f"label-sheets/{made['code']}/change/", body | {"columns": 3})
    again = send("label-sheets-added/", body)

    assert (made["columns"], made["rows"]) == (2, 5)
    assert too_wide.status_code == 422
    assert wrong_fields(again) == ["name"]
    assert LabelSheet.objects.get(code=made["code"]).columns == 2


# ------------------------------------------------------------------------------- prices


def test_prices_are_set_changed_by_percent_as_they_were_seen_and_ended(send, read):
    builders.product("One pound", code="1-lb")
    day = builders.today().isoformat()
    wanted = {"stand": {"piece_cents": 1_000, "case_cents": 11_000}, "shop": {"piece_cents": 700}}

    made = send("products/1-lb/prices/", {"wanted": wanted, "valid_from": day})
    lower = {"tier": "stand", "min_pieces": 6, "piece_cents": 950, "valid_from": day}
    send("products/1-lb/price-breaks/", lower)
    later = (builders.today() + timedelta(days=30)).isoformat()
    asked = {"percent": "10", "ending": "cent", "valid_from": later}
    query = f"tiers=shop&percent=10&ending=cent&valid_from={later}"
    seen = read(f"price-changes/?{query}").json()
    stale = send("price-changes/", asked | {"tiers": ["shop"], "seen": "otherwise"})
    changed = send("price-changes/", asked | {"tiers": ["shop"], "seen": seen["fingerprint"]})

    assert [(row["tier"], row["piece_cents"]) for row in made.json()] == [
        ("stand", 1_000),
        ("shop", 700),
    ]
    assert [row["new_piece_cents"] for row in seen["changes"]] == [770]
    assert stale.status_code == 409
    assert [row["piece_cents"] for row in changed.json()] == [770]
    assert PiecePrice.objects.filter(tier="shop").count() == 2


def test_a_price_that_cannot_be_is_named_in_its_tier(send):
    builders.product("One pound", code="1-lb")
    wanted = {"stand": {"piece_cents": 100, "case_cents": 100_000}}

    said = send(
        "products/1-lb/prices/", {"wanted": wanted, "valid_from": builders.today().isoformat()}
    )

    assert wrong_fields(said) == ["wanted.stand.case_cents"]


def test_prices_by_weight_in_drums_and_taxes_of_products_are_set(send):
    builders.product("One pound", code="1-lb")
    day = builders.today().isoformat()

    drums = send("bulk-prices-set/", {"price_per_pound": "2.15", "valid_from": day})
    pound = send(
        "weight-prices-set/", {"tier": "stand", "price_per_pound": "8.50", "valid_from": day}
    )
    taxed = send("products/1-lb/tax/", {"taxed_as": "other"}, method="put")

    assert drums.json()["price_per_pound"] == "2.1500"
    assert pound.json()["tier"] == "stand"
    assert taxed.json()["taxed_as"] == "other"


def test_costs_of_selling_filling_and_a_season_are_kept(send, tank):
    lot = builders.lot_in(tank, 10_000)
    product = builders.product("One pound", code="1-lb")
    channel = {"discount_percent": "2", "card_percent": "1.5", "piece_cents": 10, "per_pound": "0"}

    send("channel-costs/stand/", channel, method="put")
    rows = [{"product": "1-lb", "minutes": "1.5"}, {"product": "1-lb", "minutes": "61"}]
    times = send("filling-times/", {"minutes": rows[:1]}, method="put")
    wrong = send("filling-times/", {"minutes": rows[1:]}, method="put")
    spent = send(f"seasons/{lot.season}/expenses/", {"category": "feed", "amount_cents": 5_000})
    spread = send(f"seasons/{lot.season}/spread/")
    removed = send(f"season-expenses/{spent.json()['id']}/remove/")

    assert ChannelCost.objects.get().piece_cents == 10
    assert times.json()[0]["minutes_each"] == "1.500"
    assert wrong_fields(wrong) == ["minutes.0.minutes"]
    assert product.filling_time.minutes_each == Decimal("1.5")
    assert [row["cost_cents"] for row in spread.json()] == [5_000]
    assert removed.status_code == 204
    assert send("channel-costs/moon/", channel, method="put").status_code == 404


def test_services_are_added_and_changed(send):
    added = send("services-added/", {"name": "Moving hives", "unit": "hive"}).json()
    body = {"name": "Moving", "unit": "hive", "usual_price": "12.5", "unit_cost": None}
    body |= {"taxed_as": "services", "is_active": False}

    changed = send(f"services/{added['code']}/change/", body).json()

    assert (changed["name"], changed["is_active"]) == ("Moving", False)
    assert len(send("usual-services/").json()) > 1


# --------------------------------------------------------------------- customers and sales


def test_a_customer_is_added_changed_and_erased(send):
    made = send("customers-added/", {"name": "Mill Bakery", "terms_days": 10}, role="office")
    again = send("customers-added/", {"name": "Mill Bakery"}, role="office")
    pk = made.json()["id"]
    changed = send(f"customers/{pk}/change/", {"phone": "555 0100"}, role="office")
    erased = send(f"customers/{pk}/erase/", {"asked": "By e-mail on November 3"}, key="e")
    again_erased = send(f"customers/{pk}/erase/", {"asked": "By e-mail on November 3"}, key="e")

    assert made.json()["terms_days"] == 10
    assert wrong_fields(again) == ["name"]
    assert changed.json()["terms_days"] == 10
    assert erased.status_code == 201
    assert again_erased.content == erased.content
    assert Customer.objects.get(pk=pk).phone == ""


def test_who_may_not_change_customers_on_a_page_may_not_here(send):
    assert send("customers-added/", {"name": "X"}, role="stand").status_code == 403


@pytest.fixture
def till():
    stand = builders.place("stand", Place.Kind.STAND)
    product = builders.product("One pound", code="1-lb")
    builders.packed_lot(product, stand, 100)
    prices.set_piece(
        product=product, tier=Customer.Tier.STAND, piece_cents=950, valid_from=builders.today()
    )
    return product


SALE = {"place": "stand", "lines": [{"product": "1-lb", "pieces": 2}], "method": "card"}


def test_a_sale_of_today_is_undone_at_the_stand(send, till):
    send("stand-sales/", SALE, role="stand")
    sale = StandSale.objects.get()

    note = send(f"invoices/{sale.receipt_id}/undo-sale/", {"reason": "Wrong jar"}, role="stand")

    assert note.status_code == 201
    assert note.json()["total_cents"] == -1_900
    assert Balance.objects.get(place__code="stand").quantity == 100


def test_what_a_till_could_not_send_is_given_to_the_office_and_booked(send, read, till):
    body = {
        "place": "gone",
        "lines": [{"product": "gone", "pieces": 1, "unit_price": "9.50"}],
        "payments": [{"method": "card"}],
        "sold_at": builders.today().isoformat() + "T00:00:01+00:00",
    }
    given = send("handed-in-sales/", {"key": "k", "body": body, "text": "1 jar"}, role="stand")
    again = send("handed-in-sales/", {"key": "k", "body": body, "text": "1 jar"}, role="stand")
    pk = given.json()["id"]
    right = {"place": "stand", "lines": [{"product": "1-lb", "pieces": 1, "unit_price": "9.50"}]}

    short = send(f"handed-in-sales/{pk}/book/", right | {"lines": []}, role="office")
    booked = send(f"handed-in-sales/{pk}/book/", right, role="office")
    twice = send(f"handed-in-sales/{pk}/set-aside/", {"note": "Twice"}, role="office")

    assert again.json()["id"] == pk
    assert wrong_fields(short) == ["lines"]
    assert booked.status_code == 201, booked.content
    assert booked.json()["total_cents"] == 950
    assert twice.status_code == 409
    assert read("handed-in-sales/", role="office").json()["results"] == []
    settled = read("handed-in-sales/settled/", role="office").json()["results"]
    assert [row["receipt"] for row in settled] == [booked.json()["receipt"]]


def test_a_sale_that_its_till_sends_after_all_settles_what_was_handed_in(send, till):
    send("handed-in-sales/", {"key": "k", "body": {}, "text": "2 jars"}, role="stand")

    sold = send("stand-sales/", SALE, role="stand", key="k")

    assert sold.status_code == 201
    assert HandedInSale.objects.get().sale == StandSale.objects.get()


def test_marks_are_seen(send, till):
    send("stand-sales/", SALE, role="stand")
    sale = StandSale.objects.get()
    sale.marks.create(kind="short", text="2 more than the books had")

    count_seen = send("short-sales-seen/", {"sales": [sale.pk]}, role="office").json()["count"]
    seen = send(f"invoices/{sale.receipt_id}/marks-seen/", {"note": "Counted"}, role="office")

    assert count_seen == 1
    assert [mark["seen_by"] for mark in seen.json()["marks"]] == ["Office"]


def order(send, customer, pieces=10):
    line = {"kind": "packed", "product": "1-lb", "quantity": pieces, "unit_price": "6.00"}
    body = {"customer": customer.pk, "channel": "shop", "lines": [line]}
    made = send("orders-taken/", body, role="office")
    assert made.status_code == 201, made.content
    return made.json()["number"]


def test_an_order_is_handed_over_billed_and_paid_from_the_account(send, till):
    shop = builders.customer("Corner Grocery", terms_days=30)
    number = order(send, shop)
    send(f"orders/{number}/hand-over/", role="office")
    paid = {"customer": shop.pk, "amount_cents": 2_000, "method": "check"}
    paid |= {"received_on": builders.today().isoformat()}
    assert send("payments/", paid, role="office").status_code == 201

    other = send(f"orders/{number}/invoice/", {"expected_total_cents": 1}, role="office")
    bill = send(f"orders/{number}/invoice/", {"expected_total_cents": 6_000}, role="office")
    used = send(f"invoices/{bill.json()['id']}/use-on-account/", role="office")

    assert other.status_code == 409
    assert bill.status_code == 201, bill.content
    assert bill.json()["total_cents"] == 6_000
    assert used.json()["open_cents"] == 4_000


def test_a_hand_over_is_undone(send, till):
    number = order(send, builders.customer())
    made = send(f"orders/{number}/hand-over/", role="office").json()
    body = {"reason": "Not collected", "had_left": False}

    undone = send(f"fulfilments/{made['id']}/undo/", body, role="office")

    assert undone.status_code == 200, undone.content
    assert [line["filled"] for line in undone.json()["lines"]] == [0]
    assert Balance.objects.get(place__code="stand").quantity == 100


# ------------------------------------------------------------------------ house and people


def test_the_house_and_how_it_works_are_read_and_changed(send, read):
    before = read("house/").json()

    said = send("house/", {"phone": "555 0101", "drum_deposit_cents": 2_500})
    wrong = send("house/", {"bank_code": "no code"})
    works = read("production-settings/").json() | {"labour_cents_per_hour": 2_400}
    kept = send("production-settings/", works, method="put", replaces=True)
    page = read("jar-page/").json() | {"is_on": True, "region": "Hill country"}
    shown = send("jar-page/", page, method="put", replaces=True)

    assert said.json() == before | {"phone": "555 0101", "drum_deposit_cents": 2_500}
    assert wrong_fields(wrong, 400) == ["bank_code"]
    assert kept.json() == works
    assert shown.json() == page


def test_a_logo_is_printed_and_taken_off(client, send):
    logo = {"file": upload("logo.png", image("PNG"))}
    headers = {"Authorization": builders.authorization("owner"), "Idempotency-Key": "logo"}

    set_now = client.post("/api/v1/house/logo/", logo, headers=headers)

    assert set_now.status_code == 204, set_now.content
    assert House.current().logo
    assert send("house/logo-remove/").status_code == 204
    assert not House.current().logo


def test_the_steps_of_the_set_up_are_those_of_its_pages(send, read):
    assert read("set-up/").json()["steps"] == [step.slug for step in steps.STEPS]
    assert tuple(step.slug for step in steps.STEPS) == set_up.STEPS

    send("set-up/steps/tanks/save/")
    send("set-up/steps/numbers/leave/")
    day = builders.today().isoformat()
    send("set-up/books-begin/", {"begins_on": day}, method="put")
    ended = send("set-up/end/").json()

    assert (ended["steps_done"], ended["steps_left"]) == (["tanks"], ["numbers"])
    assert (ended["begins_on"], SetUp.current().ended_at is not None) == (day, True)
    assert send("set-up/steps/moon/leave/").status_code == 404


def test_a_person_is_added_with_a_good_password_and_switched_off(send):
    body = {"username": "lena", "name": "Lena Brook", "role": "stand"}

    weak = send("people-added/", body | {"password": "12345678"})
    made = send("people-added/", body | {"password": "clover-and-comb-9"})
    pk = made.json()["id"]

    assert set(wrong_fields(weak, 400)) == {"password"}
    assert made.status_code == 201
    assert "password" not in made.json()
    assert send(f"people/{pk}/role/", {"role": "office"}).json()["role"] == "office"
    send(f"people/{pk}/role/", {"role": "stand"})
    assert send(f"people/{pk}/email/", {"email": "lena@house.example"}).status_code == 200
    assert send(f"people/{pk}/pin/", {"pin": "2580"}).status_code == 200
    assert SellerPin.objects.get().person_id == pk
    assert send(f"people/{pk}/switch-off/").json()["is_active"] is False
    assert send(f"people/{pk}/switch-on/").json()["is_active"] is True
    changed = send(f"people/{pk}/password/", {"password": "another-good-one-7"})
    assert changed.status_code == 200
    assert User.objects.get(pk=pk).check_password("another-good-one-7")


def test_the_last_owner_stays(send):
    owner = builders.person("owner")

    assert send(f"people/{owner.pk}/switch-off/").status_code == 409
    assert send("people-added/", {}, role="office").status_code == 403


def test_ones_own_pin_and_address_take_the_password(send):
    builders.person("stand")

    refused = send("account/pin/", {"pin": "2580", "current_password": "no"}, role="stand")
    made = send("account/pin/", {"pin": "2580", "current_password": "stand"}, role="stand")
    kept = send(
        "account/email/",
        {"email": "s@house.example", "current_password": "stand"},
        role="stand",
    )

    assert wrong_fields(refused, 400) == ["current_password"]
    assert made.json()["person"] == "stand"
    assert kept.json()["email"] == "s@house.example"


# ---------------------------------------------------------------------- lists, plans, work


def uploaded(client, rows, *, kind="customers", role="office", key="up"):
    sent = {"kind": kind, "file": file_of(rows), "decimal_sign": ".", "day_order": "mdy"}
    headers = {"Authorization": builders.authorization(role), "Idempotency-Key": key}
    return client.post("/api/v1/imports/", sent, headers=headers)


def test_a_list_is_uploaded_matched_checked_brought_in_and_undone(client, send, read):
    rows = [["Shop", "Plan"], ["Mill Bakery", "shop"], ["Corner Grocery", "nonsense"]]
    begun = uploaded(client, rows)
    assert begun.status_code == 201, begun.content
    path = f"imports/{begun.json()['id']}"

    wrong = send(f"{path}/columns/", {"columns": {"tier": 1}}, method="put", role="office")
    columns = {"columns": {"name": 0, "tier": 1}}
    send(f"{path}/columns/", columns, method="put", role="office")
    checked = send(f"{path}/check/", role="office")
    bad = read(f"{path}/bad-rows/", role="office").json()["results"]
    refused = send(f"{path}/bring-in/", role="office")
    made = send(f"{path}/bring-in/", {"without_bad_rows": True}, role="office")
    there = list(Customer.objects.values_list("name", flat=True))
    undone = send(f"{path}/undo/", {"reason": "A trial"}, role="office")

    assert wrong.status_code == 422
    assert (checked.json()["state"], checked.json()["rows_bad"]) == ("checked", 1)
    assert [(row["number"], row["problems"][0][0]) for row in bad] == [(3, "tier")]
    assert refused.status_code == 422
    assert (made.json()["state"], there) == ("complete", ["Mill Bakery"])
    assert undone.json()["state"] == "undone"
    assert not Customer.objects.exists()


def test_a_kind_of_list_that_a_person_may_not_bring_in_is_refused(client):
    answer = uploaded(client, [["Name"], ["One"]], kind="products")

    assert answer.status_code == 403
    assert not Import.objects.exists()


def test_a_list_is_dropped(client, send):
    begun = uploaded(client, [["Shop"], ["Mill Bakery"]]).json()

    assert send(f"imports/{begun['id']}/drop/", role="office").status_code == 204
    assert Import.objects.get().state == Import.State.DROPPED


@pytest.mark.parametrize("path", ["backups/", "exports/"])
def test_long_work_is_answered_with_the_address_of_its_progress(send, read, path):
    begun = send(path)

    assert begun.status_code == 202
    assert begun["Location"] == begun.json()["url"]
    work = begun.json()["id"]
    assert read(f"work/{work}/").json()["state"] == "waiting"
    # Nobody else is told of it, and nobody else may begin it.
    assert read(f"work/{work}/", role="office").status_code == 404
    assert send(path, role="office").status_code == 403
    assert send(f"work/{work}/stop/").json()["state"] == "stopped"
    assert send(f"work/{work}/stop/").status_code == 409
    assert read(f"work/{work}/file/").status_code == 404


def test_a_report_is_written_to_a_file_by_long_work(
    settings, tmp_path, send, read, django_capture_on_commit_callbacks
):
    settings.TASKS = {"default": {"BACKEND": "django_tasks.backends.immediate.ImmediateBackend"}}
    settings.FILES_DIR = tmp_path
    slug = read("reports/").json()[0]["slug"]

    with django_capture_on_commit_callbacks(execute=True):
        begun = send(f"reports/{slug}/files/", {"ending": "csv"})

    work = read(f"work/{begun.json()['id']}/").json()
    assert (begun.status_code, work["state"]) == (202, "done")
    assert work["file"].endswith(f"/api/v1/work/{work['id']}/file/")
    file = read(f"work/{work['id']}/file/")
    assert file["Content-Type"] == "text/csv"


def test_papers_are_printed_and_the_export_deleted(send, read, till):
    send("stand-sales/", SALE)
    receipt = StandSale.objects.get().receipt_id
    shop = builders.customer()
    day = builders.today().isoformat()

    printed = send("invoices-printed/", {"invoices": [receipt]})
    statements = send("statements-printed/", {"customers": [shop.pk], "since": day, "until": day})

    assert (printed.json()["kind"], statements.json()["kind"]) == ("invoices", "statements")
    assert read("exports/file/").status_code == 404
    assert send("exports/delete/").status_code == 204


def test_a_plan_is_searched_and_its_runs_are_made(send, tank):
    builders.lot_in(tank, 20_000)
    builders.place("shelf", Place.Kind.SHELF)
    builders.product("One pound", code="1-lb")
    body = {
        "drafts": [{"source": "tank-1", "product": "1-lb", "pieces": 12}],
        "target": "shelf",
        "planned_for": builders.today().isoformat(),
        "newest_seen": 0,
    }

    begun = send("bottling-plan/search/", {"figures": {"months": "6"}})
    runs = send("bottling-plan/runs/", body)
    short = send("bottling-plan/runs/", body, key="other")

    assert begun.status_code == 202
    assert LongWork.objects.get().kind == "plan"
    assert [run["product"] for run in runs.json()] == ["1-lb"]
    # Somebody has planned the same since.
    assert short.status_code == 422
    assert BottlingRun.objects.count() == 1


@pytest.mark.parametrize("months", ["99", "x", "1e1"])
def test_a_plan_over_months_that_can_not_be_chosen_is_refused(read, months):
    answer = read(f"bottling-plan/?months={months}")

    assert (answer.status_code, [one["field"] for one in answer.json()["errors"]]) == (
        400,
        ["months"],
    )


def test_what_the_owner_expects_of_the_season_is_kept(send, read):
    figures = read("season-outlook/").json()

    said = send(
        "season-outlook/",
        figures | {"hours": "40", "hours_by_month": {"7": "60"}, "room_grams": 500_000},
        method="put",
        replaces=True,
    )
    wrong = send(
        "season-outlook/",
        figures | {"hours_by_month": {"13": "1"}},
        method="put",
        replaces=True,
    )

    assert said.status_code == 200, said.content
    kept = SeasonOutlook.current()
    assert (kept.hours, kept.hours_by_month, kept.room_grams) == (40, {"7": "60.00"}, 500_000)
    assert wrong_fields(wrong, 400) == ["hours_by_month"]
