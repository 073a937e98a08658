"""Send papers by e-mail, send them again, and note what came back."""

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from email.utils import formataddr, make_msgid
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import models, transaction
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer
from apiary_sales.mailing.models import Email, EmailPaper, EmailText, PaperCopy
from apiary_sales.mailing.rules import texts
from apiary_sales.mailing.rules.file_names import ascii_pdf_name
from apiary_sales.mailing.services.delivery import deliver
from inventory.shared import conventions, mailable
from inventory.shared.errors import AlreadyRecorded, BadValue, NotAllowedNow, Problems
from inventory.shared.mailable import MailablePaper
from inventory.shared.models import House
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat

SUBJECT_MAX = 200
BODY_MAX = 10_000
# Bytes of all papers of one e-mail; many mail servers refuse more than 10 MB.
PAPERS_MAX = 8_000_000


@dataclass(frozen=True)
class EmailDraft:
    """An e-mail as it is shown before it is sent."""

    customer: Customer | None
    language: str
    to: str
    subject: str
    body: str
    file_name: str


@dataclass(frozen=True)
class PaperMade:
    """A paper, its PDF and the files beside it, ready to be attached."""

    paper: MailablePaper
    thing: models.Model
    content: bytes
    file_name: str
    details: dict[str, str] = field(default_factory=dict)
    beside: dict[str, bytes] = field(default_factory=dict)

    @property
    def size(self) -> int:
        return len(self.content) + sum(len(content) for content in self.beside.values())


def draft(
    *, paper: MailablePaper, thing: models.Model, details: dict[str, str], sent_by: Person
) -> EmailDraft:
    """Return the e-mail that a paper would be sent with, in the language of the paper."""
    customer = paper.customer(thing)
    language = language_of(paper, thing)
    words = EmailText.objects.words(paper.name, language)
    with translation.override(language):
        figures = {
            **usual_words(customer, House.current(), sent_by),
            "paper": str(paper.title),
            "number": paper.number(thing),
            **paper.figures(thing),
        }
    return EmailDraft(
        customer=customer,
        language=language,
        to=customer.email if customer else "",
        subject=texts.one_line(texts.fill(words.subject, figures))[:SUBJECT_MAX],
        body=texts.fill(words.body, figures),
        file_name=file_name_of(paper, thing, language),
    )


def usual_words(customer: Customer | None, house: House, sent_by: Person) -> dict[str, str]:
    """Return the words that every text may use."""
    name = customer.name if customer else ""
    return {
        "customer": name,
        "contact": (customer.contact if customer else "") or name,
        "house": house.name,
        "sender": sent_by.display_name,
    }


def language_of(paper: MailablePaper, thing: models.Model) -> str:
    """Return the language of a paper: fixed by the thing, the customer's, or the house's."""
    customer = paper.customer(thing)
    language = paper.language(thing) or (customer.paper_language if customer else "")
    return language or conventions.current().language


def file_name_of(paper: MailablePaper, thing: models.Model, language: str) -> str:
    with translation.override(language):
        return ascii_pdf_name(f"{paper.title} {paper.number(thing)}")


def make(
    paper: MailablePaper, thing: models.Model, details: dict[str, str] | None = None
) -> PaperMade:
    """Make the PDF of a paper in its language, and what goes beside it.

    Raises `PdfUnavailable`, and `NotAllowedNow` where the paper can't be written.
    """
    language = language_of(paper, thing)
    details = details or {}
    with translation.override(language):
        content = paper.pdf(thing, details)
    name = file_name_of(paper, thing, language)
    return PaperMade(paper, thing, content, name, details, paper.beside(thing))


def send(
    *,
    paper: MailablePaper,
    thing: models.Model,
    details: dict[str, str] | None = None,
    to: str,
    subject: str,
    body: str,
    sent_by: Person,
    key: str,
) -> Email:
    """Send a paper to one address and return the e-mail, which a worker delivers.

    The PDF is made now and kept, so that what is sent is what there was when it was asked for.
    Raises `BadValue` (or several), also for words of their own of who sends those of the house
    alone, `NotAllowedNow`, `PdfUnavailable`, and `AlreadyRecorded` with the e-mail of the first
    time.
    """
    refuse_repeat(Email, key)
    _check_words(to=to, subject=subject, body=body)
    check_sender()
    if not paper.is_for(thing):
        raise NotAllowedNow(
            _("There is no such paper of it now: %(paper)s.") % {"paper": paper.title}
        )
    if not paper.may_word(sent_by):
        ours = draft(paper=paper, thing=thing, details=details or {}, sent_by=sent_by)
        _check_as_ours(ours, subject=subject, body=body)
    # Before the transaction: papers are made one at a time, and others want to write meanwhile.
    made = make(paper, thing, details)
    with transaction.atomic():
        # Of two who send the same form at once, one waits here.
        paper.model_class._default_manager.select_for_update().get(pk=thing.pk)
        refuse_repeat(Email, key)
        return write(
            customer=paper.customer(thing),
            language=language_of(paper, thing),
            to=to,
            subject=subject,
            body=body,
            papers=[made],
            sent_by=sent_by,
            key=key,
        )


def may_word(user: Any, email: Email) -> bool:
    """Tell whether a person may give an e-mail words of their own."""
    papers = [mailable.by_name(row.paper) for row in email.papers.all()]
    return all(paper is None or paper.may_word(user) for paper in papers)


@transaction.atomic
def resend(*, email: Email, to: str, subject: str, body: str, sent_by: Person, key: str) -> Email:
    """Send an e-mail again, with the same papers, and return the new one; raises as `send`.

    It may go to another address, and say something else where the person may word its papers. One
    that still waits is refused.
    """
    email = Email.objects.select_for_update().get(pk=email.pk)
    refuse_repeat(Email, key)
    _check_words(to=to, subject=subject, body=body)
    check_sender()
    if email.status == Email.Status.WAITING:
        raise NotAllowedNow(_("This e-mail is still waiting to be sent. It goes by itself."))
    if email.status == Email.Status.SENDING and not email.is_unknown:
        raise NotAllowedNow(_("This e-mail is being sent now. Look again in some minutes."))
    if not may_word(sent_by, email):
        _check_as_ours(email, subject=subject, body=body)
    again = _add(
        customer=email.customer,
        language=email.language,
        to=to,
        subject=subject,
        body=body,
        sent_by=sent_by,
        key=key,
        resends=email,
    )
    for attached in email.papers.all():
        EmailPaper.objects.create(
            email=again,
            paper=attached.paper,
            thing_id=attached.thing_id,
            details=attached.details,
            number=attached.number,
            file_name=attached.file_name,
            copy_id=attached.copy_id,
        )
    deliver.enqueue(again.pk)
    return again


@transaction.atomic
def note_bounce(*, email: Email, bounced_on: date, note: str, noted_by: Person) -> Email:
    """Note that an e-mail came back, as a mail server told later.

    Raises `BadValue`, `NotAllowedNow` for one that was not sent, and `AlreadyRecorded`.
    """
    email = Email.objects.select_for_update().get(pk=email.pk)
    if email.bounced_on is not None:
        raise AlreadyRecorded(_("This was recorded already."), made=email)
    if email.status != Email.Status.SENT and not email.is_unknown:
        raise NotAllowedNow(_("This e-mail was not sent, so it can't have come back."))
    problems = Problems()
    if bounced_on > timezone.localdate():
        problems.add("bounced_on", _("This day is in the future. Choose today or an earlier day."))
    elif bounced_on < timezone.localdate(email.created_at):
        problems.add("bounced_on", _("The e-mail was written later. Choose a later day."))
    if not note.strip():
        problems.add("note", _("Write what the answer says."))
    elif len(note) > 300:
        problems.add("note", _("Write at most %(most)s characters.") % {"most": 300})
    problems.raise_any()
    email.bounced_on, email.bounce_note, email.bounce_noted_by = bounced_on, note.strip(), noted_by
    email.save(update_fields=["bounced_on", "bounce_note", "bounce_noted_by"])
    return email


def write(
    *,
    customer: Customer | None,
    language: str,
    to: str,
    subject: str,
    body: str,
    papers: Sequence[PaperMade],
    sent_by: Person,
    key: str,
) -> Email:
    """Write an e-mail with its papers down and hand it to a worker, in the caller's transaction."""
    if sum(made.size for made in papers) > PAPERS_MAX:
        raise BadValue(
            _("The papers are too large for one e-mail. Send fewer at once."), parameter=None
        )
    email = _add(
        customer=customer,
        language=language,
        to=to,
        subject=subject,
        body=body,
        sent_by=sent_by,
        key=key,
        resends=None,
    )
    for made, own_name in zip(papers, _apart(made.file_name for made in papers), strict=True):
        for name, content in {own_name: made.content, **made.beside}.items():
            EmailPaper.objects.create(
                email=email,
                paper=made.paper.name,
                thing_id=made.thing.pk,
                details=made.details,
                number=made.paper.number(made.thing),
                file_name=name,
                copy=_kept(content),
            )
    deliver.enqueue(email.pk)
    return email


def sender_address() -> str:
    """Return the address that e-mails come from; empty where the house has none."""
    return settings.EMAIL_FROM or House.current().email


def _add(*, to: str, subject: str, body: str, **facts: Any) -> Email:
    address = sender_address()
    return Email.objects.create(
        message_id=make_msgid(domain=address.rpartition("@")[2]),
        sender=formataddr((texts.one_line(House.current().name), address)),
        to=to.strip(),
        subject=subject.strip(),
        body=body.strip(),
        idempotency_key=facts.pop("key"),
        **facts,
    )


def _kept(content: bytes) -> PaperCopy:
    digest = hashlib.sha256(content).hexdigest()
    known = PaperCopy.objects.filter(sha256=digest).defer("content").first()
    return known or PaperCopy.objects.create(sha256=digest, content=content)


def _apart(names: Iterable[str]) -> list[str]:
    """Return file names of which no two are the same."""
    found: list[str] = []
    for name in names:
        stem, number = name.removesuffix(".pdf"), 2
        while name in found:
            name, number = f"{stem} {number}.pdf", number + 1
        found.append(name)
    return found


def _check_as_ours(ours: EmailDraft | Email, *, subject: str, body: str) -> None:
    """Refuse other words than these; raises `BadValue` (or several)."""
    problems = Problems()
    for name, given, wanted in (("subject", subject, ours.subject), ("body", body, ours.body)):
        if given != wanted:
            problems.add(name, _("Only the office may change the words. Leave them as they are."))
    problems.raise_any()


def _check_words(*, to: str, subject: str, body: str) -> None:
    problems = Problems()
    try:
        validate_email(to.strip())
    except ValidationError:
        problems.add("to", _("Enter one e-mail address, such as name@shop.example."))
    if not subject.strip():
        problems.add("subject", _("Write a subject."))
    elif len(subject) > SUBJECT_MAX:
        problems.add("subject", _("Write at most %(most)s characters.") % {"most": SUBJECT_MAX})
    elif len(subject.strip().splitlines()) > 1:
        problems.add("subject", _("Write the subject on one line."))
    if not body.strip():
        problems.add("body", _("Write a text."))
    elif len(body) > BODY_MAX:
        problems.add("body", _("Write at most %(most)s characters.") % {"most": BODY_MAX})
    problems.raise_any()


def check_sender() -> None:
    """Raise `NotAllowedNow` where the house has no address that e-mails come from."""
    if not sender_address():
        raise NotAllowedNow(
            _(
                "Your house has no e-mail address yet. Enter it under Settings, Business details: "
                "e-mails come from it."
            )
        )
