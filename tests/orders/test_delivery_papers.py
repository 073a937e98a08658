"""The papers of a delivery: rows that add up, seals, carrier and PO, in the buyer's language."""

import html
import re
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import translation

from apiary_sales.customers.models import Customer
from apiary_sales.customers.services import addresses
from apiary_sales.orders import delivery_papers
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.services import deliveries, orders, weigh_out
from apiary_sales.orders.services.weigh_out import DrumOnScale, ScaleUsed
from inventory.shared import documents
from inventory.shared.errors import HouseError
from inventory.shared.services import house as house_details
from tests import builders
from tests.orders.conftest import charge

LB = Decimal("453.59237")


def grams(pounds):
    return round(Decimal(pounds) * LB)


@pytest.fixture
def loaded(full_drum, drum_line, jar_line, jars, shelf, packer, owner):
    """Two drums of 653.5 lb and 648.5 lb net, sealed, and thirty jars."""
    builders.packed_lot(jars, shelf, 48)
    order = orders.take(
        customer=packer,
        channel="bulk",
        lines=[
            drum_line(full_drum(1)),
            drum_line(full_drum(2)),
            charge("drum_deposit", 2, "40"),
            jar_line(30),
        ],
        customer_reference="PO 4711",
        created_by=owner,
        key="order",
    )
    first, second = order.lines.filter(kind=OrderLine.Kind.HONEY).order_by("id")
    made = weigh_out.hand_over(
        order=order,
        filled_by=owner,
        key="out",
        drums={
            first.pk: DrumOnScale(gross_grams=grams("691.5"), tare_grams=grams("38"), seal="A-17"),
            second.pk: DrumOnScale(gross_grams=grams("688"), tare_grams=grams("39.5")),
        },
        scale=ScaleUsed(name="Floor scale 2", weighed_by="Bram"),
    )
    return delivery_papers.found().get(pk=made.pk)


def words_of(paper, fulfilment):
    text = documents.render_html(
        delivery_papers.TEMPLATES[paper], delivery_papers.context(fulfilment)
    )
    text = re.sub(r"<style>.*?</style>", " ", text, flags=re.DOTALL)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).split())


def test_gross_less_tare_is_net_in_every_row_and_in_the_totals(loaded):
    seen = words_of("delivery-note", loaded)

    assert "Drum 1" in seen
    assert "A-17 691.50 38.00 653.50" in seen
    assert "688.00 39.50 648.50" in seen
    assert "2 drums 1,379.50 77.50 1,302.00" in seen
    assert "Your PO number PO 4711" in seen
    assert "Floor scale 2" in seen
    assert "Bram" in seen


def test_the_papers_go_to_the_delivery_address_of_the_order(loaded, packer):
    loaded.order.ship_to = addresses.add(
        customer=packer, name="Rail siding", street="77 Quarry Bend", city="Tallow Hill", key="a"
    )
    loaded.order.save()

    seen = words_of("bill-of-lading", delivery_papers.found().get(pk=loaded.pk))

    assert "Ship to Rail siding 77 Quarry Bend Tallow Hill Sold to" in seen


def test_a_bill_of_lading_has_carrier_packages_and_lines_to_sign(loaded):
    deliveries.describe(
        fulfilment=loaded,
        carrier="Plains Freight",
        vehicle="Trailer 12",
        ship_to="Prairie Packers, dock 3\n9 Mill Lane",
        freight="collect",
    )
    loaded = delivery_papers.found().get(pk=loaded.pk)

    seen = words_of("bill-of-lading", loaded)

    assert "Plains Freight, Trailer 12" in seen
    assert "Prairie Packers, dock 3 9 Mill Lane" in seen
    assert "collect from the consignee" in seen
    # Two drums, and thirty jars in cases.
    cases = -(-30 // loaded.lines.get(lot__product__isnull=False).lot.product.pieces_per_case)
    assert f"Number of packages {2 + cases}" in seen
    assert "Carrier, signature and date" in seen


def test_a_packing_slip_has_pieces_and_lots_and_no_price(loaded):
    lot = loaded.lines.get(lot__product__isnull=False).lot
    seen = words_of("packing-slip", loaded)

    assert f"One pound {lot.code}" in seen
    assert "30 pieces" in seen
    for paper in delivery_papers.TEMPLATES:
        assert "$" not in words_of(paper, loaded)


def test_a_house_in_the_european_union_prints_kilograms(loaded):
    house_details.change(market="eu")

    seen = words_of("delivery-note", loaded)

    assert "Gross , kg" in seen or "Gross, kg" in seen
    # 691.5 lb are 313,659 g, 38 lb 17,237 g.
    assert "313.659 17.237 296.422" in seen


def test_the_pdf_is_in_the_language_of_the_customer(loaded):
    Customer.objects.update(language="es")
    loaded = delivery_papers.found().get(pk=loaded.pk)

    assert loaded.order.paper_language == "es"
    assert delivery_papers.pdf("delivery-note", loaded)[:5] == b"%PDF-"
    assert translation.get_language().startswith("en")


def test_a_detail_that_does_not_fit_is_refused_at_its_field(loaded):
    with pytest.raises(HouseError) as refused:
        deliveries.describe(fulfilment=loaded, freight="by air")

    assert [problem.parameter for problem in refused.value.problems] == ["freight"]


def test_the_pages_show_the_papers_and_take_the_carrier(loaded, client, owner):
    client.force_login(owner)
    number = loaded.order.number
    for paper in delivery_papers.TEMPLATES:
        page = client.get(reverse("orders:delivery_paper", args=[number, loaded.pk, paper]))
        assert page.status_code == 200
        assert "PO 4711" in page.text
        pdf = client.get(reverse("orders:delivery_paper_pdf", args=[number, loaded.pk, paper]))
        assert pdf.content[:5] == b"%PDF-"
    assert (
        client.get(reverse("orders:delivery_paper", args=[number, loaded.pk, "x"])).status_code
        == 404
    )

    address = reverse("orders:delivery", args=[number, loaded.pk])
    done = client.post(
        address, {"key": "k", "carrier": "Plains Freight", "packages": "4"}, follow=True
    )
    assert "Plains Freight" in done.text
    assert "Plains Freight" in client.get(address).text
    wrong = client.post(address, {"key": "k2", "freight": "by air"})
    assert wrong.status_code == 422


def test_drums_are_weighed_on_the_page_of_the_hand_over(
    full_drum, drum_line, packer, owner, client
):
    client.force_login(owner)
    order = orders.take(
        customer=packer,
        channel="bulk",
        lines=[drum_line(full_drum(1)), drum_line(full_drum(2))],
        created_by=owner,
        key="order",
    )
    first, second = order.lines.order_by("id")
    address = reverse("orders:order_fulfil", args=[order.number])
    page = client.get(address).text
    assert "legal for trade" in page
    assert "although it differs" not in page
    typed = {
        "key": "out",
        "filled_on": builders.today().isoformat(),
        f"line_{first.pk}": "on",
        f"gross_{first.pk}": "620",
        f"gross_{first.pk}_unit": "lb",
        f"seal_{first.pk}": "A-17",
        "scale": "Floor scale",
        "weighed_by": "Bram",
    }

    asked = client.post(address, typed)
    assert asked.status_code == 422
    assert "although it differs from the books" in asked.text
    heavy = client.post(address, {**typed, f"gross_{first.pk}": "20"})
    assert heavy.status_code == 422
    done = client.post(address, {**typed, "difference_is_right": "on"}, follow=True)

    assert "seal A-17" in " ".join(done.text.split())
    first.refresh_from_db()
    second.refresh_from_db()
    # 620 lb are 281,227 g; the drum weighs 18,000 g.
    assert (first.filled, second.filled) == (263_227, 0)
