"""Certificates that free customers from sales tax: accepted, in force, ended, asked for again."""

from datetime import date, timedelta

import pytest
import time_machine
from django.db import IntegrityError
from django.urls import reverse

from apiary_sales.customers import queries
from apiary_sales.customers.models import ExemptionCertificate
from apiary_sales.customers.services import certificates
from inventory.shared.errors import AlreadyRecorded, BadValue, SeveralProblems
from tests import builders

TODAY = date(2026, 9, 10)
DAY = timedelta(days=1)


@pytest.fixture(autouse=True)
def _today():
    with time_machine.travel("2026-09-10T12:00:00-05:00", tick=False):
        yield


@pytest.fixture
def shop(db):
    return builders.customer("Corner Grocery", region="Iowa")


@pytest.fixture
def office(client, db):
    client.force_login(builders.person("office"))
    return client


def accept(customer, **more):
    given = {"number": "IA-7781", "reason": "resale", "valid_from": TODAY, "key": "k"}
    return certificates.accept(
        customer=customer, accepted_by=builders.person("office"), **(given | more)
    )


def in_force(customer, day):
    return ExemptionCertificate.objects.in_force(customer, day)


def test_a_certificate_counts_from_its_first_day_through_its_last(shop):
    made = accept(shop, valid_from=TODAY, expires=TODAY + 30 * DAY)

    assert in_force(shop, TODAY - DAY) is None
    assert in_force(shop, TODAY) == made
    assert in_force(shop, TODAY + 30 * DAY) == made
    assert in_force(shop, TODAY + 31 * DAY) is None
    assert (made.accepted_by.username, made.accepted_on) == ("office", TODAY)


def test_of_two_certificates_the_one_that_is_good_longer_counts(shop):
    accept(shop, number="A", expires=TODAY + 5 * DAY, key="a")
    longer = accept(shop, number="B", key="b")

    assert in_force(shop, TODAY) == longer
    assert in_force(builders.customer("Mill"), TODAY) is None


def test_what_is_wrong_with_a_certificate_is_told_at_once(shop):
    with pytest.raises(SeveralProblems) as refused:
        accept(shop, number=" ", reason="other", expires=TODAY - DAY)

    assert [(each.parameter, each.message) for each in refused.value.problems] == [
        ("number", "Enter the number of the certificate."),
        ("other_reason", "Say why the customer is exempt."),
        ("expires", "The certificate expires before it begins."),
    ]
    assert not ExemptionCertificate.objects.exists()


def test_the_same_certificate_is_not_entered_twice(shop):
    made = accept(shop)

    with pytest.raises(BadValue) as refused:
        accept(shop, number="ia-7781", key="another")
    assert refused.value.parameter == "number"
    with pytest.raises(AlreadyRecorded) as repeated:
        accept(shop)
    assert repeated.value.made == made


def test_the_database_too_wants_a_number(shop):
    with pytest.raises(IntegrityError, match="certificate_has_a_number"):
        builders.certificate(shop, "")


def test_a_certificate_is_ended_and_made_to_last(shop):
    made = accept(shop)

    ended = certificates.change_end(made, expires=TODAY)
    assert in_force(shop, TODAY + DAY) is None
    with pytest.raises(BadValue) as refused:
        certificates.change_end(ended, expires=TODAY - DAY)
    assert refused.value.parameter == "expires"
    certificates.change_end(ended, expires=None)

    assert in_force(shop, TODAY + 9_000 * DAY) == made


@pytest.mark.parametrize(
    ("days", "state", "is_valid"),
    [
        (-1, "expired", False),
        (0, "soon", True),
        (1, "soon", True),
        (30, "soon", True),
        (31, "valid", True),
    ],
)
def test_a_certificate_is_good_through_its_last_day(shop, days, state, is_valid):
    made = builders.certificate(shop, expires=TODAY + days * DAY)

    found = queries.certificate(shop, TODAY)

    assert (found.state, found.is_valid) == (state, is_valid)
    assert made.is_good_on(TODAY) == is_valid


def test_a_better_certificate_is_shown_before_an_expired_one(shop):
    builders.certificate(shop, "old", expires=TODAY - DAY)
    assert queries.certificate(shop, TODAY).state == "expired"
    builders.certificate(shop, "later", valid_from=TODAY + DAY)
    assert queries.certificate(shop, TODAY).certificate.number == "old"

    good = builders.certificate(shop, "good")

    assert queries.certificate(shop, TODAY) == queries.CertificateState("valid", good, None)
    assert queries.certificate(builders.customer("Mill"), TODAY) is None


def test_who_is_asked_for_a_new_one(shop):
    for name, expires in [
        ("In a month", TODAY + 30 * DAY),
        ("Later", TODAY + 31 * DAY),
        ("Yesterday", TODAY - DAY),
        ("Long ago", TODAY - 91 * DAY),
    ]:
        builders.certificate(builders.customer(name), name, expires=expires)
    renewed = builders.customer("Renewed")
    builders.certificate(renewed, "old", expires=TODAY - DAY)
    builders.certificate(renewed, "new", expires=TODAY + 365 * DAY)
    gone = builders.customer("Gone", is_active=False)
    builders.certificate(gone, "gone", expires=TODAY)

    asked = [each.certificate.number for each in queries.to_renew(TODAY)]

    assert asked == ["Yesterday", "In a month"]


# ---- pages


def posted(**changes):
    form = {
        "key": "k",
        "number": "IA-7781",
        "jurisdiction": "Iowa",
        "reason": "resale",
        "other_reason": "",
        "valid_from": "2026-09-10",
        "expires": "2026-10-01",
    }
    return form | changes


def test_the_office_accepts_a_certificate_and_attaches_its_scan(office, shop):
    response = office.post(
        reverse("customers:certificate_accept", args=[shop.pk]), posted(), follow=True
    )

    made = ExemptionCertificate.objects.get()
    assert response.redirect_chain == [(reverse("customers:certificate", args=[made.pk]), 302)]
    assert "The certificate IA-7781 of Corner Grocery is accepted. Attach a scan" in response.text
    assert "Oct 1, 2026" in response.text
    assert reverse("inventory:file_add", args=["certificate", made.pk]) in response.text
    page = office.get(reverse("customers:detail", args=[shop.pk])).text
    assert "IA-7781" in page
    assert "expires in 21 days" in page


def test_a_refused_certificate_is_told_why_at_the_field(office, shop):
    response = office.post(
        reverse("customers:certificate_accept", args=[shop.pk]), posted(reason="other")
    )

    assert response.status_code == 422
    assert response.context["form"].errors == {"other_reason": ["Say why the customer is exempt."]}
    assert not ExemptionCertificate.objects.exists()


def test_the_last_day_is_changed_on_a_page(office, shop):
    made = accept(shop)

    page = office.post(
        reverse("customers:certificate_end", args=[made.pk]), {"expires": "2026-12-31"}, follow=True
    )

    assert "The certificate IA-7781 expires on Dec 31, 2026." in page.text
    made.refresh_from_db()
    assert made.expires == date(2026, 12, 31)


def test_the_list_and_the_first_page_say_what_expires(office, shop):
    assert "No customer has a certificate." in office.get(reverse("customers:certificates")).text
    builders.certificate(shop, "IA-7781", expires=TODAY + 3 * DAY)

    listed = office.get(reverse("customers:certificates")).text
    today = office.get(reverse("web:today")).text

    assert "expires in 3 days" in listed
    assert "Corner Grocery, Sep 13, 2026. Ask for a new one." in " ".join(today.split())


def test_the_page_warns_of_an_expired_certificate(office, shop):
    builders.certificate(shop, expires=date(2020, 1, 31))

    page = office.get(reverse("customers:detail", args=[shop.pk])).text

    assert "The exemption certificate expired on Jan 31, 2020." in page
    assert "certificate expired" in office.get(reverse("customers:list")).text


@pytest.mark.parametrize(("role", "sees"), [("bottling", 200), ("stand", 403)])
def test_who_may_not_manage_customers_accepts_no_certificate(client, shop, role, sees):
    made = builders.certificate(shop)
    client.force_login(builders.person(role))

    assert client.get(reverse("customers:certificate", args=[made.pk])).status_code == sees
    for name, key in [("certificate_accept", shop.pk), ("certificate_end", made.pk)]:
        assert client.post(reverse(f"customers:{name}", args=[key]), posted()).status_code == 403
    assert ExemptionCertificate.objects.get().expires is None
