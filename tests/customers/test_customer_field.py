"""The field that asks for a customer: a list in a small house, a box that finds them in a large."""

import pytest
from django.http import QueryDict

from apiary_sales.billing.forms.money import CustomerChoiceForm
from apiary_sales.customers.fields import customer_in
from apiary_sales.customers.models import Customer
from apiary_sales.reports.forms import SalesForm
from tests import builders
from tests.inventory.pages import signed_in


@pytest.fixture
def many(db):
    """Fifty-one customers, one more than a list offers."""
    Customer.objects.bulk_create(
        Customer(name=f"Corner Shop {number:02}", city="Elm Town") for number in range(50)
    )
    return builders.customer("Heron Grocery")


def chosen(**data):
    form = CustomerChoiceForm(data)
    return form.cleaned_data["customer"] if form.is_valid() else form.errors["customer"]


def test_fifty_customers_are_one_list_and_of_one_more_none_is_in_the_page(many):
    large = str(CustomerChoiceForm())
    Customer.objects.filter(name="Corner Shop 00").delete()
    small = str(CustomerChoiceForm())

    assert 'name="customer_name"' in large
    assert "Corner Shop" not in large
    assert '<select name="customer"' in small
    assert small.count("<option") == 51


def test_a_customer_is_named_in_any_letters_or_by_key(many):
    assert chosen(customer_name="Heron Grocery") == many
    assert chosen(customer_name=" heron GROCERY ") == many
    assert chosen(customer=str(many.pk)) == many


def test_a_name_of_digits_is_not_taken_for_the_key_of_another(many):
    digits = builders.customer(str(many.pk))

    assert chosen(customer_name=str(many.pk)) == digits
    assert chosen(customer=str(many.pk)) == many


def test_a_part_of_a_name_is_refused_with_those_whom_it_fits(many):
    assert chosen(customer_name="heron") == [
        "No customer is called “heron”. Choose one from the list, or type the whole name: "
        "Heron Grocery"
    ]
    [told] = chosen(customer_name="elm town")
    assert told.endswith("Corner Shop 04 · …")
    [told] = chosen(customer_name="pelican\x00")
    assert told.startswith("No customer fits “pelican”.")


def test_a_form_that_comes_back_keeps_what_was_typed(many):
    page = signed_in("office").get("/money/payments/new/?customer_name=heron").content.decode()

    assert 'value="heron"' in page
    assert "Choose one from the list, or type the whole name: Heron Grocery" in page


def test_the_box_of_a_known_customer_shows_the_name(many):
    form = CustomerChoiceForm(initial={"customer": many.pk})

    assert 'value="Heron Grocery"' in str(form)


def test_a_payment_goes_on_with_the_customer_who_is_named(many):
    page = signed_in("office").get("/money/payments/new/?customer_name=Heron+Grocery")

    assert "Payment from Heron Grocery" in page.content.decode()


def test_a_filter_takes_a_name_a_key_the_stand_or_all(many):
    Customer.objects.filter(pk=many.pk).update(is_active=False)

    def asked(address):
        form = SalesForm(QueryDict(address))
        assert form.is_valid(), form.errors
        return form.in_address().get("customer"), form.in_words()[1:]

    named = (str(many.pk), ["Customer: Heron Grocery"])
    stand = ("none", ["Customer: buyers at the stand"])
    assert asked("since=&customer_name=heron+grocery") == named
    assert asked(f"since=&customer={many.pk}") == named
    assert asked("since=&customer_name=buyers+at+the+stand") == stand
    assert asked("since=&customer=none") == stand
    assert asked("since=&customer_name=") == (None, [])
    assert not SalesForm(QueryDict("customer_name=heron")).is_valid()
    assert not SalesForm(QueryDict("customer=0")).is_valid()


def test_names_are_offered_by_any_part_of_what_is_known(many):
    office = signed_in("office")

    found = office.get("/customers/names/?words=elm+shop+1").content.decode()

    assert found.count('role="option"') == 8
    assert "Corner Shop 01" in found
    nobody = office.get("/customers/names/?words=pelican").content.decode()
    assert "No customer fits what you typed." in nobody


def test_who_is_not_sold_to_any_more_is_offered_to_filters_alone(many):
    Customer.objects.filter(pk=many.pk).update(is_active=False)
    office = signed_in("office")

    assert b"Heron" not in office.get("/customers/names/?words=heron").content
    assert b"Heron" in office.get("/customers/names/?words=heron&all=1").content


def test_names_are_for_those_who_may_see_buyers(many):
    assert signed_in("stand").get("/customers/names/?words=heron").status_code == 403


def test_what_names_nobody_yet_is_no_customer(many):
    assert customer_in({"customer_name": "Heron Grocery"}) == many
    assert customer_in({"customer": many}) == many
    assert customer_in({"customer_name": "heron"}) is None
    assert customer_in({"customer": "²"}) is None
    assert customer_in({}) is None
