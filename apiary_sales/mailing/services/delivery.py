"""Hand e-mails to the mail server, and note what it answers.

An e-mail is taken up once an attempt, by a worker that changes it from *waiting* to *being sent*
and commits that first. So two workers never send the same one, and one that stops half-way leaves
it *being sent*: it is not tried again by itself, since it may have left.
"""

import smtplib
from contextlib import suppress

from django.core.mail import EmailMessage, get_connection
from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django_tasks import task

from apiary_sales.mailing.models import Email
from apiary_sales.mailing.rules.attempts import is_temporary, wait_after


@task()
def deliver(pk: int) -> str:
    """Send an e-mail that waits, and return what became of it; one that does not wait is left.

    It is safe to run twice. What the mail server refuses for now is tried again later.
    """
    email = _taken_up(pk)
    if email is None:
        return "left alone"
    connection = get_connection()
    try:
        connection.open()
    except (smtplib.SMTPException, OSError) as error:
        # Nothing was sent yet, whatever went wrong.
        return _try_later(email, _answer(error), temporary=_may_pass(error))
    try:
        connection.send_messages([_message(email)])
    except (smtplib.SMTPResponseException, smtplib.SMTPRecipientsRefused) as error:
        return _try_later(email, _answer(error), temporary=_may_pass(error))
    except (smtplib.SMTPException, OSError) as error:
        # The connection broke after the mail may have been handed over.
        return _end(email, Email.Status.UNKNOWN, error=_answer(error))
    except ValueError as error:
        # Django refuses what would not be one header or one address.
        return _end(email, Email.Status.REFUSED, error=_answer(error))
    finally:
        with suppress(smtplib.SMTPException, OSError):
            connection.close()
    return _end(email, Email.Status.SENT)


def queue_waiting() -> int:
    """Queue e-mails that are due and whose task a worker that stopped has lost; return how many.

    One that is queued twice is sent once.
    """
    due = list(Email.objects.to_send().values_list("pk", flat=True))
    for pk in due:
        deliver.enqueue(pk)
    return len(due)


def _taken_up(pk: int) -> Email | None:
    taken = Email.objects.to_send().filter(pk=pk)
    if not taken.update(
        status=Email.Status.SENDING,
        attempts=F("attempts") + 1,
        attempted_at=timezone.now(),
        next_attempt_at=None,
    ):
        return None
    return Email.objects.get(pk=pk)


def _message(email: Email) -> EmailMessage:
    message = EmailMessage(
        subject=email.subject,
        body=email.body,
        from_email=email.sender,
        to=[email.to],
        headers={"Message-ID": email.message_id, "Content-Language": email.language},
    )
    for attached in email.papers.select_related("copy"):
        message.attach(attached.file_name, bytes(attached.copy.content), attached.media_type)
    return message


def _try_later(email: Email, answer: str, *, temporary: bool) -> str:
    wait = wait_after(email.attempts) if temporary else None
    if wait is None:
        return _end(email, Email.Status.REFUSED, error=answer)
    at = timezone.now() + wait
    with transaction.atomic():
        _write(email, status=Email.Status.WAITING, error=answer, next_attempt_at=at)
        deliver.using(run_after=at).enqueue(email.pk)
    return str(Email.Status.WAITING)


def _end(email: Email, status: Email.Status, error: str = "") -> str:
    sent_at = timezone.now() if status == Email.Status.SENT else None
    _write(email, status=status, error=error, sent_at=sent_at)
    return str(status)


def _write(email: Email, **values: object) -> None:
    for name, value in values.items():
        setattr(email, name, value)
    email.save(update_fields=list(values))


def _may_pass(error: Exception) -> bool:
    """Tell whether the same attempt may succeed later."""
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        return all(is_temporary(code) for code, _words in error.recipients.values())
    if isinstance(error, smtplib.SMTPResponseException):
        return is_temporary(error.smtp_code)
    return not isinstance(error, smtplib.SMTPNotSupportedError)


def _answer(error: Exception) -> str:
    """Return what the mail server said, in its own words."""
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        return "; ".join(_said(code, words) for code, words in error.recipients.values())
    if isinstance(error, smtplib.SMTPResponseException):
        return _said(error.smtp_code, error.smtp_error)
    return str(error) or type(error).__name__


def _said(code: int, words: bytes | str) -> str:
    text = words.decode("utf-8", "replace") if isinstance(words, bytes) else words
    return f"{code} {text}"
