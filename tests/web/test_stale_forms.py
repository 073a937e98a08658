"""Two people have the same form open: neither undoes what the other changed."""

import re
from datetime import timedelta
from pathlib import Path

import pytest
import time_machine
from django.conf import settings
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone
from lxml import html

from apiary_sales.customers.models import Customer
from apiary_sales.customers.services import customers
from inventory.bottling.models import Size
from inventory.shared.models import House
from inventory.shared.views import ActView
from tests import builders
from tests.rivals import together

pytestmark = pytest.mark.django_db


def signed_in(role):
    client = Client()
    client.force_login(builders.person(role))
    return client


def opened(client, address):
    """Return what the form of a page sends when nobody touches it."""
    return values(client.get(address))


def values(response):
    page = html.fromstring(response.text)
    [form] = page.xpath("//main//form[.//input[@name='opened']]")
    return dict(form.form_values())


def page_of(response):
    return " ".join(html.fromstring(response.text).xpath("//main")[0].text_content().split())


@pytest.fixture
def grocery():
    return builders.customer(phone="111", city="Alder Falls", note="")


@pytest.fixture
def address(grocery):
    return reverse("customers:edit", args=[grocery.pk])


def test_what_only_the_other_person_changed_is_kept(grocery, address):
    ines, odile = signed_in("office"), signed_in("owner")
    form = opened(odile, address)
    ines.post(address, opened(ines, address) | {"phone": "222"})

    answer = odile.post(address, form | {"city": "Birch Ford"})

    assert answer.status_code == 302
    grocery.refresh_from_db()
    assert (grocery.phone, grocery.city) == ("222", "Birch Ford")


def test_what_both_changed_is_shown_side_by_side_and_nothing_is_saved(grocery, address):
    ines, odile = signed_in("office"), signed_in("owner")
    form = opened(odile, address)
    at = timezone.localtime()
    ines.post(address, opened(ines, address) | {"phone": "222", "note": "Rings twice"})

    answer = odile.post(address, form | {"phone": "333", "city": "Birch Ford"})

    assert answer.status_code == 422
    grocery.refresh_from_db()
    assert (grocery.phone, grocery.city) == ("222", "Alder Falls")
    said = page_of(answer)
    assert f"{builders.person('office').display_name} changed this at" in said
    assert "Telephone 222 333" in said
    assert "City" not in re.sub(r".*Yours", "", said.split("The form below")[0])
    assert at <= timezone.localtime()
    again = values(answer)
    assert (again["phone"], again["city"], again["note"].strip()) == (
        "333",
        "Birch Ford",
        "Rings twice",
    )


def test_mine_is_saved_all_the_same_when_it_is_asked_for(grocery, address):
    odile = signed_in("owner")
    form = opened(odile, address)
    customers.change(grocery, phone="222", note="Rings twice")
    refused = odile.post(address, form | {"phone": "333"})

    answer = odile.post(address, values(refused))

    assert answer.status_code == 302
    grocery.refresh_from_db()
    assert (grocery.phone, grocery.note) == ("333", "Rings twice")


def test_theirs_is_taken_by_opening_the_page_anew(grocery, address):
    odile = signed_in("owner")
    form = opened(odile, address)
    customers.change(grocery, phone="222")
    refused = odile.post(address, form | {"phone": "333"})
    [link] = html.fromstring(refused.text).xpath("//a[text()='Take theirs']/@href")

    assert link == ""
    assert opened(odile, address)["phone"] == "222"


def test_a_change_between_the_refusal_and_the_next_try_is_found_too(grocery, address):
    odile = signed_in("owner")
    form = opened(odile, address)
    customers.change(grocery, phone="222")
    refused = odile.post(address, form | {"phone": "333"})
    customers.change(grocery, phone="444")

    answer = odile.post(address, values(refused))

    assert answer.status_code == 422
    grocery.refresh_from_db()
    assert grocery.phone == "444"


def test_the_same_change_by_both_is_no_difference(grocery, address):
    odile = signed_in("owner")
    form = opened(odile, address)
    customers.change(grocery, phone="222")

    assert odile.post(address, form | {"phone": "222"}).status_code == 302


def test_a_refused_form_still_tells_what_it_was_opened_on(grocery, address):
    odile = signed_in("owner")
    form = opened(odile, address)
    customers.change(grocery, phone="222")
    refused = odile.post(address, form | {"phone": "333", "name": ""})

    answer = odile.post(address, values(refused) | {"name": grocery.name})

    assert answer.status_code == 422
    grocery.refresh_from_db()
    assert grocery.phone == "222"


@pytest.mark.parametrize("stamp", ["x", "@=1", "@=99999999999999&phone=", "phone=%00", "=&=&&"])
def test_a_stamp_that_no_page_wrote_saves_nothing_over_another_or_saves_mine(
    grocery, address, stamp
):
    odile = signed_in("owner")
    form = opened(odile, address) | {"opened": stamp, "phone": "333"}

    assert odile.post(address, form).status_code in (302, 422)


def test_rows_of_a_list_are_one_thing(client):
    size, jar, lid = builders.size(), builders.part(), builders.part("Lid", kind="lid")
    address = reverse("inventory:size_edit", args=[size.code])
    odile, bram = signed_in("owner"), signed_in("bottling")
    form = opened(odile, address)
    saved = bram.post(
        address, opened(bram, address) | {"parts-0-part": jar.pk, "parts-0-quantity": 1}
    )
    assert saved.status_code == 302, page_of(saved)
    assert [use.part for use in size.size_parts.all()] == [jar]

    answer = odile.post(address, form | {"parts-0-part": lid.pk, "parts-0-quantity": 1})

    assert answer.status_code == 422
    assert [use.part for use in size.size_parts.all()] == [jar]
    kept = odile.post(address, form | {"name": "Pound jar"})
    assert kept.status_code == 302
    assert [use.part for use in size.size_parts.all()] == [jar]
    assert Size.objects.get().name == "Pound jar"


def test_settings_that_were_never_saved_are_not_undone_either():
    ines, odile = signed_in("office"), signed_in("owner")
    address = reverse("billing:settings")
    form = opened(odile, address)
    ines.post(address, opened(ines, address) | {"city": "Alder Falls"})

    answer = odile.post(address, form | {"city": "Birch Ford"})

    assert answer.status_code == 422
    assert House.current().city == "Alder Falls"


def test_a_day_that_begins_with_today_is_no_change_of_another(client):
    product = builders.product()
    address = reverse("pricing:price_set", args=[product.code])
    owner = builders.person("owner")
    client.force_login(owner)
    form = opened(client, address)

    with time_machine.travel(timezone.now() + timedelta(hours=11)):
        client.force_login(owner)
        answer = client.post(address, form | {"stand_piece_cents": "9.00"})

    assert answer.status_code == 302
    [price] = product.prices.all()
    assert f"{price.valid_from:%Y-%m-%d}" == form["valid_from"]


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_of_two_who_save_at_the_same_second_one_is_told(grocery, address):
    ines, odile = signed_in("office"), signed_in("owner")
    forms = {ines: opened(ines, address) | {"phone": "222"}}
    forms[odile] = opened(odile, address) | {"phone": "333"}

    answers = together(*[lambda who=who: who.post(address, forms[who]) for who in forms])

    assert sorted(each.status_code for each in answers) == [302, 422]
    won = answers[0].status_code == 302
    assert Customer.objects.get().phone == ("222" if won else "333")


# Pages whose form begins with something, but enters a new thing or does an act whose service checks
# the state it was asked for in.
BEGIN_WITH_SOMETHING = {
    "billing:adjust",
    "billing:consignment_report",
    "billing:deposit_credit",
    "billing:deposit_slip_create",
    "billing:expense_create",
    "billing:interest",
    "billing:invoice_correct",
    "billing:late_certificate_accept",
    "billing:market_day_close",
    "billing:market_day_cost",
    "billing:market_day_create",
    "billing:market_day_unload",
    "billing:money_move_create",
    "billing:pay_back",
    "billing:payment_create",
    "billing:purchase_order_create",
    "billing:purchase_order_receive",
    "billing:refund",
    "billing:stand_day_open",
    "billing:stand_short_seen",
    "billing:supplier_pay",
    "customers:certificate_accept",
    "customers:certificate_end",
    "inventory:blend",
    "inventory:blend_plan_carry_out",
    "inventory:bottling_day_create",
    "inventory:bottling_day_edit",
    "inventory:boxes_apart",
    "inventory:boxes_make",
    "inventory:cleaning_record",
    "inventory:count_sheet_open",
    "inventory:drain",
    "inventory:drum_fill",
    "inventory:fill_check",
    "inventory:goods_make",
    "inventory:goods_receive",
    "inventory:jars_empty",
    "inventory:jars_label",
    "inventory:jars_returned",
    "inventory:jars_set_aside",
    "inventory:measure_again",
    "inventory:measurement_add",
    "inventory:others_buy",
    "inventory:others_hand_back",
    "inventory:others_hand_back_jars",
    "inventory:others_receive",
    "inventory:part_receive",
    "inventory:product_create",
    "inventory:purchase",
    "inventory:receive",
    "inventory:run_plan",
    "inventory:run_record",
    "inventory:stock_count",
    "inventory:stock_transfer",
    "inventory:stock_write_off",
    "inventory:supplier_add",
    "inventory:transfer",
    "inventory:warming_add",
    "inventory:write_off",
    "mailing:pause",
    "mailing:resend",
    "mailing:send",
    "orders:consignment_create",
    "orders:contract_end",
    "orders:jar_quote_create",
    "orders:order_create",
    "orders:order_fulfil",
    "orders:sold_without_cost",
    "orders:standing_create",
    "orders:standing_leave_out",
    "pricing:break_set",
    "pricing:bulk_price_set",
    "pricing:expense_add",
    "pricing:weight_price_set",
    "recall:start",
}


def act_views(resolver=None, namespace=""):
    for entry in (resolver or get_resolver()).url_patterns:
        if isinstance(entry, URLResolver):
            yield from act_views(entry, f"{entry.namespace}:" if entry.namespace else namespace)
        elif isinstance(entry, URLPattern):
            view = getattr(entry.callback, "view_class", None)
            if view and issubclass(view, ActView):
                yield f"{namespace}{entry.name}", view


def test_each_form_that_shows_a_row_tells_what_it_was_opened_on_or_has_a_reason():
    found = {
        name
        for name, view in act_views()
        if view.edited is ActView.edited and view.get_initial is not ActView.get_initial
    }

    assert found == BEGIN_WITH_SOMETHING


def text_of(name):
    text = (Path(settings.BASE_DIR) / "templates" / name).read_text()
    used = re.findall(r'{% (?:include|extends) "([^"]+)"', text)
    return text + "".join(text_of(each) for each in used)


def test_each_of_their_pages_carries_it():
    without = [
        name
        for name, view in act_views()
        if view.edited is not ActView.edited
        # The form of a role is on the page of the person.
        and view.template_name
        and not re.search(r"{{ form(\.opened)? }}", text_of(view.template_name))
    ]

    assert without == []
