"""Suppliers: added, changed, typed where parts come in, and made of what was typed before."""

from datetime import date

import pytest
from django.urls import reverse

from inventory.bottling.models import PartReceipt
from inventory.shared.errors import BadValue
from inventory.stock.models import Place, Supplier
from inventory.stock.services import suppliers
from tests import builders
from tests.inventory import bottling_room, pages

pytestmark = pytest.mark.django_db


def test_two_suppliers_cannot_have_one_name_however_it_is_written():
    suppliers.add(name="Valley Glass")

    with pytest.raises(BadValue) as refused:
        suppliers.add(name=" valley  GLASS ")

    assert refused.value.message == (
        "There is a supplier called Valley Glass already. Open that one, or add the town to this "
        "name."
    )
    assert refused.value.parameter == "name"


def test_a_country_is_one_of_iso_3166():
    with pytest.raises(BadValue) as refused:
        suppliers.add(name="Valley Glass", country="XQ")

    assert refused.value.message == "Enter a country by its two letters, for example ES."
    assert refused.value.parameter == "country"


def test_a_new_name_typed_where_parts_come_in_makes_a_supplier_of_parts():
    shelf = builders.place("shelf", Place.Kind.SHELF)

    for name in ("Valley Glass", "valley glass"):
        bottling_room.parts.receive(
            part=builders.part(f"Jar {name}"),
            place=shelf,
            pieces=10,
            cost_cents=600,
            supplier=name,
            received_on=date(2026, 8, 1),
            recorded_by=builders.person(),
            key=builders.new_key(),
        )

    only = Supplier.objects.get()
    assert (only.name, only.kind) == ("Valley Glass", "parts")
    assert set(PartReceipt.objects.values_list("supplier", flat=True)) == {only.pk}


def test_the_page_of_a_supplier_is_made_and_changed():
    client = pages.signed_in("office")
    typed = {"key": "one", "name": "Olmo Honey", "kind": "producer", "country": "ES"}

    added = client.post(reverse("inventory:supplier_add"), {**typed, "is_active": "on"})
    supplier = Supplier.objects.get()
    client.post(
        reverse("inventory:supplier_edit", args=[supplier.pk]),
        {**typed, "key": "two", "city": "Cuenca"},
    )

    assert added.url == reverse("inventory:supplier_detail", args=[supplier.pk])
    supplier.refresh_from_db()
    assert (supplier.city, supplier.is_active) == ("Cuenca", False)
    assert "Spain" in pages.text(client.get(added.url))
    listed = reverse("inventory:supplier_list")
    assert "Olmo Honey" not in pages.text(client.get(listed))
    assert "Olmo Honey" in pages.text(client.get(listed, {"all": "on", "words": "cuen"}))


def test_the_form_of_parts_offers_the_suppliers_in_use():
    suppliers.add(name="Valley Glass")
    suppliers.add(name="Gone Glass", is_active=False)
    bottling_room.set_up(pieces=0, cases=0)

    page = pages.signed_in().get(reverse("inventory:part_receive")).content.decode()

    assert '<option value="Valley Glass"></option>' in page
    assert "Gone Glass" not in page
