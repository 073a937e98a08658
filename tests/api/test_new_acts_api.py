"""Acts of the honey house through the API: each calls the service of its page."""

from datetime import date, timedelta
from decimal import Decimal
from itertools import count

import pytest
from django.utils import timezone

from apiary_sales.billing.models import Invoice
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Recall
from apiary_sales.pricing.models import PrivateLabel
from apiary_sales.pricing.services import service_list
from inventory.bottling.models import (
    BottlingRun,
    Brand,
    GoodsMade,
    GoodsReceipt,
    JarPage,
    LabelSheet,
    PackagingPart,
    Product,
    ReturnedJars,
)
from inventory.bottling.services import returned_jars
from inventory.stock.models import Balance, Lot, Measurement, Place, Supplier
from inventory.stock.queries import books
from tests import builders
from tests.inventory import bottling_room, forms_room, jar_room, others_room, printed

pytestmark = pytest.mark.django_db

TODAY = builders.today


@pytest.fixture
def send(client):
    keys = (f"sent-{number}" for number in count())

    def make(path, body=None, *, role="owner", key=None):
        client.force_login(builders.person(role))
        return client.post(
            f"/api/v1/{path}",
            {} if body is None else body,
            content_type="application/json",
            headers={"Idempotency-Key": key or next(keys)},
        )

    return make


@pytest.fixture
def read(client):
    def make(path, *, role="owner", **query):
        client.force_login(builders.person(role))
        return client.get(f"/api/v1/{path}", query)

    return make


def made(answer, status=201):
    assert answer.status_code == status, answer.content
    return answer.json()


def fields(answer):
    assert answer.status_code in (400, 409, 422), answer.content
    return [error["field"] for error in answer.json()["errors"]]


def there(lot: Lot, place: Place) -> int:
    return forms_room.there(lot, place)


# ------------------------------------------------------------------ products


def test_a_honey_is_added_with_a_new_variety_and_a_part_of_its_own(send, read):
    size = builders.size()
    label = builders.part("Buckwheat label", PackagingPart.Kind.LABEL)
    body = {
        "size": size.code,
        "new_variety": "Buckwheat",
        "new_floral_source": "buckwheat",
        "new_brand": "Harrow Lane",
        "gtin": "4006381333931",
        "parts": [{"part": label.code}],
    }

    said = made(send("honey-products/", body))

    product = Product.objects.get(code=said["code"])
    assert (product.variety.floral_source, product.brand.name) == ("buckwheat", "Harrow Lane")
    assert [use.part for use in product.product_parts.all()] == [label]
    assert read(f"products/{product.code}/").json() == said
    assert [row["name"] for row in read("varieties/").json()["results"]] == ["Buckwheat"]
    assert [row["name"] for row in read("brands/").json()["results"]] == ["Harrow Lane"]
    assert fields(send("honey-products/", body)) == ["name", "variety", "gtin"]
    wrong = {"size": size.code, "form": "creamed", "gtin": "4006381333932"}
    assert fields(send("honey-products/", wrong)) == ["gtin"]


def test_goods_and_a_gift_box_are_added(send):
    jar = builders.product()
    candle = made(send("goods/", {"name": "Candle", "low_stock": 3}))
    contents = [{"product": jar.code, "pieces": 2}, {"product": candle["code"]}]

    box = made(send("gift-boxes/", {"name": "Winter box", "contents": contents}))

    found = Product.objects.get(code=box["code"])
    assert [(line.product.name, line.quantity) for line in found.contents.all()] == [
        ("One pound", 2),
        ("Candle", 1),
    ]
    assert fields(send("goods/", {"name": "Candle"})) == ["name"]
    twice = [{"product": jar.code}, {"product": jar.code}]
    assert fields(send("gift-boxes/", {"name": "Two", "contents": twice})) == ["contents.1.product"]


def test_a_brand_is_sold_to_one_customer_and_to_everybody_again(send):
    brand = Brand.objects.create(name="Harrow Lane")
    shop = builders.customer()
    path = f"brands/{brand.pk}/customer/"

    assert made(send(path, {"customer": shop.pk}), 200)["customer_id"] == shop.pk
    assert PrivateLabel.objects.get().customer == shop
    assert fields(send(path, {"customer": shop.pk + 1})) == ["customer"]
    assert send(path, {"customer": None}, role="bottling").status_code == 403
    assert made(send(path, {"customer": None}), 200)["customer"] is None
    assert not PrivateLabel.objects.exists()


# ------------------------------------------------------------------ runs


def plan_body(room, **changes):
    return {
        "product": room.product.code,
        "source": room.tank.code,
        "target": room.shelf.code,
        "pieces": 96,
        "planned_for": TODAY().isoformat(),
        "celsius": "32.0",
        "lot_code": "A-17",
        **changes,
    }


RECORDED = {"pieces_filled": 96, "pieces_broken": 2, "drawn_grams": 45_000, "loss_grams": 500}


def test_a_run_is_planned_read_recorded_and_listed(send, read):
    room = bottling_room.set_up()

    planned = made(send("runs/", plan_body(room)))
    recorded = made(send(f"runs/{planned['number']}/record/", RECORDED), 200)

    run = BottlingRun.objects.get()
    assert (planned["status"], planned["lot_code"]) == ("planned", "A-17")
    assert (run.status, run.drawn_grams, run.labour_minutes) == ("recorded", 45_000, None)
    assert there(run.packed_lot, room.shelf) == 96
    assert read(f"runs/{run.number}/", role="stand").json() == recorded
    assert read("runs/").json()["results"] == [recorded]
    assert list(books.faults()) == []


def test_a_plan_sent_again_names_its_run(send):
    room = bottling_room.set_up()
    first = made(send("runs/", plan_body(room), key="once"))

    again = send("runs/", plan_body(room), key="once")

    assert (again.status_code, again.json()) == (201, first)
    assert BottlingRun.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "named"),
    [
        ({"pieces": 5_000}, "pieces"),
        ({"lot_code": "A 17?"}, "lot_code"),
        ({"source": "shelf"}, "source"),
        ({"comb": {"lot": 999_999, "place": "shelf"}}, "comb.lot"),
        ({"celsius": "32,5"}, "celsius"),
    ],
)
def test_what_is_wrong_with_a_plan_is_named(send, changes, named):
    room = bottling_room.set_up()

    assert named in fields(send("runs/", plan_body(room, **changes)))
    assert not BottlingRun.objects.exists()


def test_far_more_honey_than_the_jars_hold_is_asked_about(send):
    run = bottling_room.plan(bottling_room.set_up())
    body = {**RECORDED, "drawn_grams": 60_000, "loss_grams": 0}

    assert fields(send(f"runs/{run.number}/record/", body)) == ["figures_are_right"]


def test_a_planned_run_is_cancelled_once_and_not_by_the_stand(send):
    run = bottling_room.plan(bottling_room.set_up())
    path = f"runs/{run.number}/cancel/"

    assert send(path, {}, role="stand").status_code == 403
    assert made(send(path, {"reason": "no lids"}), 200)["status"] == "cancelled"
    assert send(path, {}).status_code == 409


def test_creamed_honey_with_seed_is_planned_and_said_to_be_ready(send):
    room = bottling_room.set_up()
    seed, _lot = forms_room.seed_in()
    product = forms_room.honey_of(room.size, Product.Form.CREAMED)
    body = plan_body(room, product=product.code, pieces=10, seed_source=seed.code, seed_percent=10)
    run = made(send("runs/", body))
    figures = {"pieces_filled": 10, "drawn_grams": 4_500}
    made(send(f"runs/{run['number']}/record/", figures | {"figures_are_right": True}), 200)
    path = f"lots/A-17/{product.code}/ready/"

    assert made(send(path), 200)["ready_on"] == TODAY().isoformat()
    assert BottlingRun.objects.get().creaming.hastened_by == builders.person("owner")
    assert send(path).status_code == 409


# ------------------------------------------------------------------ jars


@pytest.fixture
def jars():
    return jar_room.set_up()


def filled(jars, product) -> Lot:
    planned = bottling_room.plan(jars.room, product=product, lot_code="A-17")
    return bottling_room.record(planned).packed_lot


def test_jars_without_a_label_get_one(send, jars):
    lot = filled(jars, jars.unlabelled)
    path = f"lots/A-17/{lot.what}/label/"
    body = {"place": "shelf", "product": jars.branded.code, "pieces": 40}

    said = made(send(path, body, key="once"))

    labelled = Lot.objects.get(code="A-17", product=jars.branded)
    assert (said["act"], said["pieces"], said["grams"]) == ("label", 40, None)
    assert (there(labelled, jars.shelf), there(lot, jars.shelf)) == (40, 56)
    assert made(send(path, body, key="once")) == said
    assert fields(send(path, {**body, "pieces": 57})) == ["pieces"]
    assert send(path, body, role="stand").status_code == 403
    assert there(labelled, jars.shelf) == 40


def test_jars_are_emptied_into_a_pail_and_washed_jars_go_back(send, jars):
    lot = filled(jars, jars.own)
    jar = jars.room.jar
    before = Balance.objects.get(item=jar.item, place=jars.shelf).quantity
    body = {
        "place": "shelf",
        "pieces": 10,
        "grams": 4_400,
        "vessel": "pail",
        "parts_back": [{"part": jar.code, "pieces": 9}],
    }
    path = f"lots/A-17/{lot.what}/empty/"

    said = made(send(path, body))

    assert (said["pieces"], said["grams"]) == (None, 4_400)
    assert Balance.objects.in_vessel(jars.pail).quantity == 4_400
    assert Balance.objects.get(item=jar.item, place=jars.shelf).quantity == before + 9
    assert fields(send(path, {**body, "parts_back": [{"part": jar.code, "pieces": 11}]})) == [
        "parts_back"
    ]
    twice = [{"part": jar.code, "pieces": 1}] * 2
    assert fields(send(path, {**body, "parts_back": twice})) == ["parts_back"]
    assert list(books.faults()) == []


def test_jars_that_came_back_wait_are_released_and_written_off(send, read, jars):
    lot = filled(jars, jars.own)
    body = {"place": "shelf", "pieces": 6, "reason": "from the market, box open"}

    elsewhere = send(f"lots/A-17/{lot.what}/came-back/", body, role="stand")
    kept = made(send(f"lots/A-17/{lot.what}/came-back/", body, role="bottling"))
    path = f"returned-jars/{kept['id']}/decide/"
    release = {"decision": "released", "pieces": 4, "target": "shelf", "reason": "all sealed"}

    # Who sells at the stand has no business at a shelf.
    assert fields(elsewhere) == ["place"]
    assert read("returned-jars/", role="stand").json()["results"] == []
    assert [row["id"] for row in read("returned-jars/").json()["results"]] == [kept["id"]]
    # Whoever writes off may not release.
    assert send(path, release, role="stand").status_code == 403
    assert fields(send(path, {**release, "reason": ""})) == ["reason"]
    assert fields(send(path, {**release, "target": None})) == ["target"]
    assert made(send(path, release, role="office"), 200)["decision"] == "released"
    assert there(lot, jars.shelf) == 94
    [rest] = read("returned-jars/").json()["results"]
    written_off = {"decision": "spoiled", "pieces": 2}
    made(send(f"returned-jars/{rest['id']}/decide/", written_off, role="bottling"), 200)
    assert sorted(ReturnedJars.objects.values_list("decision", "pieces")) == [
        ("released", 4),
        ("spoiled", 2),
    ]
    assert read("returned-jars/").json()["results"] == []


def test_jars_are_kept_apart_and_decided_about_on_the_days_that_are_sent(send, jars):
    lot = bottling_room.recorded(jars.room, bottled_on=days_ago(9)).packed_lot
    body = {"place": "shelf", "pieces": 6, "reason": "from the market, box open"}
    body["set_aside_on"] = days_ago(5).isoformat()
    kept = made(send(f"lots/{lot.code}/{lot.what}/came-back/", body, role="bottling"))
    path = f"returned-jars/{kept['id']}/decide/"
    decided = {"decision": "spoiled", "pieces": 6}

    early = send(path, decided | {"decided_on": days_ago(6).isoformat()}, role="bottling")
    elsewhere = send(path, decided, role="stand")
    made(send(path, decided | {"decided_on": days_ago(4).isoformat()}, role="bottling"), 200)

    assert fields(early) == ["decided_on"]
    # Who sells at the stand decides about what came back there.
    assert elsewhere.status_code == 422
    returned = ReturnedJars.objects.get()
    assert timezone.localdate(returned.set_aside.occurred_at) == days_ago(5)
    assert timezone.localdate(returned.decided.occurred_at) == days_ago(4)


def days_ago(count: int) -> date:
    return builders.today() - timedelta(days=count)


def test_who_may_neither_write_off_nor_release_decides_nothing(send, jars):
    lot = filled(jars, jars.own)
    kept = returned_jars.set_aside(
        lot=lot,
        place=jars.shelf,
        pieces=1,
        reason="came back",
        recorded_by=builders.person(),
        key="k",
    )
    office = {"decision": "spoiled", "pieces": 1}
    path = f"returned-jars/{kept.pk}/decide/"
    builders.person("stand").groups.clear()

    assert send(path, office, role="stand").status_code == 403
    # As on the page, the office comes to it by its right to release.
    assert made(send(path, office, role="office"), 200)["decision"] == "spoiled"


def test_gift_boxes_are_put_together_and_taken_apart(send, jars):
    lot = filled(jars, jars.own)
    box = jar_room.box(jars)
    path = f"gift-boxes-made/{box.code}/"

    said = made(send(path, {"place": "shelf", "boxes": 10, "lot_code": "BOX-1"}))

    boxed = Lot.objects.get(code="BOX-1")
    assert (said["lot"], said["changed"][0]["pieces"]) == ("BOX-1", 20)
    assert (there(boxed, jars.shelf), there(lot, jars.shelf)) == (10, 76)
    wrong = [{"lot": lot.pk, "pieces": 3}]
    assert fields(send(path, {"place": "shelf", "boxes": 1, "lots": wrong})) == ["lots"]
    assert fields(send(path, {"place": "shelf", "boxes": 39})) == ["boxes"]
    apart = {"place": "shelf", "boxes": 4, "lots": [{"lot": lot.pk, "pieces": 8}]}
    made(send(f"lots/BOX-1/{box.code}/take-apart/", apart))
    assert (there(boxed, jars.shelf), there(lot, jars.shelf)) == (6, 84)
    assert list(books.faults()) == []


# ------------------------------------------------------------------ comb and goods


def test_comb_by_weight_is_received_and_cut(send):
    shelf = builders.place("shelf", Place.Kind.SHELF)
    builders.place("pail-1", Place.Kind.PAIL)
    by_weight, by_piece = forms_room.comb_by_weight(), forms_room.comb_by_piece()
    received = {
        "product": by_weight.code,
        "place": "shelf",
        "grams": 8_000,
        "season": 2026,
        "floral_source": "Basswood",
        "harvested_on": "2026-08-01",
    }

    comb = made(send("comb-receipts/", received, key="once"))
    cut = {
        "comb": {"lot": comb["id"], "place": "shelf"},
        "comb_grams": 3_500,
        "product": by_piece.code,
        "pieces": 10,
        "target": "shelf",
        "drained_grams": 400,
        "vessel": "pail-1",
        "moisture_percent": "17.5",
    }
    said = made(send("comb-cuts/", cut))

    assert (comb["quantity_made"], comb["unit"]) == (8_000, "grams")
    assert there(Lot.objects.get(pk=comb["id"]), shelf) == 4_500
    assert there(Lot.objects.get(pk=said["lot"]["id"]), shelf) == 10
    assert Lot.objects.get(code=said["drained_lot"]).quantity_made == 400
    assert made(send("comb-receipts/", received, key="once")) == comb
    assert fields(send("comb-receipts/", {**received, "pieces": 3})) == ["pieces"]
    more = {**cut, "comb_grams": 4_501, "figures_are_right": True}
    assert fields(send("comb-cuts/", more)) == ["comb_grams"]
    assert fields(send("comb-cuts/", {**cut, "vessel": None})) == ["vessel"]
    assert list(books.faults()) == []


def test_goods_are_received_and_made_of_others(send):
    shelf = builders.place("shelf", Place.Kind.SHELF)
    wax = builders.goods("Beeswax", is_weighed=True)
    candle = builders.goods("Candle")
    wick = builders.part("Wick", PackagingPart.Kind.OTHER)
    bottling_room.receive(wick, shelf, 50, 500)
    received = {
        "product": wax.code,
        "place": "shelf",
        "grams": 5_000,
        "cost_cents": 6_000,
        "supplier": "Valley Wax Works",
        "received_on": TODAY().isoformat(),
        "maker_lot": "W-1",
    }

    said = made(send("goods-receipts/", received, key="once"))
    making = {
        "product": candle.code,
        "place": "shelf",
        "pieces": 20,
        "made_on": TODAY().isoformat(),
        "materials": [
            {"product": wax.code, "grams": 2_000, "lost_grams": 100},
            {"part": wick.code, "pieces": 20},
        ],
    }
    candles = made(send("goods-made/", making))

    assert (said["lot"], said["quantity"], said["unit"]) == ("W-1", 5_000, "grams")
    assert (candles["quantity"], candles["unit"]) == (20, "pieces")
    assert GoodsReceipt.objects.get().cost_cents == 6_000
    assert Balance.objects.get(item=wax.item, place=shelf).quantity == 3_000
    # 2,000 of 5,000 g for 60.00, and 20 of 50 wicks for 5.00.
    assert GoodsMade.objects.get().materials_cents == 2_400 + 200
    assert made(send("goods-receipts/", received, key="once")) == said
    assert fields(send("goods-receipts/", {**received, "grams": None})) == ["grams"]
    assert fields(send("goods-made/", {**making, "pieces": 10**9})) == ["pieces"]
    wrong = [{"product": wax.code, "pieces": 2}, {"pieces": 2}]
    assert fields(send("goods-made/", {**making, "materials": wrong})) == [
        "materials.0.pieces",
        "materials.1.product",
    ]
    more = [{"part": wick.code, "pieces": 1}, {"product": wax.code, "grams": 3_001}]
    assert fields(send("goods-made/", {**making, "materials": more})) == ["materials.1.grams"]
    lost = [{"part": wick.code, "pieces": 1, "lost_pieces": 2}]
    assert fields(send("goods-made/", {**making, "materials": lost})) == ["materials.0.lost_pieces"]
    itself = [{"product": candle.code, "pieces": 1}]
    assert fields(send("goods-made/", {**making, "materials": itself})) == ["materials.0.product"]
    assert send("goods-made/", making, role="office").status_code == 403


# ------------------------------------------------------------------ honey from others


def arrival(*vessels, **changes):
    return {
        "vessels": list(vessels),
        "floral_source": "Rosemary",
        "season": 2026,
        "received_on": "2026-09-01",
        "moisture_percent": "17.0",
        **changes,
    }


def test_a_supplier_is_added_and_listed(send, read):
    body = {"name": "Olmo Honey", "kind": "producer", "country": "ES"}

    said = made(send("suppliers/", body))

    assert Supplier.objects.get().country == "ES"
    assert read("suppliers/").json()["results"] == [said]
    assert fields(send("suppliers/", body)) == ["name"]
    assert read("suppliers/", role="stand").status_code == 403


def test_bought_honey_is_received_with_its_cost(send):
    builders.place("drum-1", Place.Kind.DRUM)
    vessel = {"place": "drum-1", "gross_grams": 310_000, "tare_grams": 10_000}
    body = arrival(vessel, supplier="Olmo Honey", country="ES", cost_cents=90_000)

    said = made(send("purchases/", body, key="once"))

    lot = Lot.objects.get(pk=said["id"])
    assert (lot.kind, lot.quantity_made, lot.cost_cents) == ("bought", 300_000, 90_000)
    assert (said["supplier"], said["country"]) == ("Olmo Honey", "ES")
    # Said before the full vessel is weighed against what it holds by now.
    assert made(send("purchases/", body, key="once")) == said
    light = {"place": "drum-1", "gross_grams": 9_000, "tare_grams": 10_000}
    assert fields(send("purchases/", {**body, "vessels": [light]})) == ["vessels.0.gross_grams"]
    both = {**body, "price_per_pound": "1.50"}
    assert set(fields(send("purchases/", both))) <= {"cost_cents", "price_per_pound"}


def test_honey_of_a_beekeeper_is_received_handed_back_and_bought(send):
    others_room.hanna()
    tank = builders.place("tank-9")
    vessel = {"place": "tank-9", "net_grams": 100_000}
    body = arrival(vessel, owner="Hanna Birch", kind="stored")

    weighed = arrival(
        {"place": "tank-9", "gross_grams": 140_000, "tare_grams": 40_000},
        owner="Hanna Birch",
        kind="stored",
    )

    said = made(send("others-honey/", weighed, key="once"))
    assert made(send("others-honey/", weighed, key="once")) == said
    back = made(send("honey-handed-back/", {"place": "tank-9", "grams": 30_000}))
    assert fields(send("others-honey-bought/", {"place": "tank-9"})) == ["cost_cents"]
    bought = made(send("others-honey-bought/", {"place": "tank-9", "cost_cents": 25_000}))

    assert (said["owner"], said["quantity_made"]) == ("Hanna Birch", 100_000)
    assert back["kind"] == "owner_return"
    assert (bought["owner"], bought["kind"], bought["quantity_made"]) == (None, "bought", 70_000)
    assert Balance.objects.in_vessel(tank).honey_lot.cost_cents == 25_000
    assert fields(send("others-honey/", {**body, "owner": "Nobody"})) == ["owner"]
    assert fields(send("honey-handed-back/", {"place": "tank-9"})) == ["place"]


def test_packed_jars_are_handed_back_to_their_owner(send):
    room, lot = others_room.packed(others_room.hanna())
    body = {"lot": lot.pk, "place": "shelf", "pieces": 90}

    made(send("jars-handed-back/", body))

    assert there(lot, room.shelf) == 6
    assert fields(send("jars-handed-back/", body)) == ["pieces"]
    ours = builders.packed_lot(room.product, room.shelf)
    assert fields(send("jars-handed-back/", {**body, "lot": ours.pk})) == ["lot"]


# ------------------------------------------------------------------ measurements and papers


def test_a_figure_of_a_lot_is_added_and_read(send, read):
    lot = builders.lot_in(builders.place("tank-1"))
    body = {"what": "hmf", "value": "3.2", "measured_on": TODAY().isoformat(), "method": "strips"}
    path = f"lots/{lot.code}/measurements/"

    said = made(send(path, body, key="once"))

    kept = Measurement.objects.get(what="hmf")
    assert (kept.value, kept.method, said["unit"]) == (Decimal("3.2"), "strips", "mg/kg")
    assert made(send(path, body, key="once")) == said
    assert said in read(path, role="stand").json()["results"]
    assert fields(send(path, {**body, "value": "-1"})) == ["value"]
    assert fields(send(path, {**body, "is_laboratory": True})) == ["laboratory", "report"]
    assert send(path, body, role="stand").status_code == 403


def test_the_honey_in_a_vessel_is_measured_again(send):
    tank = builders.place("tank-1")
    lot = builders.lot_in(tank, moisture_percent="18.8")
    body = {
        "measured_on": TODAY().isoformat(),
        "brix": "81.3",
        "colour_mm": "36",
        "celsius": "31.5",
    }
    path = "places/tank-1/measurements/"

    said = made(send(path, body, key="once"))

    # 81.3 °Brix is an index of 1.4940 (ICUMSA SPS-3), honey of 17.0 % (Book of Honey, ch. 4).
    assert said["lot"]["code"] == lot.code
    assert float(said["lot"]["moisture_percent"]) == pytest.approx(17.0, abs=0.06)
    assert [(row["what"], row["place"]) for row in said["measurements"]] == [
        ("moisture", "tank-1"),
        ("colour", "tank-1"),
    ]
    assert said["celsius"] == "31.5"
    assert made(send(path, body, key="once")) == said
    assert fields(send(path, {**body, "moisture_percent": "17"})) == ["moisture_percent"]
    assert fields(send(path, {**body, "brix": "20"})) == ["brix"]
    assert send(path, body, role="stand").status_code == 403


def test_a_blend_is_given_a_name(send):
    tank = builders.place("tank-1")
    first = builders.lot_in(tank, 100_000)
    builders.lot_in(tank, 100_000, floral_source="Basswood")
    blend = Lot.objects.get(kind=Lot.Kind.BLEND)

    said = made(send(f"lots/{blend.code}/name/", {"floral_source": "House blend"}), 200)

    assert said["floral_source"] == "House blend"
    assert fields(send(f"lots/{blend.code}/name/", {"floral_source": " "})) == ["floral_source"]
    refused = send(f"lots/{first.code}/name/", {"floral_source": "X"})
    assert refused.status_code == 409
    assert send(f"lots/{blend.code}/name/", {"floral_source": "X"}, role="stand").status_code == 403


def test_a_drum_is_filled_by_volume_and_weighed_again(send):
    builders.lot_in(builders.place("tank-1"), moisture_percent="17.0")
    drum = builders.place("drum-9", "drum", tare_grams=18_000, capacity_litres=Decimal(212))
    fill = {"tank": "tank-1", "drum": "drum-9", "litres": "100", "celsius": "20"}

    made(send("drum-fills/", fill, key="fill"))

    # White 1967: specific gravity 1.4237 at 17.0 %, water 0.9982 kg/L: 142.1 kg.
    assert Balance.objects.in_vessel(drum).quantity == pytest.approx(142_110, abs=300)
    said = made(send("drum-weighings/", {"drum": "drum-9", "gross_grams": 158_000}, key="scale"))
    assert Balance.objects.in_vessel(drum).quantity == 140_000
    assert said["posting"]["kind"] == "reweighing"
    assert fields(send("drum-fills/", {**fill, "celsius": None})) == ["celsius"]
    assert fields(send("drum-weighings/", {"drum": "tank-1", "gross_grams": 20_000})) == [
        "drum",
        "tare_grams",
    ]
    assert send("drum-fills/", fill, role="stand").status_code == 403
    assert (
        send("drum-weighings/", {"drum": "drum-9", "gross_grams": 1}, role="stand").status_code
        == 403
    )


def test_an_extraction_can_be_read_in_brix(send):
    builders.place("tank-1")
    body = {
        "place": "tank-1",
        "grams": 100_000,
        "season": 2026,
        "floral_source": "Clover",
        "extracted_on": "2026-07-20",
        "brix": "81.3",
    }

    said = made(send("extractions/", body))

    # As above: the index of 81.3 °Brix is that of honey of 17.0 %.
    assert float(said["moisture_percent"]) == pytest.approx(17.0, abs=0.06)
    assert fields(send("extractions/", {**body, "brix": "60"})) == ["brix"]


def pdf_text(answer) -> str:
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    return printed.text(answer.content)


def test_the_certificate_of_a_lot_is_a_pdf(read, client):
    lot = builders.lot_in(builders.place("tank-1"))

    assert lot.code in pdf_text(read(f"lots/{lot.code}/certificate.pdf", role="stand"))

    headers = {"Accept": "application/pdf"}
    missing = client.get("/api/v1/lots/none/certificate.pdf", headers=headers)
    assert (missing.status_code, missing["Content-Type"]) == (404, "application/problem+json")


def test_the_labels_of_a_run_are_a_pdf_and_a_wrong_choice_is_named(read):
    LabelSheet.objects.create(
        code="two-by-four",
        name="Two by four",
        paper=LabelSheet.Paper.LETTER,
        label_width_mm=Decimal("101.6"),
        label_height_mm=Decimal("50.8"),
        columns=2,
        rows=5,
    )
    run = bottling_room.plan(bottling_room.set_up(), lot_code="A-17")
    path = f"runs/{run.number}/labels.pdf"
    chosen = {"sheet": "two-by-four", "pieces": 3, "code": "none", "panel": "label"}

    assert "A-17" in pdf_text(read(path, **chosen))
    assert "pieces" in fields(read(path, **{**chosen, "pieces": "x"}))
    assert "sheet" in fields(read(path, **{**chosen, "sheet": "x"}))
    assert read(path, role="stand", **chosen).status_code == 403


def test_the_labels_of_a_run_are_a_pdf_too_while_jars_have_a_page(read):
    jar_page = JarPage.current()
    jar_page.is_on = True
    jar_page.save()
    run = bottling_room.plan(bottling_room.set_up(), lot_code="A-17")

    assert "A-17" in pdf_text(read(f"runs/{run.number}/labels.pdf"))


def test_drum_labels_are_a_pdf_of_the_drums_named(read):
    builders.lot_in(builders.place("drum-7", Place.Kind.DRUM), 100_000)

    assert "drum-7" in pdf_text(read("drum-labels.pdf", drum="drum-7"))
    assert read("drum-labels.pdf", drum="drum-8").status_code == 404
    assert read("drum-labels.pdf", role="stand").status_code == 403


# ------------------------------------------------------------------ holds and recalls


def test_lots_are_held_and_released_with_all_they_went_into(send):
    room = bottling_room.set_up()
    packed = bottling_room.recorded(room).packed_lot
    body = {"lots": [room.lot.pk], "reason": "glass found"}

    held = made(send("holds/", body, role="bottling", key="once"), 200)

    assert {lot["id"] for lot in held["changed"]} == {room.lot.pk, packed.pk}
    assert Lot.objects.get(pk=packed.pk).is_on_hold
    assert made(send("holds/", body, role="bottling", key="once"), 200) == held
    assert send("holds-released/", body, role="bottling").status_code == 403
    assert fields(send("holds/", {**body, "lots": [10**9]})) == ["lots"]
    one = f"lots/{packed.code}/{packed.what}/release/"
    assert made(send(one, {"reason": "tested"}), 200)["is_on_hold"] is False
    made(send("holds-released/", {**body, "reason": "all tested"}), 200)
    assert not Lot.objects.filter(is_on_hold=True).exists()
    assert send(f"lots/{room.lot.code}/in-bulk/release/", {"reason": "x"}).status_code == 409


def test_a_recall_is_started_read_and_finished(send, read):
    room = bottling_room.set_up()
    bottling_room.recorded(room)
    body = {"kind": "mock", "lots": [room.lot.pk], "reason": "yearly exercise"}

    started = made(send("recall/records/", body, key="once"))
    path = f"recall/records/{started['id']}/"
    assert fields(send(f"{path}finish/", {})) == ["notes"]
    finished = made(send(f"{path}finish/", {"notes": "counted the shelf"}), 200)

    kept = Recall.objects.get()
    assert (kept.code, list(kept.lots.all())) == (room.lot.code, [room.lot])
    assert kept.notes == "counted the shelf"
    assert started["answer"]["lots"][0]["code"] == room.lot.code
    assert started["answer_at_finish"] is None
    assert finished["answer_at_finish"]["percent_accounted"] is not None
    assert read(path).json() == finished
    assert [row["id"] for row in read("recall/records/").json()["results"]] == [kept.pk]
    assert made(send("recall/records/", body, key="once")) == started
    assert send(f"{path}finish/", {"notes": "again"}).status_code == 409
    assert read(path, role="stand").status_code == 403


# ------------------------------------------------------------------ services


def test_a_service_is_billed_at_its_usual_price_or_another(send, read):
    shop = builders.customer()
    service_list.add(name="Extracting", unit="hour", usual_price=Decimal("40"))
    free = service_list.add(name="Delivery", unit="each")
    path = f"customers/{shop.pk}/service-bills/"
    lines = [
        {"service": "extracting", "amount": "2.5"},
        {"service": free.code, "amount": 1, "unit_price": "12.00"},
    ]

    said = made(send(path, {"lines": lines}, key="once"))

    invoice = Invoice.objects.get()
    assert (said["number"], said["net_cents"]) == (str(invoice), 10_000 + 1_200)
    assert invoice.customer == shop
    again = send(path, {"lines": lines}, key="once")
    assert (again.status_code, again.json()) == (201, said)
    unpriced = [lines[0], {"service": free.code, "amount": 1}]
    assert fields(send(path, {"lines": unpriced})) == ["lines.1.unit_price"]
    none = [{"service": "extracting", "amount": 0}]
    assert fields(send(path, {"lines": none})) == ["lines.0.amount"]
    assert send(path, {"lines": lines}, role="stand").status_code == 403
    assert [row["code"] for row in read("services/").json()["results"]] == [free.code, "extracting"]


# ------------------------------------------------------------------ whatever is sent

ABSURD = [None, "\x00", "\ud800", 2**63, True, {}, [None]]


@pytest.fixture
def house():
    """A room where each of these bodies is about something that is there."""
    room = bottling_room.set_up()
    run = bottling_room.recorded(room, target=room.shelf)
    others_room.hanna()
    builders.customer()
    Brand.objects.create(name="Harrow Lane")
    forms_room.comb_at(room.shelf, forms_room.comb_by_weight(), 5_000)
    builders.goods("Candle")
    drum = builders.place("drum-9", "drum", tare_grams=18_000, capacity_litres=Decimal(208))
    builders.lot_in(drum, 40_000)
    service_list.add(name="Extracting", unit="hour", usual_price=Decimal("40"))
    return {"room": room, "run": bottling_room.plan(room, 10), "packed": run.packed_lot}


def bodies(house) -> dict[str, dict]:
    room, packed = house["room"], house["packed"]
    pieces = f"lots/{packed.code}/{packed.what}"
    comb = Lot.objects.get(product__form="comb")
    day = TODAY().isoformat()
    vessel = {"place": "tank-1", "net_grams": 1_000}
    return {
        "honey-products/": {
            "size": room.size.code,
            "variety": None,
            "form": "creamed",
            "brand": "Harrow Lane",
            "parts": [],
        },
        "goods/": {"name": "Soap", "is_weighed": False, "low_stock": 1},
        "gift-boxes/": {"name": "Box", "contents": [{"product": room.product.code}], "parts": []},
        f"brands/{Brand.objects.get().pk}/customer/": {"customer": None},
        "runs/": plan_body(room, comb=None, comb_grams_each=None, seed_source=None),
        f"runs/{house['run'].number}/record/": {
            **RECORDED,
            "labour_minutes": 5,
            "drawn_by": "scale",
            "comb_quantity": None,
            "bottled_on": day,
        },
        f"{pieces}/label/": {"place": "shelf", "product": room.product.code, "pieces": 1},
        f"{pieces}/empty/": {
            "place": "shelf",
            "pieces": 1,
            "grams": 400,
            "vessel": "tank-1",
            "parts_back": [],
        },
        f"{pieces}/came-back/": {"place": "shelf", "pieces": 1, "reason": "open"},
        f"{pieces}/take-apart/": {"place": "shelf", "boxes": 1, "lots": []},
        f"{pieces}/release/": {"reason": "tested"},
        "comb-receipts/": {
            "product": comb.what,
            "place": "shelf",
            "grams": 10,
            "season": 2026,
            "floral_source": "Clover",
            "harvested_on": day,
        },
        "comb-cuts/": {
            "comb": {"lot": comb.pk, "place": "shelf"},
            "comb_grams": 300,
            "product": comb.what,
            "pieces": 1,
            "target": "shelf",
        },
        "goods-receipts/": {
            "product": "candle",
            "place": "shelf",
            "pieces": 1,
            "cost_cents": 1,
            "supplier": "Somebody",
            "received_on": day,
        },
        "goods-made/": {
            "product": "candle",
            "place": "shelf",
            "pieces": 1,
            "made_on": day,
            "materials": [],
        },
        "suppliers/": {"name": "Somebody else", "kind": "parts", "country": "US"},
        "purchases/": arrival(vessel, supplier="Olmo Honey", price_per_pound="1"),
        "others-honey/": arrival(vessel, owner="Hanna Birch", kind="stored"),
        "honey-handed-back/": {"place": "tank-1", "grams": 1, "handed_on": day},
        "jars-handed-back/": {"lot": packed.pk, "place": "shelf", "pieces": 1},
        "others-honey-bought/": {"place": "tank-1", "grams": 1, "target": None, "cost_cents": 1},
        f"lots/{room.lot.code}/measurements/": {
            "what": "hmf",
            "value": "1",
            "measured_on": day,
            "report": None,
        },
        "places/tank-1/measurements/": {
            "measured_on": day,
            "moisture_percent": "17.2",
            "refractive_index": None,
            "brix": None,
            "refractometer_celsius": None,
            "colour_mm": "31",
            "celsius": "30",
        },
        "drum-weighings/": {"drum": "drum-9", "gross_grams": 60_000, "tare_grams": 18_000},
        "drum-fills/": {
            "tank": "tank-1",
            "drum": "drum-9",
            "gross_grams": None,
            "litres": None,
            "depth_mm": 100,
            "celsius": "30",
            "filled_on": day,
        },
        "holds/": {"lots": [packed.pk], "reason": "glass"},
        "recall/records/": {"kind": "mock", "lots": [packed.pk], "reason": "exercise"},
        f"customers/{Customer.objects.get().pk}/service-bills/": {
            "lines": [{"service": "extracting", "amount": "1"}],
            "billed_on": day,
        },
    }


def test_whatever_stands_in_a_field_of_an_act_is_answered_and_never_a_fault(send, house):
    for path, body in bodies(house).items():
        for name in body:
            for value in ABSURD:
                answer = send(path, {**body, name: value})

                assert answer.status_code in (200, 201, 400, 409, 422), (path, name, value)
    assert list(books.faults()) == []


def test_a_key_is_wanted_where_an_act_could_be_done_twice(client, house):
    client.force_login(builders.person())
    without = {
        path: client.post(f"/api/v1/{path}", body, content_type="application/json").status_code
        for path, body in bodies(house).items()
    }

    assert {path.split("/")[-2] for path, status in without.items() if status != 400} == {
        "customer",
        "gift-boxes",
        "goods",
        "honey-products",
        "release",
        "suppliers",
    }
