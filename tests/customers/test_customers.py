"""Customers: what is kept of them, whether their certificate is good, and who may change them."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from apiary_sales.customers import queries
from apiary_sales.customers.models import Customer
from apiary_sales.customers.services import customers
from inventory.shared.errors import BadValue, SeveralProblems
from tests import builders

TODAY = date(2026, 9, 1)
DAY = timedelta(days=1)


def test_a_customer_is_kept_as_entered(db):
    added = customers.add(
        name="  Hollow Oak Bakery ",
        kind=Customer.Kind.BULK,
        tier=Customer.Tier.BULK,
        terms_days=14,
        credit_limit_cents=250_000,
    )

    kept = Customer.objects.get(pk=added.pk)
    assert (kept.name, kept.kind, kept.terms_days) == ("Hollow Oak Bakery", "bulk", 14)
    assert kept.credit_limit_cents == 250_000


def test_two_customers_never_have_the_same_name_whatever_the_capitals(db):
    builders.customer("Corner Grocery")

    with pytest.raises(BadValue) as refused:
        customers.add(name="corner grocery")

    assert refused.value.parameter == "name"
    assert refused.value.message == (
        "There is a customer called Corner Grocery already. "
        "Open that one, or add the town to this name."
    )
    assert Customer.objects.count() == 1


def test_all_problems_are_told_at_once_and_nothing_is_changed(db):
    customer = builders.customer("Corner Grocery", terms_days=30)

    with pytest.raises(SeveralProblems) as refused:
        customers.change(customer, name=" ", terms_days=366, credit_limit_cents=-1)

    assert [(each.parameter, each.message) for each in refused.value.problems] == [
        ("name", "Enter the name of the customer."),
        ("terms_days", "366 days to pay is too long. Enter 365 or fewer."),
        ("credit_limit_cents", "Enter a credit limit of 0 or more."),
    ]
    customer.refresh_from_db()
    assert (customer.name, customer.terms_days) == ("Corner Grocery", 30)


def test_every_word_looked_for_must_be_somewhere(db):
    grocery = builders.customer("Corner Grocery", city="Elm Hollow")
    builders.customer("Hill Grocery", city="Stone Bridge")
    gone = builders.customer("Old Grocery", city="Elm Hollow", is_active=False)

    assert list(queries.find(words="elm grocery")) == [grocery]
    assert set(queries.find(words="elm", include_inactive=True)) == {grocery, gone}
    assert list(queries.find(words="elm", kind="bulk")) == []


# ---- pages


@pytest.fixture
def office(client, db):
    client.force_login(builders.person("office"))
    return client


def posted(**changes):
    return {
        "name": "Hollow Oak Bakery",
        "kind": "bulk",
        "invoice_format": "pdf",
        "tier": "bulk",
        "terms_days": "14",
        "credit_limit_cents": "2500.00",
        "is_active": "on",
        **changes,
    }


def test_the_office_adds_a_customer_and_lands_on_its_page(office):
    response = office.post(reverse("customers:create"), posted(), follow=True)

    customer = Customer.objects.get()
    assert response.redirect_chain == [(reverse("customers:detail", args=[customer.pk]), 302)]
    assert customer.credit_limit_cents == 250_000
    assert "Hollow Oak Bakery is a customer now." in response.text
    assert "$2,500.00" in response.text


def test_a_refused_customer_is_told_why_at_the_field(office):
    response = office.post(reverse("customers:create"), posted(terms_days="366"))

    assert response.status_code == 422
    assert response.context["form"].errors == {
        "terms_days": ["366 days to pay is too long. Enter 365 or fewer."]
    }
    assert not Customer.objects.exists()


@pytest.mark.parametrize(
    ("field", "value", "message"),
    [
        ("terms_days", "-1", "Enter 0 days or more."),
        ("credit_limit_cents", "-1", "Enter a credit limit of 0 or more."),
        ("email", "nobody", "Enter an e-mail address, for example name@place.example."),
    ],
)
def test_bad_figures_are_told_in_words(office, field, value, message):
    response = office.post(reverse("customers:create"), posted(**{field: value}))

    assert response.context["form"].errors[field] == [message]


@pytest.mark.parametrize(("chosen", "written_in"), [("es", "es"), ("", "en")])
def test_papers_are_written_in_the_language_chosen_or_the_one_of_the_house(
    office, chosen, written_in
):
    response = office.post(reverse("customers:create"), posted(language=chosen), follow=True)

    assert Customer.objects.get().paper_language == written_in
    assert ("Language of papers" in response.text) == (chosen == "es")


def test_a_customer_is_changed_and_can_be_put_aside(office):
    customer = builders.customer("Corner Grocery", note="Rings twice.")
    page = office.get(reverse("customers:edit", args=[customer.pk]))
    assert page.context["form"].initial["note"] == "Rings twice."

    office.post(
        reverse("customers:edit", args=[customer.pk]), posted(name="Corner Shop", is_active="")
    )

    customer.refresh_from_db()
    assert (customer.name, customer.is_active) == ("Corner Shop", False)
    assert office.get(reverse("customers:list")).context["rows"] == []
    assert office.get(reverse("customers:list"), {"all": "on"}).context["rows"] == [
        (customer, None)
    ]


def test_the_list_says_so_when_nobody_is_there_and_when_nobody_fits(office):
    assert "Add shops and drum buyers here" in office.get(reverse("customers:list")).text
    builders.customer()
    assert "No customers match" in office.get(reverse("customers:list"), {"words": "zzz"}).text


def test_the_list_takes_the_same_queries_for_many(office):
    builders.customer("Shop")
    few = queries_of_list(office)

    for number in range(20):
        builders.customer(f"Shop {number}")

    assert queries_of_list(office) == few


def queries_of_list(client):
    with CaptureQueriesContext(connection) as captured:
        client.get(reverse("customers:list"))
    return len(captured)


@pytest.mark.parametrize(("role", "sees"), [("bottling", 200), ("stand", 403)])
def test_who_may_not_change_customers_is_refused(client, db, role, sees):
    client.force_login(builders.person(role))
    customer = builders.customer()

    assert client.get(reverse("customers:detail", args=[customer.pk])).status_code == sees
    assert client.get(reverse("customers:create")).status_code == 403
    assert client.post(reverse("customers:create"), posted()).status_code == 403
    assert client.post(reverse("customers:edit", args=[customer.pk]), posted()).status_code == 403
    assert Customer.objects.get().name == "Corner Grocery"


def test_a_stranger_is_sent_to_sign_in(client, db):
    builders.person("owner")

    response = client.get(reverse("customers:list"))

    assert response.status_code == 302
    assert response.url.startswith(reverse("accounts:sign_in"))
