"""The pages of blend plans: list, plan, weights, carrying out, dropping, worksheet."""

from decimal import Decimal

import pytest
from django.contrib.auth.models import Permission
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.stock.blends import BlendLimits
from inventory.stock.models import Balance, BlendPlan, Posting
from inventory.stock.services import blend_plans
from tests import builders
from tests.inventory import printed
from tests.inventory.pages import books_unchanged, errors, said, signed_in, text

pytestmark = pytest.mark.django_db


@pytest.fixture
def plan():
    light, dark = builders.place("drum-1", "drum"), builders.place("drum-2", "drum")
    builders.lot_in(light, 200_000, colour_mm="20", moisture_percent="17.0", cost_cents=40_000)
    builders.lot_in(dark, 200_000, colour_mm="60", moisture_percent="19.0", cost_cents=20_000)
    return planned(light, dark)


def planned(light, dark) -> BlendPlan:
    return blend_plans.draft(
        target=builders.place("tank-1", name="Blending tank"),
        sources=[(light, 70_000), (dark, 30_000)],
        limits=BlendLimits(
            grams_min=100_000,
            grams_max=100_000,
            colour_mm_max=Decimal(34),
            moisture_percent_max=Decimal("18.6"),
        ),
        buyer="Corner Packer",
        planned_by=builders.person(),
        key=builders.new_key(),
    )


def url(plan: BlendPlan, then: str = "") -> str:
    return f"/honey/blend-plans/{plan.number}/{then}"


def weights(plan: BlendPlan, *pounds: str) -> dict[str, str]:
    lines = plan.lines.all()
    return {f"weight_{line.pk}": each for line, each in zip(lines, pounds, strict=True)}


def test_the_plan_says_what_the_blend_would_be_and_that_its_colour_is_approximate(plan):
    page = text(signed_in().get(url(plan)))

    assert "Blend plan M26-01 draft" in page
    assert "Colour, about 32.0 mm white wanted: at most 34 mm" in page
    assert "Moisture 17.60 % wanted: at most 18.6 %" in page
    assert "moisture above the house's limit" in page
    assert "Mix a small trial blend first and read its colour." in page
    assert "drum-1: 350 g" in page
    assert "drum-2: 150 g" in page


def test_only_those_who_see_costs_see_what_the_honey_cost(plan):
    mover = builders.person("stand")
    mover.user_permissions.add(Permission.objects.get(codename="move_honey"))

    assert "The honey of this blend cost $170.00." in text(signed_in("office").get(url(plan)))
    assert "$170.00" not in text(signed_in("stand").get(url(plan)))


def test_the_list_asks_the_database_as_often_for_many_plans_as_for_one(plan):
    client = signed_in()

    def questions() -> int:
        with CaptureQueriesContext(connection) as asked:
            assert client.get("/honey/blend-plans/").status_code == 200
        return len(asked)

    questions()
    once = questions()
    for _more in range(3):
        blend_plans.draft(
            target=plan.target,
            sources=[(plan.lines.all()[0].place, 10)],
            limits=BlendLimits(grams_min=10),
            planned_by=builders.person(),
            key=builders.new_key(),
        )
    assert questions() == once


def test_the_weights_are_changed_and_a_limit_that_is_missed_is_said(plan):
    client = signed_in()

    done = client.post(url(plan, "weights/"), {"key": "k", **weights(plan, "100", "200 kg")})
    assert done.status_code == 302
    assert said(done) == ["Blend plan M26-01 has new weights."]
    page = text(client.get(url(plan)))
    assert "It is darker than was wanted, or its colour is not known." in page
    assert "It weighs more than was wanted." in page


def test_too_much_is_refused_at_its_field(plan):
    dark = plan.lines.all()[1]

    with books_unchanged():
        answer = signed_in().post(
            url(plan, "weights/"), {"key": "k", **weights(plan, "100", "500")}
        )

    assert list(errors(answer)) == [f"weight_{dark.pk}"]


def test_the_plan_is_carried_out_with_the_weights_that_were_poured(plan):
    client = signed_in()
    form = {"key": "k", "poured_on": builders.today(), "note": "", **weights(plan, "154", "")}

    shown = client.get(url(plan, "carry-out/"), form, headers={"HX-Request": "true"})
    done = client.post(url(plan, "carry-out/"), form)

    assert "Blending tank 0.0 lb → 154.0 lb" in text(shown)
    assert done["Location"] == url(plan)
    assert said(done) == ["154.0 lb poured into Blending tank."]
    posting = Posting.objects.get(kind="blend")
    plan.refresh_from_db()
    assert plan.posting == posting
    assert Balance.objects.in_vessel(plan.target).quantity == 69_853
    page = text(client.get(url(plan)))
    assert "carried out" in page
    assert "planned: 154.3 lb" in page
    assert "Carry it out" not in page
    assert "Poured into Blending tank." in page
    assert "To be poured" not in page

    again = client.post(url(plan, "carry-out/"), form)
    assert again["Location"] == f"/honey/postings/{posting.pk}/"
    assert Posting.objects.filter(kind="blend").count() == 1


def test_nothing_poured_is_refused(plan):
    with books_unchanged():
        answer = signed_in().post(
            url(plan, "carry-out/"),
            {"key": "k", "poured_on": builders.today(), **weights(plan, "", "")},
        )

    assert answer.status_code == 422
    assert "Choose the vessels to pour from." in text(answer)


def test_a_plan_is_dropped_and_its_honey_is_no_longer_set_aside(plan):
    done = signed_in().post(url(plan, "drop/"), {"key": "k", "reason": "Sold elsewhere"})

    assert said(done) == ["Blend plan M26-01 is dropped."]
    plan.refresh_from_db()
    assert plan.status == BlendPlan.Status.DROPPED
    assert "Dropped on" in text(signed_in().get(url(plan)))


def test_the_worksheet_has_the_weights_and_says_what_to_do(plan):
    answer = signed_in().get(url(plan, "worksheet.pdf"))

    assert answer["Content-Type"] == "application/pdf"
    words = " ".join(printed.text(answer.content).split())
    assert printed.pages(answer.content) == 1
    for expected in (
        "Blending worksheet",
        "M26-01",
        "Really poured",
        "154.3 lb",
        "350 g",
        "Corner",
    ):
        assert expected in words
    assert "Never lift or tip one alone" in words


@pytest.mark.parametrize("then", ["", "weights/", "carry-out/", "drop/", "worksheet.pdf"])
def test_those_who_move_no_honey_see_no_plan(plan, then):
    assert signed_in("stand").get(url(plan, then)).status_code == 403
    assert signed_in("stand").get("/honey/blend-plans/").status_code == 403
