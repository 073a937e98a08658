"""The task of the person who bottles: plan a run, record it, check its weights, on a phone."""

import pytest
from playwright.sync_api import expect

from inventory.bottling.models import BottlingRun, FillCheck
from inventory.bottling.services import fill_checks, products
from inventory.stock.queries import books
from tests import builders
from tests.inventory import bottling_room

from .conftest import DESKTOP, PHONE


def is_too_wide(page) -> bool:
    return page.evaluate("document.documentElement.scrollWidth > window.innerWidth")


def test_fields_side_by_side_stay_level_when_one_is_wrong(sign_in, axe):
    bottling_room.set_up()
    page = sign_in("bottling", DESKTOP)
    page.goto("/bottling/plan/")
    pieces, day = page.get_by_label("Pieces wanted"), page.get_by_label("Day", exact=True)

    def tops() -> tuple[float, float]:
        return pieces.bounding_box()["y"], day.bounding_box()["y"]

    assert tops()[0] == tops()[1]

    pieces.fill("0")
    page.get_by_role("button", name="Plan this run").click()

    expect(page.locator(".errorlist")).to_have_text("Enter one piece or more.")
    assert tops()[0] == tops()[1]
    axe(page)


def test_a_run_is_planned_and_recorded_on_a_phone(sign_in, axe):
    room = bottling_room.set_up()
    page = sign_in("bottling", PHONE)
    page.goto("/bottling/")
    axe(page)

    page.get_by_role("link", name="Plan a run").click()
    page.get_by_label("Pieces wanted").fill("96")
    preview = page.locator("#preview")
    expect(preview).to_contain_text("Honey left after the run")
    expect(preview).to_contain_text("It fits: 1 lb of this honey takes up")
    expect(preview).to_contain_text("the capacity of One pound to the brim is 400 ml.")
    axe(page)
    assert not is_too_wide(page)
    page.get_by_role("button", name="Plan this run").click()

    expect(page.get_by_role("status")).to_contain_text("96 pieces of One pound")
    page.get_by_role("link", name="Record this run").click()
    page.get_by_label("Pieces broken").fill("2")
    page.get_by_label("Honey drawn, by the scale").fill("99.2")
    page.get_by_label("Honey lost in filling").fill("1.1")
    expect(preview).to_contain_text("Yield")
    expect(preview).to_contain_text("96.8 %")
    axe(page)
    assert not is_too_wide(page)
    page.get_by_role("button", name="Record this run").click()

    run = BottlingRun.objects.get()
    expect(page.get_by_role("status")).to_contain_text(f"lot {run.packed_lot.code}, on Shelf")
    expect(page.get_by_role("link", name="Undo", exact=True)).to_be_visible()
    axe(page)
    assert not is_too_wide(page)
    assert (run.status, run.pieces_filled, run.source) == ("recorded", 96, room.tank)
    assert list(books.faults()) == []


def test_a_refused_run_shows_its_sentence_at_the_field_and_takes_the_focus(sign_in, axe):
    bottling_room.set_up()
    page = sign_in("bottling", PHONE)
    page.goto("/bottling/plan/")

    page.get_by_label("Pieces wanted").fill("500")
    page.get_by_role("button", name="Plan this run").click()

    sentence = (
        "Not enough honey: the run needs 500 lb, but Tank 1 has only 441 lb. Plan fewer "
        "pieces, or choose another vessel."
    )
    expect(page.locator("#field-pieces")).to_contain_text(sentence)
    expect(page.locator(".error-summary")).to_be_focused()
    axe(page)
    assert BottlingRun.objects.count() == 0


def test_weights_of_a_postal_scale_are_shown_as_they_are_read(sign_in):
    run = bottling_room.plan(bottling_room.set_up())
    page = sign_in("bottling", PHONE)
    page.goto(f"/bottling/runs/{run.number}/check/")

    page.get_by_label("Weights", exact=True).fill("1 lb 0 1/4 oz, 16.2 oz\n456.5")
    expect(page.locator(".reading")).to_have_text("= 460.68 · 459.262 · 456.5 g")

    page.get_by_label("net: the honey alone").check()
    page.get_by_role("button", name="Keep these weights").click()
    expect(page.get_by_role("status")).to_contain_text("The weights are kept with the run.")
    assert FillCheck.objects.get().weights.count() == 3


def test_pasted_weights_give_a_verdict_and_a_picture(sign_in, axe):
    room = bottling_room.set_up()
    run = bottling_room.recorded(room)
    page = sign_in("bottling", PHONE)
    page.goto(f"/bottling/runs/{run.number}/check/")

    page.get_by_label("Weights", exact=True).fill("\n".join(["448.5", "449", "447.5"] * 4))
    page.get_by_label("net: the honey alone").check()
    page.get_by_role("button", name="Check these weights").click()

    expect(page.get_by_role("status")).to_contain_text("is on hold and can't be sold")
    expect(page.locator("article svg rect").first).to_be_visible()
    axe(page)
    assert not is_too_wide(page)
    assert not FillCheck.objects.get().has_passed


@pytest.mark.parametrize("viewport", [PHONE, DESKTOP])
def test_the_pages_of_the_bottling_room_read_well_without_eyes(sign_in, axe, viewport):
    room = bottling_room.set_up()
    runs = [bottling_room.recorded(room), bottling_room.recorded(room), bottling_room.plan(room)]
    for run in runs:
        fill_checks.record(
            run=run,
            scheme="us",
            weights_milligrams=[455_000, 456_000, 457_000],
            checked_by=builders.person("bottling"),
            key=builders.new_key(),
        )
    buckwheat = products.save_honey(
        size=room.size, new_variety="Buckwheat", new_brand="Wren Hollow"
    )
    page = sign_in("bottling", viewport)

    for address in (
        "/bottling/products/",
        "/bottling/products/add/",
        f"/bottling/products/{buckwheat.code}/",
        "/bottling/varieties/",
        "/bottling/brands/",
        "/bottling/parts/",
        f"/bottling/parts/{room.jar.code}/",
        "/bottling/parts/receive/",
        "/bottling/sizes/",
        f"/bottling/sizes/{room.size.code}/",
        f"/bottling/sizes/{room.size.code}/fill-chart/",
        f"/bottling/runs/{runs[0].number}/check/",
        f"/bottling/runs/{runs[2].number}/check/",
        "/bottling/settings/",
    ):
        page.goto(address)
        axe(page)
        assert not is_too_wide(page), address
