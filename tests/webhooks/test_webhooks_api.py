"""Programs that are told, and the messages to them, through the API."""

import pytest
from standardwebhooks import Webhook

from apiary_sales.webhooks.models import Endpoint
from tests import builders
from tests.mailing import worker

pytestmark = pytest.mark.django_db


@pytest.fixture
def call(client):
    def ask(method, path, body=None, role="owner"):
        return getattr(client, method)(
            f"/api/v1/{path}",
            body,
            content_type="application/json",
            headers={"Authorization": builders.authorization(role)},
        )

    return ask


def test_a_program_is_kept_tested_and_told_again(call, program):
    made = call(
        "post",
        "webhooks/",
        {
            "name": "Web shop",
            "url": program.url,
            "kinds": ["customer.changed"],
            "is_in_own_network": True,
        },
    )
    assert made.status_code == 201
    secret, pk = made.json()["secret"], made.json()["id"]
    assert call("post", f"webhooks/{pk}/test/").status_code == 201
    worker.do_all()
    [(_path, headers, body)] = program.got
    assert Webhook(secret).verify(body, headers)["type"] == "test"

    [row] = call("get", f"webhook-deliveries/?webhook_id={pk}").json()["results"]
    assert (row["state"], row["answer_status"], row["webhook_id"]) == ("taken", 204, pk)
    assert row["body"].encode() == body
    assert call("post", f"webhook-deliveries/{row['id']}/send-again/").json()["state"] == "waiting"
    worker.do_all()
    assert len(program.got) == 2
    assert call("get", f"webhook-deliveries/{row['id']}/").json()["state"] == "taken"


def test_a_program_is_changed_renewed_and_switched(call, endpoint):
    pk = endpoint.pk
    body = {"name": "Shop", "url": "https://shop.example/", "kinds": ["order.placed"]}
    assert call("post", f"webhooks/{pk}/change/", body).json()["kinds"] == ["order.placed"]
    assert call("post", f"webhooks/{pk}/renew-secret/").json()["secret"].startswith("whsec_")
    assert call("post", f"webhooks/{pk}/switch-off/").json()["is_on"] is False
    assert call("post", f"webhooks/{pk}/test/").status_code == 409
    assert call("post", f"webhooks/{pk}/switch-on/").json()["is_on"] is True
    [row] = call("get", "webhooks/").json()["results"]
    assert row == call("get", f"webhooks/{pk}/").json()
    assert "secret" not in str(row).replace("old_secret_until", "")


@pytest.mark.parametrize(
    "url", ["http://127.0.0.1:9/", "http://localhost:9/", "https://10.0.0.7/", "https://[::1]/"]
)
def test_an_address_in_our_own_network_is_refused_unless_it_is_said_to_be(call, url):
    body = {"name": "Till", "url": url, "kinds": ["order.placed"]}

    refused = call("post", "webhooks/", body)

    assert refused.status_code == 422
    [error] = refused.json()["errors"]
    assert error["field"] == "url"
    assert "Tick that the program is" in error["detail"]
    assert not Endpoint.objects.exists()
    added = call("post", "webhooks/", body | {"is_in_own_network": True})
    assert added.status_code == 201
    pk = added.json()["id"]
    assert call("post", f"webhooks/{pk}/change/", body).status_code == 422
    assert Endpoint.objects.get().is_in_own_network


def test_a_name_is_there_once(call, endpoint):
    body = {"name": "Web shop", "url": "https://shop.example/", "kinds": ["order.placed"]}

    answer = call("post", "webhooks/", body)

    assert answer.status_code in (400, 422)
    assert "There is a program of this name already." in answer.content.decode()
    assert Endpoint.objects.count() == 1


@pytest.mark.parametrize("role", ["office", "bottling", "stand"])
def test_only_the_owner_sees_them(call, endpoint, role):
    for path in ("webhooks/", f"webhooks/{endpoint.pk}/", "webhook-deliveries/"):
        assert call("get", path, role=role).status_code == 403
