"""The pages that change orders and quotes: what they show, what they refuse, and what they save."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.template.loader import render_to_string
from django.urls import reverse

from apiary_sales.customers.models import DeliveryAddress
from apiary_sales.customers.services import addresses
from apiary_sales.orders import papers
from apiary_sales.orders.models import Order
from apiary_sales.orders.queries import books
from apiary_sales.orders.queries import orders as found
from apiary_sales.orders.services import orders, quotes
from apiary_sales.pricing.models import PiecePrice
from inventory.stock.models import Balance
from inventory.stock.queries import books as stock_books
from inventory.stock.services import drums, stores
from tests import builders
from tests.orders.by_weight_room import wax, wax_lot
from tests.orders.conftest import charge

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _books_stay_whole(db):
    yield
    assert list(stock_books.faults()) == []
    assert list(books.faults()) == []


@pytest.fixture
def office(client):
    client.force_login(builders.person("office"))
    return client


@pytest.fixture
def order(shop, jars, shelf, jar_line, owner, key):
    builders.packed_lot(jars, shelf, 60)
    return orders.take(
        customer=shop, channel="shop", lines=[jar_line(24)], created_by=owner, key=key()
    )


@pytest.fixture
def quoted(packer, owner, key, drum_line):
    def make(*drums, **fields):
        return quotes.quote(
            customer=packer,
            lines=[*map(drum_line, drums), charge("drum_deposit", len(drums), "40")],
            valid_until=builders.today() + timedelta(days=14),
            created_by=owner,
            key=key(),
            **fields,
        )

    return make


def filled_in(client, address) -> dict:
    """Return what a page's form would send if nobody typed anything."""
    form = client.get(address).context["form"]
    values = {name: form[name].value() for name in form.fields}
    return {
        name: value if not isinstance(value, Decimal) else f"{value:f}"
        for name, value in values.items()
        if value not in (None, False)
    }


def address_of(name, order, *args) -> str:
    return reverse(f"orders:{name}", args=[order.number, *args])


def test_pieces_and_price_are_changed_on_the_page(office, order):
    line = order.lines.get()
    address = address_of("order_change", order)
    typed = filled_in(office, address) | {
        f"quantity_{line.pk}": "30",
        f"price_{line.pk}": "6.20",
        f"reason_{line.pk}": "promised at the fair",
        "customer_reference": "PO 4711",
    }

    answer = office.post(address, typed, follow=True)

    line.refresh_from_db()
    assert (line.quantity, line.unit_price) == (30, Decimal("6.20"))
    assert f"{order.number} is changed. It comes to $186.00 before tax now." in answer.text
    assert "One pound: 24 pieces → 30 pieces" in answer.text
    assert "PO 4711" in answer.text


def test_a_page_that_was_left_as_it_is_changes_nothing(office, order, quoted, full_drum):
    for made in (order, quoted(full_drum(7, 297_218))):
        address = address_of("order_change", made)

        answer = office.post(address, filled_in(office, address))

        assert answer.status_code == 422
        assert "Nothing was changed." in answer.text


def test_two_people_do_not_overwrite_each_other(office, order):
    line = order.lines.get()
    address = address_of("order_change", order)
    mine = filled_in(office, address) | {f"quantity_{line.pk}": "20"}
    theirs = filled_in(office, address) | {f"quantity_{line.pk}": "30"}
    office.post(address, theirs)

    answer = office.post(address, mine)

    line.refresh_from_db()
    assert (answer.status_code, line.quantity) == (422, 30)
    assert "was changed while this page was open" in answer.text


def test_what_is_wrong_is_said_at_its_field(office, order):
    line = order.lines.get()
    address = address_of("order_change", order)

    answer = office.post(
        address,
        filled_in(office, address) | {f"quantity_{line.pk}": "999", f"price_{line.pk}": "6"},
    )

    assert list(answer.context["form"].errors) == [f"reason_{line.pk}"]
    answer = office.post(address, filled_in(office, address) | {f"quantity_{line.pk}": "999"})
    assert list(answer.context["form"].errors) == [f"quantity_{line.pk}"]


def test_goods_are_added_at_the_price_of_the_list(office, order, shelf):
    other = builders.product("Two pound", "2")
    builders.packed_lot(other, shelf, 48)
    PiecePrice.objects.create(tier="shop", product=other, piece_cents=1_100)
    address = address_of("order_change", order)
    typed = filled_in(office, address) | {"new_product_0": other.pk, "new_pieces_0": "12"}

    office.post(address, typed)

    assert order.lines.get(product=other).amount_cents == 13_200


def test_a_drum_is_added_to_a_quote_and_another_taken_off(office, quoted, full_drum):
    seven, eight = full_drum(7), full_drum(8)
    order = quoted(seven)
    line = order.lines.get(kind="honey")
    address = address_of("order_change", order)
    typed = filled_in(office, address) | {
        f"quantity_{line.pk}": "on",
        "new_drum_0": eight.pk,
        "new_drum_price_0": "2.20",
    }

    answer = office.post(address, typed)

    assert answer.status_code == 302
    assert order.lines.get(kind="honey").drum == eight


def test_a_drum_added_beside_drums_on_deposit_is_said_to_have_none(office, quoted, full_drum):
    order = quoted(full_drum(7), full_drum(8))
    said = "3 drums leave, and 2 of them are on deposit or sold. Add a deposit if the new drum has"
    assert said not in office.get(address_of("order_detail", order)).text
    address = address_of("order_change", order)
    typed = filled_in(office, address) | {
        "new_drum_0": full_drum(9).pk,
        "new_drum_price_0": "2.20",
    }

    answer = office.post(address, typed, follow=True)

    assert answer.text.count(said) == 2  # in the message, and on the order while it is open
    deposit = order.lines.get(kind="drum_deposit")
    changed = filled_in(office, address) | {f"quantity_{deposit.pk}": "3"}
    assert said not in office.post(address, changed, follow=True).text


def test_other_jars_are_put_in_place_on_the_page(office, order, shelf):
    other = builders.product("Two pound", "2")
    builders.packed_lot(other, shelf, 48)
    line = order.lines.get()
    address = address_of("order_substitute", order, line.pk)
    typed = filled_in(office, address) | {
        "what": other.pk,
        "quantity": "12",
        "unit_price": "11",
        "reason": "out of the small ones",
    }

    answer = office.post(address, typed, follow=True)

    assert order.lines.get().product == other
    assert "comes to $132.00 before tax now" in answer.text
    assert "24 pieces of One pound → 12 pieces of Two pound at $11.00" in answer.text


def test_goods_by_weight_are_put_in_place_of_jars_by_the_pound(office, order, shelf):
    """12 lb are 5,443 g, by the pound of 453.59237 g."""
    product = wax()
    wax_lot(product, shelf, 9_072)
    address = address_of("order_substitute", order, order.lines.get().pk)
    page = office.get(address).text
    typed = filled_in(office, address) | {
        "what": product.pk,
        "quantity": "12",
        "unit_price": "9",
        "reason": "the buyer asked",
    }

    office.post(address, typed)

    assert f"{product.name} (20.0 lb free)" in page
    assert "Pieces, or pounds of goods by weight" in page
    line = order.lines.get()
    assert (line.product, line.quantity, line.amount_cents) == (product, 5_443, 10_800)


def test_goods_that_are_gone_are_on_today_and_in_the_list_with_what_to_do(
    office, order, jars, shelf, owner, key
):
    lot = order.lines.get().reservations.get().lot
    stores.count(
        item=jars.item,
        lot=lot,
        place=shelf,
        counted=20,
        reason="Counted",
        counted_on=builders.today() - timedelta(days=1),
        recorded_by=owner,
        key=key(),
    )

    today, listed, page = (
        office.get(address).text
        for address in (
            reverse("web:today"),
            reverse("orders:selling"),
            address_of("order_detail", order),
        )
    )

    for text in (today, listed):
        assert "Goods reserved for 1 order turned out to be gone." in text
        assert "reserved goods are gone" in text
    assert "Goods that were reserved for this order turned out to be gone:" in page
    for name in ("order_reserve_missing", "order_change"):
        assert address_of(name, order) in page
    builders.packed_lot(jars, shelf, 10)
    address = address_of("order_reserve_missing", order)
    done = office.post(address, filled_in(office, address), follow=True)
    assert f"All goods of order {order.number} are reserved again." in done.text
    assert "turned out to be gone" not in done.text


@pytest.mark.parametrize(
    ("name", "status", "stamp"),
    [
        ("quote_decline", "declined", "declined"),
        ("quote_withdraw", "withdrawn", "withdrawn"),
    ],
)
def test_a_quote_is_ended_on_the_page_and_its_paper_says_so(
    office, quoted, full_drum, name, status, stamp
):
    order = quoted(full_drum(7))
    address = address_of(name, order)

    page = office.post(address, filled_in(office, address) | {"reason": "too dark"}, follow=True)

    order.refresh_from_db()
    assert order.status == status
    assert "too dark" in page.text
    assert f'<p class="across">{stamp}</p>' in paper_of(order)


def paper_of(order) -> str:
    made = found.quoted().get(pk=order.pk)
    context = {**papers.order_context(made), "house": {"name": "House"}}
    return render_to_string("documents/quote.html", context)


def test_the_paper_of_an_open_quote_has_no_stamp(quoted, full_drum):
    paper = paper_of(quoted(full_drum(7), customer_reference="PO 12"))

    assert 'class="across"' not in paper
    assert "PO 12" in paper


def test_the_papers_of_expired_replaced_and_accepted_quotes_say_so(quoted, full_drum, owner, key):
    old, new = quoted(full_drum(7)), None
    new = quoted(full_drum(8), supersedes=old)
    assert f"Quote {new.number} takes the place of this one." in paper_of(old)
    Order.objects.filter(pk=new.pk).update(valid_until=builders.today() - timedelta(days=1))
    assert "expired" in paper_of(new)
    Order.objects.filter(pk=new.pk).update(valid_until=builders.today())
    quotes.accept(order=new, accepted_by=owner, key=key())
    assert f"This quote was accepted, and is order {new.number} now." in paper_of(new)


def test_an_expired_quote_is_listed_as_expired_and_can_be_quoted_again(office, quoted, full_drum):
    order = quoted(full_drum(7))
    Order.objects.update(valid_until=builders.today() - timedelta(days=1))

    expired, open_ones = (
        office.get(reverse("orders:selling"), {"status": status}).context["found"]
        for status in ("expired", "quoted")
    )

    assert [row.order for row in expired] == [order]
    assert open_ones == []
    page = office.get(address_of("order_detail", order)).text
    assert f"{reverse('orders:quote_create')}?again={order.number}" in page
    assert address_of("order_change", order) not in page


def test_to_quote_again_takes_the_place_of_the_open_quote(office, quoted, full_drum, packer):
    seven = full_drum(7)
    old = quoted(seven)
    address = f"{reverse('orders:quote_create')}?again={old.number}"
    typed = filled_in(office, address) | {f"price_{seven.pk}": "2.30"}

    page = office.post(address, typed, follow=True)

    old.refresh_from_db()
    assert old.status == Order.Status.SUPERSEDED
    # 650.364 lb at $2.30; the house takes no deposit unless one is entered.
    assert old.superseded_by.total_cents == 149_584
    assert "is saved" in page.text
    assert (
        "A newer quote takes the place of this one:"
        in office.get(address_of("order_detail", old)).text
    )


def test_a_quote_that_was_replaced_is_quoted_again_from_the_newest(office, quoted, full_drum):
    seven = full_drum(7)
    old = quoted(seven)
    address = f"{reverse('orders:quote_create')}?again={old.number}"
    typed = filled_in(office, address) | {f"price_{seven.pk}": "2.30"}
    office.post(address, typed)
    newer = Order.objects.get(supersedes=old)

    opened = office.get(address, follow=True)
    sent = office.post(address, typed | {"key": "late"})

    assert opened.redirect_chain[0][0].endswith(f"?again={newer.number}")
    assert f"takes the place of {newer.number}" in opened.text
    assert sent.status_code == 422
    assert (
        f"Quote {old.number} was replaced by a newer quote, {newer.number}. Open that one."
        in sent.text
    )
    assert Order.objects.count() == 2


@pytest.mark.parametrize("name", ["quote_accept", "quote_decline", "quote_withdraw"])
def test_the_acts_on_a_quote_that_is_no_longer_open_say_so(
    office, quoted, full_drum, owner, key, name
):
    order = quoted(full_drum(7))
    quotes.decline(order=order, declined_by=owner, key=key(), reason="too dark")

    page = office.get(address_of(name, order), follow=True)

    assert page.redirect_chain[0][0] == address_of("order_detail", order)
    assert f"{order.number} is no longer an open quote." in page.text


def test_jars_are_quoted_and_quoted_again_on_the_page(office, shop, jars, shelf):
    PiecePrice.objects.create(tier="shop", product=jars, piece_cents=650)
    address = f"{reverse('orders:jar_quote_create')}?customer={shop.pk}"
    typed = filled_in(office, address) | {
        "channel": "shop",
        f"pieces_{jars.pk}": "24",
        "customer_reference": "PO 5",
        "expected_total_cents": "15600",
    }

    office.post(address, typed)

    order = Order.objects.get()
    assert (order.status, order.total_cents, order.channel) == ("quoted", 15_600, "shop")
    again = office.get(f"{reverse('orders:jar_quote_create')}?again={order.number}")
    assert again.context["form"][f"pieces_{jars.pk}"].value() == 24
    assert f"takes the place of {order.number}" in again.text
    assert office.get(address_of("quote_pdf", order)).status_code == 200


def test_the_button_sends_the_total_that_was_shown(office, shop, jars, shelf):
    builders.packed_lot(jars, shelf, 60)
    price = PiecePrice.objects.create(tier="shop", product=jars, piece_cents=650)
    address = f"{reverse('orders:order_create')}?customer={shop.pk}"
    typed = filled_in(office, address) | {"channel": "shop", f"pieces_{jars.pk}": "10"}
    shown = office.post(reverse("orders:order_total"), typed).text
    assert 'name="expected_total_cents" value="6500"' in shown
    price.piece_cents = 660
    price.save()

    refused = office.post(address, typed | {"expected_total_cents": "6500"})
    taken = office.post(address, typed | {"expected_total_cents": "6600"})

    assert refused.status_code == 422
    assert "it comes to $66.00 now, and $65.00 was shown" in refused.text
    assert 'name="expected_total_cents" value="6600"' in refused.text
    assert (taken.status_code, Order.objects.get().total_cents) == (302, 6_600)


def test_the_weight_of_now_is_shown_before_a_quote_is_accepted(
    office, quoted, full_drum, owner, key
):
    seven = full_drum(7)
    order = quoted(seven)
    address = address_of("quote_accept", order)
    before = filled_in(office, address) | {"expected_total_cents": "143828"}
    drums.weigh_again(drum=seven, gross_grams=18_000 + 296_000, recorded_by=owner, key=key())

    refused = office.post(address, before)
    shown = office.get(address)

    # The drum comes to $1,403.02 now, and its deposit to $40.00.
    assert "it comes to $1,443.02 now, and $1,438.28 was shown" in refused.text
    assert "Drums on this quote were weighed again since." in shown.text
    assert 'Reserve the goods for <span class="money">$1,443.02</span>' in shown.text
    taken = office.post(address, before | {"expected_total_cents": "144302"})
    assert taken.status_code == 302
    assert Balance.objects.in_vessel(seven).reserved == 296_000


def test_an_address_is_added_chosen_and_taken_off_the_list(office, order, shop):
    address = reverse("customers:address_create", args=[shop.pk])
    office.post(address, filled_in(office, address) | {"name": "The barn", "city": "Elm Hollow"})
    barn = DeliveryAddress.objects.get()
    page = address_of("order_change", order)

    office.post(page, filled_in(office, page) | {"ship_to": barn.pk})
    remove = reverse("customers:address_remove", args=[barn.pk])
    office.post(remove, filled_in(office, remove))

    order.refresh_from_db()
    assert order.deliver_to == barn
    assert "The barn" in office.get(address_of("order_detail", order)).text
    assert "The barn" not in office.get(reverse("customers:detail", args=[shop.pk])).text


def test_an_address_needs_a_place(office, shop):
    address = reverse("customers:address_create", args=[shop.pk])

    answer = office.post(address, filled_in(office, address) | {"name": "The barn"})

    assert answer.context["form"].errors == {"street": ["Enter the street or the town."]}
    assert DeliveryAddress.objects.count() == 0


def test_the_same_address_form_sent_twice_adds_one(shop):
    addresses.add(customer=shop, name="The barn", city="Elm Hollow", key="barn")

    with pytest.raises(Exception, match=r"This was recorded already\."):
        addresses.add(customer=shop, name="The barn", city="Elm Hollow", key="barn")

    assert DeliveryAddress.objects.count() == 1


@pytest.mark.parametrize(
    "name",
    ["order_change", "order_reserve_missing", "quote_decline", "quote_withdraw"],
)
def test_bottling_does_not_change_orders(client, order, name):
    client.force_login(builders.person("bottling"))

    assert client.get(address_of(name, order)).status_code == 403
