"""The house's own texts of e-mails."""

from django.conf import settings
from django.db import transaction
from django.utils.translation import gettext as _

from apiary_sales.mailing.models import EmailText
from apiary_sales.mailing.rules import texts
from inventory.shared import checks, mailable
from inventory.shared.errors import Problems


def names() -> list[str]:
    """Return the names of all texts: one for each paper, and one for each reminder."""
    return [*(paper.name for paper in mailable.all_papers()), *texts.REMINDERS]


def words_known(name: str) -> tuple[str, ...]:
    """Return the names in braces that a text may use."""
    if name in texts.REMINDERS:
        return texts.REMINDER_NAMES
    paper = mailable.by_name(name)
    return (*texts.USUAL_NAMES, *(paper.figure_names if paper else ()))


@transaction.atomic
def save(*, name: str, language: str, subject: str, body: str) -> EmailText:
    """Set the house's own text of this name in a language.

    Raises `BadValue` (or several), also for a name in braces that has no meaning there.
    """
    problems = Problems()
    if name not in names():
        problems.add("name", _("There is no such text: %(name)s.") % {"name": name})
    if language not in dict(settings.LANGUAGES):
        problems.add("language", _("Choose one from the list."))
    for parameter, text in (("subject", subject), ("body", body)):
        if wrong := texts.unknown_names(text, words_known(name)):
            problems.add(
                parameter,
                _("{%(wrong)s} means nothing here. Use %(known)s.")
                % {
                    "wrong": wrong[0],
                    "known": ", ".join(f"{{{each}}}" for each in words_known(name)),
                },
            )
    if len(subject.strip().splitlines()) > 1:
        problems.add("subject", _("Write the subject on one line."))
    problems.raise_any()
    own = EmailText.objects.filter(name=name, language=language).first()
    own = own or EmailText(name=name, language=language)
    own.subject, own.body = subject.strip(), body.strip()
    checks.save_checked(own)
    return own


@transaction.atomic
def use_usual(*, name: str, language: str) -> None:
    """Go back to the usual text."""
    for own in EmailText.objects.filter(name=name, language=language):
        own.delete()
