"""What every list and every body of the API keeps to: pages, orders, and no unknown name."""

from datetime import date, timedelta

import pytest
from django.urls import get_resolver
from drf_spectacular.generators import SchemaGenerator

from apiary_sales.api.bases import ApiView
from apiary_sales.customers.models import Customer
from inventory.stock.models import Lot
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def ask(client):
    """Return a caller who signs in as the owner and is answered in JSON."""

    def send(path, **asked):
        address = path if path.startswith("http") else f"/api/v1/{path}"
        headers = {
            "Authorization": builders.authorization("owner"),
            "Accept": "application/vnd.oai.openapi+json, application/json",
        }
        return client.get(address, asked or None, headers=headers)

    return send


@pytest.fixture
def act(client):
    def send(path, body):
        headers = {
            "Authorization": builders.authorization("owner"),
            "Idempotency-Key": builders.new_key(),
        }
        return client.post(
            f"/api/v1/{path}", body, headers=headers, content_type="application/json"
        )

    return send


def refused(answer, field):
    """Return what is said of the one parameter or field that is wrong."""
    assert answer.status_code == 400, answer.content
    assert answer["Content-Type"] == "application/problem+json"
    [error] = answer.json()["errors"]
    assert error["field"] == field
    return error


def lots(*, days=(0, 0, 0, 1, 1, 2), **fields):
    """Make a lot for each of some days after the first of June, each in a tank of its own."""
    made = [builders.lot_in(builders.place(f"tank-{each}"), 1000) for each in range(len(days))]
    for lot, day in zip(made, days, strict=True):
        Lot.objects.filter(pk=lot.pk).update(made_on=date(2026, 6, 1) + timedelta(day), **fields)
    return made


def walked(ask, path, **asked):
    """Return the pages of a list from the first to the last."""
    pages, address = [], path
    while address:
        page = ask(address, **asked).json()
        pages.append([row["id"] for row in page["results"]])
        address, asked = page["next"], {}
    return pages


# ------------------------------------------------------------------ pages


@pytest.mark.parametrize("order", ["made_on", "-made_on", "-id", "made_on,-id", "colour_mm,id"])
def test_a_cursor_leads_through_all_rows_once_in_their_order(ask, order):
    made = lots()
    Lot.objects.filter(pk__in=[made[1].pk, made[4].pk]).update(colour_mm=30)

    whole = walked(ask, "lots/", ordering=order)
    paged = walked(ask, "lots/", ordering=order, page_size=2)

    assert [len(page) for page in paged] == [2, 2, 2]
    assert [row for page in paged for row in page] == whole[0]
    assert sorted(whole[0]) == [lot.pk for lot in made]


def test_the_way_back_leads_over_the_same_pages(ask):
    lots()
    first = ask("lots/", page_size=2).json()
    second = ask(first["next"]).json()
    third = ask(second["next"]).json()

    assert ask(third["previous"]).json()["results"] == second["results"]
    assert ask(ask(third["previous"]).json()["previous"]).json()["results"] == first["results"]
    assert (first["previous"], third["next"]) == (None, None)


def test_rows_that_are_added_meanwhile_make_no_row_come_twice_or_never(ask):
    """The newest comes first, and new ones are of the same day as those already handed out."""
    made = [lot.pk for lot in lots(days=(0, 0, 0, 0, 0))]
    seen, address = [], "/api/v1/lots/?page_size=2&ordering=-made_on,-id"
    while address:
        page = ask(address if address.startswith("http") else address[8:]).json()
        seen += [row["id"] for row in page["results"]]
        newer = builders.lot_in(builders.place(f"new-{len(seen)}"), 1000)
        Lot.objects.filter(pk=newer.pk).update(made_on=date(2026, 6, 1))
        address = page["next"]

    assert seen == sorted(made, reverse=True)


def test_empty_figures_come_first_and_are_walked_too(ask):
    made = [lot.pk for lot in lots(colour_mm=None)]
    Lot.objects.filter(pk=made[2]).update(colour_mm=20)

    rising = walked(ask, "lots/", ordering="colour_mm", page_size=1)
    falling = walked(ask, "lots/", ordering="-colour_mm", page_size=1)

    assert rising[-1] == [made[2]]
    assert falling[0] == [made[2]]
    assert sorted(row for page in falling for row in page) == made


@pytest.mark.parametrize("size", ["0", "-1", "1001", "x", "", "1.5", "١", "9" * 30])
def test_a_size_of_a_page_that_cannot_be_is_refused(ask, size):
    error = refused(ask("lots/", page_size=size), "page_size")

    assert error["detail"] == "Send a whole number from 1 to 1000."


def test_one_answer_carries_a_thousand_rows_at_most(ask):
    Customer.objects.bulk_create(Customer(name=f"Shop {number}") for number in range(1001))

    answer = ask("customers/", page_size=1000).json()

    assert len(answer["results"]) == 1000
    assert len(ask(answer["next"]).json()["results"]) == 1
    assert len(ask("customers/").json()["results"]) == 100


def test_a_list_that_declares_no_order_has_that_of_its_own(ask):
    made = [builders.customer(name).pk for name in ("B", "C", "A")]

    assert walked(ask, "customers/", ordering="-name") == [[made[1], made[0], made[2]]]
    refused(ask("customers/", ordering="terms_days"), "ordering")


def test_a_cursor_that_was_made_up_is_refused(ask):
    assert refused(ask("lots/", cursor="cD0yMDI2"), "cursor")["code"] == "bad_cursor"
    assert refused(ask("lots/", cursor=""), "cursor")["code"] == "bad_cursor"


def test_a_cursor_of_another_list_or_order_is_refused(ask):
    lots()
    following = ask("lots/", page_size=1).json()["next"]

    assert refused(ask(following.replace("/lots/", "/postings/")), "cursor")
    assert refused(ask(f"{following}&ordering=season"), "cursor")


def test_an_order_that_a_list_does_not_have_is_refused_with_those_it_has(ask):
    error = refused(ask("lots/", ordering="-made_on,weight"), "ordering")

    assert error["detail"].startswith("This list has no order by weight. Choose from: id, ")


# ------------------------------------------------------------------ unknown parameters


@pytest.mark.parametrize(
    "path",
    [
        "lots/",
        "lots/26-E01/",
        "reports/stock/",
        "recall/",
        "blend-search/",
        "sizes/1-lb/",
        "schema/",
    ],
)
def test_an_unknown_parameter_is_refused_wherever_it_is_sent(ask, path):
    builders.lot_in(builders.place("tank-1"), 1000)
    builders.size("One pound")

    error = refused(ask(path, statsu="open"), "statsu")

    assert error["code"] == "unknown_parameter"


def test_the_parameters_there_are_are_named(ask):
    assert refused(ask("lots/26-E01/", x="1"), "x")["detail"] == (
        "There is no parameter x here. There is: product."
    )
    assert refused(ask("sizes/1-lb/", x="1"), "x")["detail"] == (
        "There is no parameter x here; there is none at all."
    )


def test_a_parameter_of_an_act_is_refused_and_nothing_is_done(act):
    builders.place("tank-1")
    body = {"place": "tank-1", "grams": 1000, "season": 2026, "floral_source": "Clover"}

    error = refused(act("extractions/?dry=yes", {**body, "extracted_on": "2026-07-20"}), "dry")

    assert error["code"] == "unknown_parameter"
    assert not Lot.objects.exists()


def test_a_parameter_comes_once_unless_it_is_a_list(ask):
    assert refused(ask("lots/?page_size=1&page_size=2"), "page_size")["detail"] == (
        "Send page_size once."
    )
    assert ask("recall/?lot=1&lot=2").status_code == 200


def test_who_may_not_see_a_list_is_told_so_before_its_parameters(client):
    assert client.get("/api/v1/lots/?x=1").status_code == 401


def test_every_address_of_the_api_refuses_what_is_unknown():
    """Each derives from `ApiView`, which looks at the parameters; but pages for people."""
    pages = {"docs", "docs-subject", "docs-tour"}
    addresses = [
        at for at in get_resolver("apiary_sales.api.urls").url_patterns if at.name not in pages
    ]

    assert len(addresses) > 100
    assert [at for at in addresses if not issubclass(at.callback.cls, ApiView)] == []


# ------------------------------------------------------------------ unknown fields


def test_an_unknown_field_is_refused_however_deep_and_beside_what_else_is_wrong(act):
    body = {
        "place": "nowhere",
        "lines": [{"product": "1-lb", "pieces": 1}, {"pieces": 1, "product": "1-lb", "colour": 3}],
        "method": "card",
        "tip": 5,
    }

    answer = act("stand-sales/", body)

    assert answer.status_code == 400
    errors = {error["field"]: error for error in answer.json()["errors"]}
    assert {"place", "tip", "lines.1.colour"} <= set(errors)
    assert errors["lines.1.colour"]["detail"] == (
        "There is no field colour here. There is: product, pieces."
    )
    assert errors["tip"]["code"] == "unknown_field"


def test_an_act_that_takes_no_body_refuses_its_fields(act):
    error = refused(act("cleanings/1/remove/", {"why": "twice"}), "why")

    assert error["detail"] == "There is no field why here; there is none at all."


def test_the_schema_says_that_bodies_are_closed():
    """Each object of a body, and each object inside one."""
    schema = SchemaGenerator().get_schema(request=None, public=True)
    components = schema["components"]["schemas"]

    def objects(part):
        while "$ref" in part:
            part = components[part["$ref"].rpartition("/")[2]]
        if "properties" in part:
            yield part
        inside = [*part.get("properties", {}).values(), *part.get("allOf", [])]
        for each in [*inside, *([part["items"]] if "items" in part else [])]:
            yield from objects(each)

    bodies = [
        each
        for path in schema["paths"].values()
        for operation in path.values()
        for content in operation.get("requestBody", {}).get("content", {}).values()
        for each in objects(content["schema"])
    ]

    assert len(bodies) > 150
    assert [body for body in bodies if body["additionalProperties"] is not False] == []


# ------------------------------------------------------------------ ids

# What other things are called in answers.
THINGS = {
    *("brand", "credit_note", "customer", "drum", "invoice", "item", "lot", "order", "owner"),
    *("part", "place", "product", "receipt", "run", "service", "size", "source", "supplier"),
    *("target", "target_lot", "task", "variety", "supersedes", "bill"),
}
# What is kept of a recall are the names of its day; a season has no lot, and an event of a drum
# may have no order.
WITHOUT_IDS = {
    *("RecallHandedBack", "RecallPlace", "RecallReturn", "RecallSale", "RecallShortage"),
    *("RecallUnnamed", "RecallWaiting", "FlowOrigin", "DrumEvent"),
}


def test_what_an_answer_names_has_its_id_beside_it():
    components = SchemaGenerator().get_schema(request=None, public=True)["components"]["schemas"]

    lacking = [
        f"{component}.{name}"
        for component, schema in components.items()
        if not component.endswith("Request") and component not in WITHOUT_IDS
        for name, field in schema.get("properties", {}).items()
        if name in THINGS
        and "string" in field.get("type", [])
        and f"{name}_id" not in schema["properties"]
    ]

    assert lacking == []


def test_the_id_beside_a_name_is_that_of_the_row_it_points_at(ask):
    places = [builders.place(f"tank-{each}") for each in range(2)]
    lot = builders.bought_lot(places[0])

    [row] = ask("lots/").json()["results"]
    [stock] = ask("stock/").json()["results"]

    assert (row["supplier"], row["supplier_id"]) == ("Olmo Honey", lot.supplier_id)
    assert (row["product"], row["product_id"]) == (None, None)
    assert (stock["place_id"], stock["lot_id"]) == (places[0].pk, lot.pk)
