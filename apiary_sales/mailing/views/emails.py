"""E-mails: the log, one e-mail, sending a paper, sending again, and the texts."""

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.db.models import Model
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import translation
from django.utils.functional import cached_property
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_POST

from apiary_sales.mailing.forms.emails import (
    BounceForm,
    EmailFilterForm,
    EmailForm,
    EmailTextForm,
)
from apiary_sales.mailing.models import Email, EmailPaper, EmailText
from apiary_sales.mailing.queries import emails as queries
from apiary_sales.mailing.services import emails, texts
from apiary_sales.mailing.services.emails import EmailDraft
from inventory.shared import documents, mailable
from inventory.shared.file_views import CONTENT_SECURITY_POLICY
from inventory.shared.mailable import MailablePaper
from inventory.shared.people import person_of
from inventory.shared.views import ActView

SEE = "billing.view_money"
CHANGE = "billing.issue_invoices"
EMAILS_A_PAGE = 50
REMINDER_TITLES = {
    "reminder-1": gettext_lazy("First reminder"),
    "reminder-2": gettext_lazy("Second reminder"),
    "reminder-3": gettext_lazy("Last reminder"),
}


@require_GET
@permission_required(SEE, raise_exception=True)
def email_list(request: HttpRequest) -> HttpResponse:
    form = EmailFilterForm(request.GET)
    asked = form.cleaned_data if form.is_valid() else {}
    found = queries.found(state=asked.get("state", ""), text=asked.get("text", ""))
    page = Paginator(found, EMAILS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "page_obj": page,
        "rows": [(email, queries.state_tag(email)) for email in page],
        "is_filtered": any(asked.values()),
        "leaves_the_house": queries.leaves_the_house(),
        "folder": settings.EMAIL_FILE_PATH,
    }
    return render(request, "mailing/email_list.html", context)


@require_GET
def email_detail(request: HttpRequest, pk: int) -> HttpResponse:
    email = email_for(request.user, pk)
    context = {
        "email": email,
        "state": queries.state_tag(email),
        "may_send": may_send_again(request.user, email),
        "pages": _pages_of(email),
    }
    return render(request, "mailing/email.html", context)


@require_GET
def email_paper(request: HttpRequest, pk: int) -> HttpResponse:
    return paper_response(request.user, pk)


def paper_response(user: Any, pk: int) -> HttpResponse:
    """Answer with a paper as it was sent, to whoever may see its e-mail.

    Raises Http404, and PermissionDenied for the rest.
    """
    attached = EmailPaper.objects.select_related("copy").filter(pk=pk).first()
    email_for(user, attached.email_id if attached else 0)
    assert attached is not None
    is_xml = attached.media_type == "application/xml"
    respond = documents.xml_response if is_xml else documents.pdf_response
    response = respond(attached.file_name, bytes(attached.copy.content))
    response["Content-Security-Policy"] = CONTENT_SECURITY_POLICY
    response["Cache-Control"] = "private, no-store"
    return response


def email_for(user: Any, pk: int) -> Email:
    """Return an e-mail that this person may see: of money, or with papers they may send.

    Raises Http404, and PermissionDenied for the rest.
    """
    found = queries.log().filter(pk=pk).first()
    if user.has_perm(SEE):
        if found is None:
            raise Http404
        return found
    if found is None or not may_send_again(user, found):
        raise PermissionDenied
    return found


def may_send_again(user: Any, email: Email) -> bool:
    """Tell whether a person may send all papers of an e-mail."""
    papers = [(mailable.by_name(row.paper), row.thing_id) for row in email.papers.all()]
    if not papers:
        return bool(user.has_perm(CHANGE))
    return all(
        paper is not None
        and paper.may_send(user)
        and (paper.seen_by is None or paper.things_for(user).filter(pk=thing_id).exists())
        for paper, thing_id in papers
    )


def _pages_of(email: Email) -> list[tuple[EmailPaper, str]]:
    """Return the papers of an e-mail, each with the address of the page of what it is about."""
    rows = []
    for attached in email.papers.all():
        paper = mailable.by_name(attached.paper)
        thing = (
            paper.model_class._default_manager.filter(pk=attached.thing_id).first()
            if paper
            else None
        )
        rows.append((attached, paper.page(thing) if paper and thing else ""))
    return rows


class SendEmailView(ActView):
    """Send a paper by e-mail: the text is there already and can be changed."""

    form_class = EmailForm
    template_name = "mailing/send.html"
    thing: Model

    @cached_property
    def paper(self) -> MailablePaper | None:
        return mailable.by_name(self.kwargs["paper"])

    def has_permission(self) -> bool:
        return self.paper is not None and self.paper.may_send(self.request.user)

    def prepare(self) -> None:
        assert self.paper is not None
        self.thing = get_object_or_404(
            self.paper.things_for(self.request.user), pk=self.kwargs["pk"]
        )
        if not self.paper.is_for(self.thing):
            raise Http404
        self.details = self.paper.details(self.request.GET)
        self.page_url = self.paper.page(self.thing)

    @cached_property
    def draft(self) -> EmailDraft:
        assert self.paper is not None
        return emails.draft(
            paper=self.paper,
            thing=self.thing,
            details=self.details,
            sent_by=person_of(self.request),
        )

    def get_form_kwargs(self) -> dict[str, Any]:
        assert self.paper is not None
        return {**super().get_form_kwargs(), "may_word": self.paper.may_word(self.request.user)}

    def get_initial(self) -> dict[str, Any]:
        draft = self.draft
        return {"to": draft.to, "subject": draft.subject, "body": draft.body}

    def act(self, data: dict[str, Any]) -> Email:
        assert self.paper is not None
        return emails.send(
            paper=self.paper,
            thing=self.thing,
            details=self.details,
            to=data["to"],
            subject=data["subject"],
            body=data["body"],
            sent_by=person_of(self.request),
            key=data["key"],
        )

    def done_message(self, made: Email) -> str:
        return _("The e-mail to %(to)s is on its way.") % {"to": made.to}

    def next_url(self, made: Email) -> str:
        return reverse("mailing:email", args=[made.pk])

    repeat_url = next_url

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        assert self.paper is not None
        return {
            **super().get_context_data(**kwargs),
            "paper": self.paper,
            "number": self.paper.number(self.thing),
            "draft": self.draft,
            "page_url": self.page_url,
            "sender": emails.sender_address(),
            "leaves_the_house": queries.leaves_the_house(),
        }


class EmailActView(ActView):
    """An act on one e-mail."""

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        self.email = queries.log().filter(pk=self.kwargs["pk"]).first()
        return super().dispatch(request, *args, **kwargs)

    def has_permission(self) -> bool:
        return self.email is not None and may_send_again(self.request.user, self.email)

    def next_url(self, made: Email) -> str:
        return reverse("mailing:email", args=[made.pk])

    repeat_url = next_url

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return {**super().get_context_data(**kwargs), "email": self.email}


class ResendView(EmailActView):
    form_class = EmailForm
    template_name = "mailing/resend.html"

    def get_form_kwargs(self) -> dict[str, Any]:
        assert self.email is not None
        may = emails.may_word(self.request.user, self.email)
        return {**super().get_form_kwargs(), "may_word": may}

    def get_initial(self) -> dict[str, Any]:
        assert self.email is not None
        return {"to": self.email.to, "subject": self.email.subject, "body": self.email.body}

    def act(self, data: dict[str, Any]) -> Email:
        assert self.email is not None
        return emails.resend(email=self.email, **data, sent_by=person_of(self.request))

    def done_message(self, made: Email) -> str:
        return _("The e-mail to %(to)s is on its way.") % {"to": made.to}


class BounceView(EmailActView):
    form_class = BounceForm
    template_name = "mailing/bounce.html"

    def act(self, data: dict[str, Any]) -> Email:
        assert self.email is not None
        return emails.note_bounce(
            email=self.email,
            bounced_on=data["bounced_on"],
            note=data["note"],
            noted_by=person_of(self.request),
        )

    def done_message(self, made: Email) -> str:
        return _("It is noted that the e-mail came back.")


@require_GET
@permission_required(CHANGE, raise_exception=True)
def text_list(request: HttpRequest) -> HttpResponse:
    own = set(EmailText.objects.values_list("name", "language"))
    rows = [
        (
            name,
            title_of(name),
            [(code, label, (name, code) in own) for code, label in settings.LANGUAGES],
        )
        for name in texts.names()
    ]
    return render(request, "mailing/text_list.html", {"rows": rows})


def title_of(name: str) -> str:
    """Return what the e-mails of a text are called."""
    paper = mailable.by_name(name)
    return str(paper.title if paper else REMINDER_TITLES[name])


class EmailTextView(ActView):
    permission_required = CHANGE
    form_class = EmailTextForm
    template_name = "mailing/text.html"

    def prepare(self) -> None:
        self.name, self.language = self.kwargs["name"], self.kwargs["language"]
        if self.name not in texts.names() or self.language not in dict(settings.LANGUAGES):
            raise Http404

    def edited(self) -> Model:
        return (
            EmailText.objects.filter(name=self.name, language=self.language).first() or EmailText()
        )

    def get_initial(self) -> dict[str, Any]:
        words = EmailText.objects.words(self.name, self.language)
        return {"subject": words.subject, "body": words.body}

    def act(self, data: dict[str, Any]) -> EmailText:
        return texts.save(
            name=self.name, language=self.language, subject=data["subject"], body=data["body"]
        )

    def done_message(self, made: EmailText) -> str:
        return _("The text is saved. E-mails begin with it from now on.")

    def next_url(self, made: EmailText) -> str:
        return reverse("mailing:text_list")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        with translation.override(self.language):
            language = translation.get_language_info(self.language)["name_translated"]
        known = [f"{{{each}}}" for each in texts.words_known(self.name)]
        is_own = EmailText.objects.filter(name=self.name, language=self.language).exists()
        return {
            **super().get_context_data(**kwargs),
            "title": title_of(self.name),
            "language": language,
            "known": known,
            "is_own": is_own,
            "name": self.name,
            "code": self.language,
        }


@require_POST
@permission_required(CHANGE, raise_exception=True)
def use_usual_text(request: HttpRequest, name: str, language: str) -> HttpResponse:
    texts.use_usual(name=name, language=language)
    messages.success(request, _("E-mails begin with the usual text again."))
    return redirect("mailing:text_list")


def send_url(paper: MailablePaper, thing: Model, details: dict[str, str]) -> str:
    """Return the address of the page that sends a paper."""
    url = reverse("mailing:send", args=[paper.name, thing.pk])
    return f"{url}?{urlencode(details)}" if details else url
