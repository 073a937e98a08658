"""The pages of jars that change: what they show before, what they record, who may."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.bottling.models import BottlingRun, JarChange, Product, ReturnedJars
from inventory.bottling.services import gift_boxes, jars
from inventory.stock.models import Balance, Lot
from tests import builders
from tests.inventory import bottling_room, jar_room
from tests.inventory.pages import books_unchanged, errors, said, signed_in, text

pytestmark = pytest.mark.django_db


@pytest.fixture
def house():
    return jar_room.set_up()


@pytest.fixture
def bottler():
    return signed_in("bottling")


@pytest.fixture
def plain(house):
    run = bottling_room.plan(house.room, lot_code="A", without_labels=True)
    return bottling_room.record(run).packed_lot


@pytest.fixture
def boxes(house):
    filled = bottling_room.record(bottling_room.plan(house.room, lot_code="B")).packed_lot
    box = jar_room.box(house)
    return gift_boxes.put_together(
        box=box,
        place=house.shelf,
        boxes=5,
        changed_by=builders.person(),
        key=builders.new_key(),
        lots={filled: 10},
    ).lot


def url(name: str, lot: Lot) -> str:
    return reverse(f"inventory:{name}", args=[lot.code, lot.what])


def send(client, address: str, **data):
    return client.post(address, {"key": builders.new_key()} | data)


def typed(house, **data) -> dict:
    return {
        "place": "shelf",
        "pieces": "24",
        "product_wanted": house.own.pk,
        "changed_on": builders.today().isoformat(),
    } | data


def test_a_run_is_planned_without_labels(house, bottler):
    answer = send(
        bottler,
        reverse("inventory:run_plan"),
        product=house.own.pk,
        source="tank-1",
        target=house.shelf.pk,
        pieces="24",
        planned_for=builders.today().isoformat(),
        without_labels="on",
    )

    run = BottlingRun.objects.get()
    assert answer.status_code == 302
    assert run.product == house.unlabelled


def test_jars_that_wait_are_listed_and_labelled(house, bottler, plain):
    listed = text(bottler.get(reverse("inventory:jar_list")))
    answer = send(bottler, url("jars_label", plain), **typed(house))

    assert "One pound, no label A Shelf 96 pieces Label jars" in listed
    assert said(answer) == ["24 pieces are now One pound, lot A."]
    assert JarChange.objects.get().pieces == 24


def test_the_label_page_shows_what_will_change_and_records_nothing(house, bottler, plain):
    with books_unchanged():
        answer = bottler.post(
            url("jars_label", plain), {"key": "k", "preview": "yes"} | typed(house)
        )

    shown = text(answer)
    assert "One pound, no label 96 → 72" in shown
    assert "House label 500 → 476" in shown


def test_what_is_refused_is_told_at_its_field(house, bottler, plain):
    with books_unchanged():
        answer = send(bottler, url("jars_label", plain), **typed(house, pieces="97"))

    assert errors(answer) == {"pieces": ["Only 96 of lot A are free on Shelf. Enter fewer."]}


def test_jars_are_emptied_with_jars_washed(house, bottler, plain):
    answer = send(
        bottler,
        url("jars_empty", plain),
        place="shelf",
        pieces="10",
        weight="4500",
        weight_unit="g",
        vessel="pail",
        changed_on=builders.today().isoformat(),
        **{f"back_{house.room.jar.pk}": "9"},
    )

    assert answer.status_code == 302
    assert Balance.objects.in_vessel(house.pail).quantity == 4_500
    there = Balance.objects.get(item=house.room.jar.item, place=house.shelf)
    assert there.quantity == 500 - 98 + 9


def test_more_than_went_in_is_asked_about_with_a_box_to_tick(house, bottler, plain):
    typed_in = {
        "place": "shelf",
        "pieces": "10",
        "weight": "5000",
        "weight_unit": "g",
        "vessel": "pail",
        "changed_on": builders.today().isoformat(),
    }
    asked = send(bottler, url("jars_empty", plain), **typed_in)
    done = send(bottler, url("jars_empty", plain), **typed_in, figures_are_right="on")

    assert "figures_are_right" in errors(asked)
    assert 'name="figures_are_right"' in asked.content.decode()
    assert done.status_code == 302


def test_jars_that_came_back_are_released_by_who_may(house, bottler, plain):
    answer = send(
        bottler, url("jars_set_aside", plain), place="shelf", pieces="3", reason="In a window"
    )
    decide = reverse("inventory:jars_returned", args=[ReturnedJars.objects.get().pk])
    released = {"pieces": "3", "decision": "released", "target": "shelf", "reason": "Seal whole"}

    refused = send(bottler, decide, **released)
    office = signed_in("office")
    shown = text(office.get(url("lot_jars", plain)))
    done = send(office, decide, **released)

    assert answer.status_code == 302
    assert "decision" in errors(refused)
    assert "A, One pound, no label 3 pieces In a window Decide" in shown
    assert said(done) == ["3 pieces of lot A: released."]
    assert ReturnedJars.objects.get().decided_by == builders.person("office")


def test_spoiled_is_what_is_offered_for_jars_that_came_back(house, bottler, plain):
    send(bottler, url("jars_set_aside", plain), place="shelf", pieces="3", reason="In a window")
    page = bottler.get(reverse("inventory:jars_returned", args=[ReturnedJars.objects.get().pk]))

    assert page.context["form"]["decision"].value() == "spoiled"


def test_the_stand_has_no_part_in_labels_and_boxes(house, plain, boxes):
    stand = signed_in("stand")

    for name, lot in (("jars_label", plain), ("jars_empty", plain), ("boxes_apart", boxes)):
        assert stand.get(url(name, lot)).status_code == 403
    assert stand.get(reverse("inventory:box_create")).status_code == 403


def test_a_box_is_set_up_put_together_and_taken_apart(house, bottler):
    bottling_room.record(bottling_room.plan(house.room, lot_code="B"))
    lines = {
        "contents-TOTAL_FORMS": "1",
        "contents-INITIAL_FORMS": "0",
        "contents-0-product": house.own.pk,
        "contents-0-quantity": "2",
        "parts-TOTAL_FORMS": "0",
        "parts-INITIAL_FORMS": "0",
    }
    added = send(
        bottler,
        reverse("inventory:box_create"),
        name="Winter box",
        low_stock_pieces="0",
        **lines,
    )
    box = Product.objects.get(kind="gift_box")
    made = send(
        bottler,
        reverse("inventory:boxes_make", args=[box.code]),
        place="shelf",
        boxes="4",
        lot_code="W1",
        changed_on=builders.today().isoformat(),
    )
    lot = Lot.objects.get(product=box)
    page = text(bottler.get(url("lot_detail", lot)))
    apart = send(bottler, url("boxes_apart", lot), place="shelf", pieces="4")

    assert said(added) == ["Added the gift box Winter box."]
    assert said(made)[-1] == "Put 4 pieces of Winter box together: lot W1."
    assert "Lot W1" in page
    assert said(apart)[-1] == "Took 4 pieces apart. What was in them is back in its own lots."
    assert Balance.objects.get(lot__code="B", place=house.shelf).quantity == 96


def test_a_held_lot_is_shown_on_the_page_of_its_boxes(house, bottler, boxes):
    Lot.objects.filter(code="B").update(is_on_hold=True, hold_reason="Too light.")

    shown = text(bottler.get(url("lot_jars", boxes)))

    assert "Lot B, which is in these, is on hold. Too light. Look at it" in shown


def test_what_can_be_done_takes_as_many_questions_however_much_was_done(house, bottler, plain):
    def questions() -> int:
        with CaptureQueriesContext(
            connection,
        ) as asked:
            assert bottler.get(url("lot_jars", plain)).status_code == 200
        return len(asked)

    def label() -> None:
        jars.label(
            lot=plain,
            place=house.shelf,
            product=house.own,
            pieces=2,
            changed_by=builders.person(),
            key=builders.new_key(),
        )

    label()
    questions()
    few = questions()
    for _time in range(3):
        label()

    assert questions() == few


def test_the_change_is_shown_while_it_is_typed(house, bottler, plain):
    with books_unchanged():
        labels = bottler.get(
            url("jars_label", plain), {"key": "k"} | typed(house), headers={"HX-Request": "true"}
        )
        honey = bottler.get(
            url("jars_empty", plain),
            {
                "key": "k",
                "place": "shelf",
                "pieces": "10",
                "weight": "4500",
                "weight_unit": "g",
                "vessel": "pail",
                "changed_on": builders.today().isoformat(),
            },
            headers={"HX-Request": "true"},
        )

    assert "One pound 0 → 24" in text(labels)
    # 4,500 g are 9.9 lb.
    assert "Pail 0.0 lb → 9.9 lb" in text(honey)


def test_too_few_jars_for_boxes_are_told_before(house, bottler, boxes):
    shown = bottler.get(
        reverse("inventory:boxes_make", args=[boxes.what]),
        {
            "key": "k",
            "place": "shelf",
            "boxes": "44",
            "changed_on": builders.today().isoformat(),
        },
        headers={"HX-Request": "true"},
    )

    assert "One pound: the boxes need 88. Free on Shelf: 86." in text(shown)


def test_one_piece_is_spoken_of_as_one(house, bottler, plain):
    labelled = said(send(bottler, url("jars_label", plain), **typed(house, pieces="1")))
    why = {"place": "shelf", "pieces": "1", "reason": "A shop's window"}
    apart = said(send(bottler, url("jars_set_aside", plain), **why))
    emptied = {"place": "shelf", "pieces": "1", "weight": "9000", "weight_unit": "g"}
    emptied |= {"vessel": "pail", "changed_on": builders.today().isoformat()}
    too_much = send(bottler, url("jars_empty", plain), **emptied)

    assert labelled[-1] == "1 piece is now One pound, lot A."
    assert apart[-1] == "1 piece of lot A is kept apart. Decide what happens with it."
    assert errors(too_much)["weight"][0].startswith("1 piece doesn't hold ")


def kept_apart(house, client, lot, pieces="12") -> ReturnedJars:
    why = {"place": "shelf", "pieces": pieces, "reason": "A shop's window"}
    send(client, url("jars_set_aside", lot), **why)
    return ReturnedJars.objects.get(decision="")


def test_who_kept_jars_apart_by_mistake_takes_it_back(house, bottler, plain):
    returned = kept_apart(house, bottler, plain)
    page = reverse("inventory:jars_returned", args=[returned.pk])

    some = send(bottler, page, pieces="3", decision="mistake")
    done = send(bottler, page, pieces="12", decision="mistake")

    assert errors(some) == {"pieces": ["A mistake is put right as a whole: enter 12."]}
    assert said(done)[-1] == "12 pieces of lot A: back where they were."
    assert Balance.objects.get(lot=plain, place=house.shelf).quantity == 96


def test_another_bottler_can_not_free_them_and_the_stand_decides_nothing(house, bottler, plain):
    returned = kept_apart(house, bottler, plain)
    ReturnedJars.objects.update(set_aside_by=builders.person("owner"))
    page = reverse("inventory:jars_returned", args=[returned.pk])

    assert send(bottler, page, pieces="12", decision="mistake").status_code == 422
    assert signed_in("stand").get(page).status_code == 403
    assert signed_in("office").get(page).status_code == 200


def test_the_page_of_boxes_says_pieces_and_honey_apart_and_leads_to_the_box(house, bottler, boxes):
    page = bottler.get(reverse("inventory:lot_detail", args=[boxes.code, boxes.what]))

    # Ten of 96 jars with 43,593 g: 4,541 g, which are 10.0 lb.
    assert "10 pieces One pound, B, 10.0 lb of honey in them" in text(page)
    assert reverse("inventory:box_edit", args=[boxes.what]) in page.content.decode()
    assert f"/bottling/goods/{boxes.what}/" not in page.content.decode()


def test_a_lot_made_without_labour_says_so(house, plain):
    owner = signed_in("owner")
    made = jars.label(
        lot=plain,
        place=house.shelf,
        product=house.own,
        pieces=24,
        labour_minutes=30,
        changed_by=builders.person(),
        key=builders.new_key(),
    ).lot
    page = reverse("inventory:lot_detail", args=[made.code, made.what])

    assert "without labour" not in text(owner.get(page))
    JarChange.objects.update(labour_cents=None, labour_minutes=None)
    assert "without labour" in text(owner.get(page))
    JarChange.objects.update(labour_cents=0, labour_minutes=0)
    BottlingRun.objects.update(labour_cents=None, labour_minutes=None)
    assert "without labour" in text(owner.get(page))


def test_jars_that_go_back_say_which_code_they_keep(house, bottler, plain):
    lot = plain
    for product in (house.own, house.branded, house.own):
        lot = jars.label(
            lot=lot,
            place=house.shelf,
            product=product,
            pieces=10,
            changed_by=builders.person(),
            key=builders.new_key(),
        ).lot

    assert lot.code == "A-2"
    assert "In the books A-2; the jars keep A." in text(bottler.get(url("lot_jars", lot)))
    assert "In the books" not in text(bottler.get(url("lot_jars", plain)))


def test_emptying_leads_to_the_honey_that_is_in_the_vessel_now(house, bottler, plain):
    builders.lot_in(house.pail, 2_000)
    emptied = {"place": "shelf", "pieces": "10", "weight": "4500", "weight_unit": "g"}
    emptied |= {"vessel": "pail", "changed_on": builders.today().isoformat()}

    answer = send(bottler, url("jars_empty", plain), **emptied)

    there = Balance.objects.in_vessel(house.pail).honey_lot
    assert answer.url == reverse("inventory:lot_detail", args=[there.code, there.what])
