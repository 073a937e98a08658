"""Files of lots, customers and orders through the API."""

import inspect
from decimal import Decimal

import pytest
from rest_framework.test import APIClient

from apiary_sales.api.files import FilesView
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders
from inventory.shared.models import Attachment
from inventory.shared.services import files
from tests import builders
from tests.uploads import PDF, image, upload

pytestmark = pytest.mark.django_db


@pytest.fixture
def api():
    """Return a maker of clients that are signed in by the token of a role."""

    def api(role: str = "office") -> APIClient:
        client = APIClient()
        client.credentials(HTTP_AUTHORIZATION=builders.authorization(role))
        return client

    return api


def order():
    product = builders.product()
    builders.packed_lot(product, builders.place("shelf", "shelf"))
    return orders.take(
        customer=builders.customer(),
        channel="shop",
        lines=[LineWanted(kind="packed", product=product, quantity=1, unit_price=Decimal(5))],
        created_by=builders.person("office"),
        key=builders.new_key(),
    )


@pytest.mark.parametrize("kind", ["lots", "customers", "orders"])
def test_a_file_is_attached_listed_and_read(api, kind):
    made = {
        "lots": lambda: builders.lot_in(builders.place("tank")).code,
        "customers": lambda: builders.customer("Files").pk,
        "orders": lambda: order().number,
    }
    address = f"/api/v1/{kind}/{made[kind]()}/files/"
    client = api()
    sent = {"file": upload("Lab.pdf"), "kind": "laboratory", "note": "from the packer"}

    answer = client.post(address, sent, HTTP_IDEMPOTENCY_KEY="once")
    again = client.post(address, {**sent, "file": upload()}, HTTP_IDEMPOTENCY_KEY="once")
    listed = client.get(address)
    read = client.get(listed.json()["results"][0]["url"])

    assert answer.status_code == 201
    assert answer.json()["added_by"] == "Office"
    assert (again.status_code, again.json()["code"]) == (409, "key_used")
    assert listed.json()["results"] == [answer.json()]
    assert (read.content, read["X-Content-Type-Options"]) == (PDF, "nosniff")
    assert Attachment.objects.get().note == "from the packer"


@pytest.mark.parametrize(
    ("sent", "status", "field"),
    [
        ({"kind": "photo"}, 400, "file"),
        ({"kind": "photo", "file": upload("a.gif", image("GIF"))}, 422, "file"),
        ({"kind": "photo", "file": upload("a.pdf", b"")}, 422, "file"),
        ({"kind": "nonsense", "file": upload()}, 400, "kind"),
        ({"kind": "photo", "file": upload(), "note": "n" * 201}, 400, "note"),
    ],
)
def test_a_refusal_names_its_field(api, sent, status, field):
    lot = builders.lot_in(builders.place("tank"))

    answer = api().post(f"/api/v1/lots/{lot.code}/files/", sent, HTTP_IDEMPOTENCY_KEY="k")

    assert answer.status_code == status
    assert [error["field"] for error in answer.json()["errors"]] == [field]


def test_every_field_is_named_by_the_parameter_it_goes_to():
    named = {FilesView().field_of(name) for name in inspect.signature(files.attach).parameters}

    assert named - {None} == set(FilesView.serializer_class().fields)


def test_files_of_customers_need_a_permission_to_see_and_another_to_add(api):
    address = f"/api/v1/customers/{builders.customer().pk}/files/"
    kept = api("office").post(
        address, {"file": upload(), "kind": "other"}, HTTP_IDEMPOTENCY_KEY="k"
    )
    url = kept.json()["url"]

    assert [api(role).get(url).status_code for role in ("bottling", "stand")] == [200, 403]
    assert [api(role).get(address).status_code for role in ("bottling", "stand")] == [200, 403]
    assert api("bottling").post(address, {"kind": "other"}).status_code == 403
