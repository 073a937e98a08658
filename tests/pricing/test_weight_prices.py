"""What a pound costs: of honey by variety, of goods by weight, and of bulk honey."""

from datetime import date
from decimal import Decimal

import pytest
from django.urls import reverse

from apiary_sales.pricing.models import Service, WeightPrice
from apiary_sales.pricing.queries import weight_prices as read
from apiary_sales.pricing.services import prices, service_list, weight_prices
from inventory.bottling.models import Variety
from inventory.shared.errors import BadValue
from inventory.stock.models import Lot
from tests import builders
from tests.orders.by_weight_room import wax

pytestmark = pytest.mark.django_db

MAY, JUNE = date(2026, 5, 1), date(2026, 6, 1)


def set_price(price, *, tier="stand", valid_from=MAY, **what):
    return weight_prices.set_price(
        tier=tier,
        price_per_pound=None if price is None else Decimal(price),
        valid_from=valid_from,
        **what,
    )


def lot(source, **fields):
    return Lot(floral_source=source, moisture_percent=Decimal("17.4"), **fields)


def test_the_variety_that_names_the_source_goes_before_any_honey():
    buckwheat = Variety.objects.create(name="Buckwheat", floral_source="Buckwheat")
    blend = Variety.objects.create(name="House blend")
    set_price("4.25")
    set_price("6.5000", variety=buckwheat)
    set_price("9.99", variety=blend)

    found = read.of_tier("stand", MAY)

    assert found.of_honey(lot("Wild buckwheat")) == Decimal("6.5")
    assert found.of_honey(lot("Clover")) == Decimal("4.25")


def test_a_later_price_takes_over_and_one_without_a_figure_ends_it():
    product = wax()
    set_price("9.50", product=product)
    set_price("9.7525", product=product, valid_from=JUNE)
    set_price(None, product=product, valid_from=date(2026, 7, 1))

    found = [read.of_tier("stand", day).of_product(product) for day in (MAY, JUNE)]

    assert found == [Decimal("9.5"), Decimal("9.7525")]
    assert read.of_tier("stand", date(2026, 7, 1)).of_product(product) is None
    assert read.of_tier("shop", JUNE).of_product(product) is None
    assert WeightPrice.objects.count() == 3


def test_the_same_price_set_twice_for_a_day_is_one_row():
    first = set_price("4.25")

    assert set_price("4.25") == first
    assert WeightPrice.objects.count() == 1


def test_a_bulk_buyer_pays_the_drum_price_for_honey():
    prices.set_bulk(price_per_pound=Decimal("2.65"), valid_from=MAY)
    set_price("4.25", tier="bulk")

    assert read.of_tier("bulk", MAY).of_honey(lot("Clover")) == Decimal("2.65")


def test_goods_in_pieces_have_no_price_a_pound():
    with pytest.raises(BadValue, match="One pound is sold by the piece"):
        set_price("4.25", product=builders.product())


def test_the_table_shows_honey_before_goods_with_every_tier(client):
    set_price("9.50", product=wax())
    set_price("4.25", tier="shop")
    client.force_login(builders.person())

    answer = client.get(reverse("pricing:weight_prices"), {"on": "2026-05-01"})

    assert [row.what for row in answer.context["rows"]] == ["any honey", "Beeswax"]
    assert "$4.25" in answer.content.decode()


def test_the_page_sets_a_price_of_goods(client):
    product = wax()
    client.force_login(builders.person("office"))

    answer = client.post(
        reverse("pricing:weight_price_set"),
        {
            "tier": "stand",
            "what": f"product-{product.pk}",
            "price_per_pound": "9.50",
            "valid_from": "2026-05-01",
        },
    )

    assert answer.status_code == 302
    row = WeightPrice.objects.get()
    assert (row.product, row.variety, row.price_per_pound) == (product, None, Decimal("9.5"))


def test_the_usual_services_are_added_once():
    made = service_list.add_usual()

    assert [service.code for service in made] == [
        "pollination",
        "extracting",
        "packing",
        "storage",
        "work-by-the-hour",
        "returned-check",
        "interest",
    ]
    assert {service.usual_price for service in made} == {None}
    assert service_list.add_usual() == []


def test_a_service_is_added_and_changed_on_its_page(client):
    client.force_login(builders.person("office"))
    typed = {
        "name": "Pollination",
        "unit": "hive",
        "usual_price": "62.50",
        "unit_cost": "",
        "taxed_as": "services",
    }

    client.post(reverse("pricing:service_add"), typed)
    changed = {**typed, "usual_price": "65", "taxed_as": ""}
    client.post(reverse("pricing:service_change", args=["pollination"]), changed)

    service = Service.objects.get()
    assert (service.unit, service.usual_price, service.unit_cost) == ("hive", Decimal(65), None)
    assert (service.taxed_as, service.is_active) == ("", False)


def test_the_stand_sees_services_and_changes_none(client):
    client.force_login(builders.person("stand"))

    assert client.get(reverse("pricing:services")).status_code == 200
    assert client.post(reverse("pricing:services_usual")).status_code == 403
    assert not Service.objects.exists()
