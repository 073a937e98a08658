"""Papers sent by e-mail: what leaves, what is kept, and what is refused."""

import hashlib
from datetime import timedelta

import pytest
from django.core import mail
from django.utils import timezone

from apiary_sales import settings as settings_module
from apiary_sales.billing.services import credit_notes
from apiary_sales.mailing.models import Email, EmailPaper, PaperCopy
from apiary_sales.mailing.queries import emails as queries
from apiary_sales.mailing.services import delivery, emails, texts
from inventory.shared import mailable
from inventory.shared.errors import AlreadyRecorded, BadValue, HouseError, NotAllowedNow
from tests import builders
from tests.billing.conftest import invoice_of, jars
from tests.mailing import worker

pytestmark = pytest.mark.django_db

INVOICE = "invoice"


def draft_of(thing, paper=INVOICE, **details):
    return emails.draft(
        paper=mailable.by_name(paper), thing=thing, details=details, sent_by=builders.person()
    )


def send(thing, paper=INVOICE, *, details=None, **changes):
    draft = draft_of(thing, paper, **(details or {}))
    given = {"to": draft.to, "subject": draft.subject, "body": draft.body, **changes}
    return emails.send(
        paper=mailable.by_name(paper),
        thing=thing,
        details=details,
        sent_by=builders.person(),
        key=given.pop("key", None) or builders.new_key(),
        **given,
    )


def test_an_invoice_is_sent_to_its_customer_as_pdf(at_once, invoice):
    email = send(invoice)

    [sent] = mail.outbox
    assert sent.to == ["ada@corner.example"]
    assert sent.from_email == "Hollow Oak Honey House <office@hollow-oak.example>"
    assert sent.subject == f"Invoice {invoice} from Hollow Oak Honey House"
    assert sent.body.startswith(
        f"Hello Ada Lind,\n\nAttached is invoice {invoice} for $72.00. It is due on Oct 10, 2026."
    )
    [(name, content, media_type)] = sent.attachments
    assert (name, media_type) == (f"Invoice {invoice}.pdf", "application/pdf")
    assert content.startswith(b"%PDF-")
    email.refresh_from_db()
    assert email.status == Email.Status.SENT
    assert email.sent_at == timezone.now()


def test_the_bytes_that_were_sent_are_kept_with_their_checksum(at_once, invoice):
    email = send(invoice)

    [(_name, content, _media_type)] = mail.outbox[0].attachments
    kept = email.papers.get().copy
    assert bytes(kept.content) == content
    assert kept.sha256 == hashlib.sha256(content).hexdigest()


def test_the_same_paper_sent_twice_is_kept_once(at_once, invoice):
    send(invoice)
    send(invoice, to="boss@corner.example")

    assert Email.objects.count() == 2
    assert PaperCopy.objects.count() == 1


def test_the_text_is_in_the_customers_language(at_once, shop, pounds):
    shop.language = "es"
    shop.save()

    draft = draft_of(shop, "statement", since="2026-01-01", until="2026-09-10")

    assert draft.language == "es"
    assert draft.subject == "Estado de su cuenta con Hollow Oak Honey House"
    assert draft.body.startswith("Hola, Ada Lind:")


def test_an_invoice_keeps_the_language_it_was_issued_in(invoice):
    invoice.language = "es"

    draft = draft_of(invoice)

    assert draft.subject == f"Factura {invoice} de Hollow Oak Honey House"
    assert "vence el 10 oct 2026" in draft.body.lower()


def test_the_house_s_own_text_is_used_in_its_language_alone(invoice):
    texts.save(name="invoice", language="en", subject="Bill {number}", body="{contact}: {total}")

    assert draft_of(invoice).subject == f"Bill {invoice}"
    assert draft_of(invoice).body == "Ada Lind: $72.00"
    invoice.language = "es"
    assert draft_of(invoice).subject.startswith("Factura")


def test_the_usual_text_comes_back(invoice):
    texts.save(name="invoice", language="en", subject="Bill", body="Pay.")
    texts.use_usual(name="invoice", language="en")

    assert draft_of(invoice).subject == f"Invoice {invoice} from Hollow Oak Honey House"


def test_a_name_without_a_meaning_is_refused_in_a_text():
    with pytest.raises(BadValue, match=r"\{totl\} means nothing here\.") as refused:
        texts.save(name="invoice", language="en", subject="Bill", body="Pay {totl}.")

    assert refused.value.parameter == "body"


@pytest.mark.parametrize("name", sorted({*texts.names(), "paper"}))
@pytest.mark.parametrize("language", ["en", "es"])
def test_the_usual_texts_use_names_that_have_a_meaning(name, language):
    words = emails.EmailText.objects.words(name, language)

    known = texts.words_known(name)
    assert texts.texts.unknown_names(words.subject + words.body, known) == []
    assert "\n" not in words.subject


def test_a_customer_called_like_a_name_in_braces_stays_that(invoice, shop):
    shop.contact = "{sender}"
    shop.save()
    invoice.customer.refresh_from_db()

    assert draft_of(invoice).body.startswith("Hello {sender},")


@pytest.mark.parametrize(
    ("changes", "parameter", "message"),
    [
        ({"to": "ada"}, "to", "Enter one e-mail address, such as name@shop.example."),
        (
            {"to": "ada@corner.example, bob@corner.example"},
            "to",
            "Enter one e-mail address, such as name@shop.example.",
        ),
        (
            {"to": "ada@corner.example\nBcc: all@corner.example"},
            "to",
            "Enter one e-mail address, such as name@shop.example.",
        ),
        ({"subject": " "}, "subject", "Write a subject."),
        ({"subject": "x" * 201}, "subject", "Write at most 200 characters."),
        (
            {"subject": "Invoice\r\nBcc: all@corner.example"},
            "subject",
            "Write the subject on one line.",
        ),
        ({"body": " \n"}, "body", "Write a text."),
    ],
)
def test_what_is_no_address_subject_or_text_is_refused(
    at_once, invoice, changes, parameter, message
):
    with pytest.raises(BadValue) as refused:
        send(invoice, **changes)

    assert (refused.value.parameter, refused.value.message) == (parameter, message)
    assert (Email.objects.count(), mail.outbox) == (0, [])


def test_no_header_gets_in_through_the_name_of_the_house(at_once, sender, invoice):
    sender.name = "Hollow Oak\r\nBcc: all@corner.example"
    sender.save()

    send(invoice)

    message = mail.outbox[0].message()
    assert message["Bcc"] is None
    assert "all@corner.example" not in mail.outbox[0].recipients()


def test_a_house_without_an_address_sends_nothing(at_once, sender, invoice):
    sender.email = ""
    sender.save()

    with pytest.raises(NotAllowedNow, match="Your house has no e-mail address yet"):
        send(invoice)

    assert mail.outbox == []


def test_the_address_of_the_settings_goes_before_the_house_s_own(at_once, settings, invoice):
    settings.EMAIL_FROM = "mail@hollow-oak.example"

    send(invoice)

    assert mail.outbox[0].from_email == "Hollow Oak Honey House <mail@hollow-oak.example>"


def test_no_mail_leaves_unless_a_mail_server_is_set():
    assert settings_module.EMAIL_BACKEND == "django.core.mail.backends.filebased.EmailBackend"
    assert settings_module.EMAIL_FILE_PATH.startswith(str(settings_module.DATA_DIR))


def test_one_key_sends_once(at_once, invoice):
    first = send(invoice, key="one")

    with pytest.raises(AlreadyRecorded) as refused:
        send(invoice, key="one")

    assert refused.value.made == first
    assert len(mail.outbox) == 1


def test_a_task_that_runs_twice_sends_once(at_once, invoice):
    email = send(invoice)

    assert delivery.deliver.call(email.pk) == "left alone"

    assert len(mail.outbox) == 1


def test_a_credit_note_is_not_sent_as_an_invoice(at_once, invoice):
    credit_notes.credit(invoice=invoice, issued_by=builders.person(), key="c1", reason="Broken")
    note = invoice.credit_notes.get()

    with pytest.raises(NotAllowedNow):
        send(note, to="ada@corner.example")
    send(note, "credit-note")

    assert mail.outbox[0].subject == f"Credit note {note} from Hollow Oak Honey House"


def test_a_statement_is_sent_with_its_days(at_once, shop, invoice):
    email = send(shop, "statement", details={"since": "2026-09-01", "until": "2026-09-10"})

    attached = email.papers.get()
    assert attached.details == {"since": "2026-09-01", "until": "2026-09-10"}
    assert attached.file_name == "Statement Corner Grocery.pdf"


def test_a_name_of_a_file_is_ascii(at_once, shop, invoice):
    shop.name = "Café Peña"
    shop.save()

    email = send(shop, "statement", details={"since": "2026-09-01", "until": "2026-09-10"})

    assert email.papers.get().file_name == "Statement Cafe Pena.pdf"


def test_an_e_mail_is_sent_again_with_the_same_bytes(at_once, invoice):
    first = send(invoice)

    again = emails.resend(
        email=first,
        to="boss@corner.example",
        subject="Once more",
        body="Here it is.",
        sent_by=builders.person(),
        key="again",
    )

    assert again.resends == first
    assert [sent.to for sent in mail.outbox] == [["ada@corner.example"], ["boss@corner.example"]]
    assert mail.outbox[0].attachments == mail.outbox[1].attachments
    assert mail.outbox[0].extra_headers != mail.outbox[1].extra_headers


def test_what_still_waits_is_not_sent_again(invoice):
    email = send(invoice)

    with pytest.raises(NotAllowedNow, match="still waiting"):
        emails.resend(
            email=email, to="a@b.example", subject="s", body="b", sent_by=builders.person(), key="k"
        )


def test_a_person_notes_that_an_e_mail_came_back(at_once, invoice):
    email = send(invoice)
    today = timezone.localdate()

    noted = emails.note_bounce(
        email=email, bounced_on=today, note="No such mailbox", noted_by=builders.person()
    )

    assert (noted.bounced_on, noted.bounce_note) == (today, "No such mailbox")
    assert queries.state_tag(noted).text == "came back"
    with pytest.raises(AlreadyRecorded):
        emails.note_bounce(email=email, bounced_on=today, note="x", noted_by=builders.person())


@pytest.mark.parametrize("days", [-1, 1])
def test_an_e_mail_comes_back_between_its_own_day_and_today(at_once, invoice, days):
    email = send(invoice)
    day = timezone.localdate() + timedelta(days=days)

    with pytest.raises(BadValue) as refused:
        emails.note_bounce(email=email, bounced_on=day, note="Full", noted_by=builders.person())

    assert refused.value.parameter == "bounced_on"


def test_what_was_not_sent_cannot_come_back(invoice):
    email = send(invoice)

    with pytest.raises(NotAllowedNow):
        emails.note_bounce(
            email=email, bounced_on=timezone.localdate(), note="x", noted_by=builders.person()
        )


def test_a_refused_e_mail_leaves_no_task_and_no_paper_behind(invoice, settings):
    with pytest.raises(HouseError):
        send(invoice, body="")
    worker.do_all()

    assert EmailPaper.objects.count() == PaperCopy.objects.count() == 0


def test_what_was_sent_is_found_by_its_paper_and_by_its_customer(at_once, shop, invoice, pounds):
    email = send(invoice)
    other = invoice_of(shop, jars(pounds, 1))

    assert list(queries.of_thing(invoice)) == [email]
    assert list(queries.of_thing(other)) == []
    assert list(queries.of_thing(shop)) == [email]
    assert list(queries.found(text=str(invoice))) == [email]
    assert list(queries.found(text="nobody")) == []
    assert list(queries.found(state="sent")) == [email]
    assert list(queries.found(state="trouble")) == []
