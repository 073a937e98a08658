"""What is held of a customer as a person: shown, given out, and erased but for the books."""

import io
import json
import zipfile

import pytest
from auditlog.models import LogEntry
from django.urls import reverse

from apiary_sales.customers import personal_queries
from apiary_sales.customers.models import Customer
from apiary_sales.customers.services import addresses, customers, personal_data
from apiary_sales.mailing.models import Email
from apiary_sales.mailing.services import emails
from inventory.shared import mailable
from inventory.shared.errors import BadValue, NotAllowedNow, SeveralProblems
from inventory.shared.models import Attachment
from inventory.shared.services import files
from tests import builders
from tests.billing.conftest import pay
from tests.uploads import upload

PERSONAL = ("Ada Lind", "ada@corner.example", "555 0142", "Mill Lane", "Back door code 17")


@pytest.fixture
def known(shop, invoice, owner, key, at_once):
    """A shop of which much is known: address, note, a file, an e-mail, and an invoice."""
    customers.change(
        shop, name="Corner Grocery", phone="555 0142", street="Mill Lane", note="Back door code 17"
    )
    addresses.add(customer=shop, name="Ada Lind at home", street="Mill Lane", key=key())
    files.attach(thing=shop, file=upload("Ada Lind.pdf"), kind="other", added_by=owner, key=key())
    emails.send(
        paper=mailable.by_name("invoice"),
        thing=invoice,
        to=shop.email,
        subject="Invoice for Ada Lind",
        body="Dear Ada Lind",
        sent_by=owner,
        key=key(),
    )
    shop.refresh_from_db()
    return shop


def erase(customer, owner, key):
    return personal_data.erase(
        customer=customer, asked="by telephone on May 3", erased_by=owner, key=key()
    )


def everything_kept(customer):
    held = personal_queries.held_of(Customer.objects.get(pk=customer.pk))
    return json.dumps([[str(data.title), data.rows] for data in held], ensure_ascii=False)


def test_the_file_has_all_that_is_held(known):
    packed = zipfile.ZipFile(io.BytesIO(personal_queries.file_of(known)))

    text = packed.read("personal-data.json").decode()
    assert [word for word in PERSONAL if word not in text] == []
    assert "Invoice for Ada Lind" in text
    assert len(packed.namelist()) == 2


def test_erasing_leaves_only_what_the_books_need(known, invoice, owner, key):
    pay(known, invoice.total_cents)

    erase(known, owner, key)

    held = personal_queries.held_of(Customer.objects.get(pk=known.pk))
    goes = json.dumps([data.rows for data in held if not data.stays])
    assert [word for word in PERSONAL if word in goes] == []
    invoice.refresh_from_db()
    assert invoice.buyer["contact"] == "Ada Lind"
    trail = LogEntry.objects.get_for_object(known)
    assert not any("Ada" in str(entry.changes) for entry in trail)
    assert "Ada" not in str(list(Email.objects.values()))
    assert Customer.objects.get(pk=known.pk).name == f"Erased customer {known.pk}"


def test_the_file_on_disk_is_deleted(
    known, invoice, owner, key, django_capture_on_commit_callbacks
):
    pay(known, invoice.total_cents)
    kept = Attachment.objects.of(known).get().file
    storage, name = kept.storage, kept.name

    with django_capture_on_commit_callbacks(execute=True):
        erase(known, owner, key)

    assert not storage.exists(name)


def test_data_that_is_still_needed_is_not_erased(known, owner, key):
    before = everything_kept(known)

    with pytest.raises((NotAllowedNow, BadValue, SeveralProblems), match="is still owed"):
        erase(known, owner, key)

    assert everything_kept(known) == before


def test_it_is_erased_once_and_says_who_asked(known, invoice, owner, key):
    pay(known, invoice.total_cents)
    with pytest.raises(BadValue):
        personal_data.erase(customer=known, asked=" ", erased_by=owner, key=key())

    erase(known, owner, key)

    with pytest.raises(NotAllowedNow):
        erase(known, owner, key)


def test_the_office_shows_it_and_the_owner_erases_it(client, known, invoice, owner):
    pay(known, invoice.total_cents)
    page = reverse("customers:personal_data", args=[known.pk])
    act = reverse("customers:personal_erase", args=[known.pk])
    client.force_login(builders.person("office"))

    shown = client.get(page).content.decode()
    assert [word for word in PERSONAL if word not in shown] == []
    assert client.get(act).status_code == 403
    assert client.get(f"{page}file/")["Content-Type"] == "application/zip"
    client.force_login(owner)
    form = client.get(act).context["form"]
    sent = client.post(act, {"key": form["key"].value(), "asked": "by e-mail"}, follow=True)

    assert "The data is erased." in sent.content.decode()
    assert "Ada Lind" in sent.content.decode()  # on the invoice, which stays
    assert "Back door code 17" not in sent.content.decode()
