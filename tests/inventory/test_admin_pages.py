"""The back office: the ledger can be looked at and not touched."""

import pytest
from django.urls import reverse

from inventory.stock.models import Balance, Posting
from tests import builders
from tests.inventory.pages import books_unchanged, signed_in

pytestmark = pytest.mark.django_db

LEDGER = ["posting", "balance", "dipreading", "partreceipt", "bottlingrun", "fillcheck"]
REFERENCE = ["lot", "place", "tankshape", "size", "packagingpart", "productionsettings"]


@pytest.mark.parametrize("name", [*LEDGER, *REFERENCE])
def test_the_owner_can_look_at_every_table(name):
    builders.lot_in(builders.place("tank-1"))

    response = signed_in("owner").get(reverse(f"admin:inventory_{name}_changelist"))

    assert response.status_code == 200


@pytest.mark.parametrize("name", LEDGER)
def test_nothing_is_added_to_the_ledger_by_hand(name):
    response = signed_in("owner").get(reverse(f"admin:inventory_{name}_add"))

    assert response.status_code == 403


@pytest.mark.parametrize("model", [Posting, Balance])
def test_the_ledger_is_read_and_neither_changed_nor_deleted(model):
    builders.lot_in(builders.place("tank-1"))
    owner, row = signed_in("owner"), model.objects.first()
    name = model._meta.model_name
    change = reverse(f"admin:inventory_{name}_change", args=[row.pk])

    with books_unchanged():
        assert owner.get(change).status_code == 200
        assert owner.post(change, {"quantity": "1", "note": "x"}).status_code == 403
        delete = reverse(f"admin:inventory_{name}_delete", args=[row.pk])
        assert owner.post(delete, {"post": "yes"}).status_code == 403


def test_a_lots_words_are_corrected_and_its_quantity_is_not():
    lot = builders.lot_in(builders.place("tank-1"), 1000)
    url = reverse("admin:inventory_lot_change", args=[lot.pk])

    response = signed_in("owner").post(
        url,
        {
            "season": "2026",
            "floral_source": "Basswood",
            "made_on": "2026-07-20",
            "moisture_percent": "17.4",
            "quantity_made": "999999",
            "parent_links-TOTAL_FORMS": "0",
            "parent_links-INITIAL_FORMS": "0",
        },
    )

    lot.refresh_from_db()
    assert response.status_code == 302
    assert (lot.floral_source, lot.quantity_made) == ("Basswood", 1000)


def test_others_do_not_enter_the_back_office():
    response = signed_in("bottling").get(reverse("admin:inventory_posting_changelist"))

    assert response.status_code == 302
    assert "login" in response.url or "sign-in" in response.url
