"""Papers by e-mail, their texts, and reminders through the API."""

from typing import Any

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet
from django.http import Http404
from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api import filters
from apiary_sales.api.answers import AnswerSerializer, RowSerializer
from apiary_sales.api.bases import ApiView, ListApiView
from apiary_sales.api.fields import IdField, rows_of
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.serializers import CENTS_MAX, StrictCharField, StrictIntegerField
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView, ViewPermission
from apiary_sales.billing.models import Invoice
from apiary_sales.customers.models import Customer
from apiary_sales.mailing.models import (
    Email,
    EmailPaper,
    EmailText,
    Reminder,
    ReminderPause,
    ReminderPlan,
)
from apiary_sales.mailing.models.reminders import DAYS_MAX
from apiary_sales.mailing.queries import emails as queries
from apiary_sales.mailing.services import emails, reminders, texts
from apiary_sales.mailing.views.emails import email_for, may_send_again, paper_response
from inventory.shared import mailable
from inventory.shared.mailable import MailablePaper
from inventory.shared.people import person_of
from inventory.shared.row_keys import KEY_MAX

SEE = "billing.view_money"
CHANGE = "billing.issue_invoices"


class EmailPaperSerializer(RowSerializer):
    """A paper of an e-mail, with the checksum of what was sent."""

    sha256 = serializers.CharField(source="copy.sha256")

    class Meta:
        model = EmailPaper
        fields = ["id", "paper", "thing_id", "number", "file_name", "sha256"]


class ReminderOfInvoiceSerializer(RowSerializer):
    invoice = serializers.CharField(source="invoice.__str__")

    class Meta:
        model = Reminder
        fields = ["id", "invoice", "level", "sent_on", "open_cents"]


class EmailSerializer(RowSerializer):
    """An e-mail: `is_unknown` where nobody can tell whether it was sent."""

    customer = serializers.CharField(source="customer.name", default=None)
    is_unknown = serializers.BooleanField()
    papers = EmailPaperSerializer(many=True)
    reminders = ReminderOfInvoiceSerializer(many=True)

    class Meta:
        model = Email
        fields = [
            "id",
            "customer",
            "to",
            "language",
            "subject",
            "body",
            "status",
            "is_unknown",
            "created_at",
            "attempts",
            "next_attempt_at",
            "sent_at",
            "error",
            "bounced_on",
            "bounce_note",
            "resends",
            "papers",
            "reminders",
        ]


@extend_schema_field(OpenApiTypes.STR)
class PaperNameField(serializers.Field):
    """The name of a paper that can be sent, such as `invoice`."""

    def to_internal_value(self, data: Any) -> MailablePaper:
        paper = mailable.by_name(data) if isinstance(data, str) else None
        if paper is None:
            names = ", ".join(each.name for each in mailable.all_papers())
            raise serializers.ValidationError(
                _("There is no such paper. Send one of: %(names)s.") % {"names": names}
            )
        return paper


class StatementDaysSerializer(serializers.Serializer):
    """The days of a statement."""

    since = serializers.DateField(required=False)
    until = serializers.DateField(required=False)


class EmailToSendSerializer(serializers.Serializer):
    """Which paper of which thing, by its number; what is left out is as the page would fill it."""

    paper = PaperNameField()
    thing = StrictIntegerField(min_value=1, max_value=KEY_MAX)
    details = StatementDaysSerializer(required=False)
    to = StrictCharField(required=False, max_length=254)
    subject = StrictCharField(required=False, max_length=emails.SUBJECT_MAX)
    body = StrictCharField(required=False, max_length=emails.BODY_MAX)


class EmailAgainSerializer(serializers.Serializer):
    """What is left out is as it was."""

    to = StrictCharField(required=False, max_length=254)
    subject = StrictCharField(required=False, max_length=emails.SUBJECT_MAX)
    body = StrictCharField(required=False, max_length=emails.BODY_MAX)


class BounceSerializer(serializers.Serializer):
    bounced_on = serializers.DateField()
    note = StrictCharField(max_length=300)


class EmailsApiView(ApiActView, ListApiView):
    """E-mails: listed, newest first, and sent."""

    filterset_class = filters.EmailListFilters
    ordering_fields = ordered_by("id", "created_at", "sent_at")
    permission_to_read = SEE
    who_may = f"To read, needs `{SEE}`; to send, needs what making the papers needs."
    serializer_class = EmailToSendSerializer
    row_serializer_class = EmailSerializer
    queryset = queries.log().prefetch_related("papers__copy")

    def check_permissions(self, request: Request) -> None:
        super().check_permissions(request)
        if request.method == "POST" and not any(
            paper.may_send(request.user) for paper in mailable.all_papers()
        ):
            raise PermissionDenied

    @extend_schema(operation_id="emails_list", responses=EmailSerializer(many=True))
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List the e-mails, the newest first."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY],
        request=EmailToSendSerializer,
        responses={201: EmailSerializer, **REFUSALS},
    )
    def post(self, request: Request) -> Response:
        """Send a paper by e-mail; a worker delivers it, and the e-mail tells what became of it."""
        key = self.key()
        data = self.checked()
        paper = data["paper"]
        if not paper.may_send(request.user):
            raise PermissionDenied
        thing = paper.things_for(request.user).filter(pk=data["thing"]).first()
        if thing is None:
            raise serializers.ValidationError(
                {"thing": _("There is no such number: %(number)s.") % {"number": data["thing"]}}
            )
        given = {name: day.isoformat() for name, day in data.get("details", {}).items()}
        details = paper.details(given)
        person = person_of(request)
        draft = emails.draft(paper=paper, thing=thing, details=details, sent_by=person)
        made = emails.send(
            paper=paper,
            thing=thing,
            details=details,
            to=data.get("to", draft.to),
            subject=data.get("subject", draft.subject),
            body=data.get("body", draft.body),
            sent_by=person,
            key=key,
        )
        return Response(EmailSerializer(made).data, status=status.HTTP_201_CREATED)


class EmailApiView(ApiView):
    permission_classes = [ViewPermission]

    @extend_schema(responses=EmailSerializer)
    def get(self, request: Request, pk: int) -> Response:
        """Show one e-mail."""
        return Response(EmailSerializer(email_for(request.user, pk)).data)


class EmailPaperApiView(ApiView):
    permission_classes = [ViewPermission]

    @extend_schema(
        responses={
            (200, "application/pdf"): OpenApiTypes.BINARY,
            (200, "application/xml"): OpenApiTypes.BINARY,
        }
    )
    def get(self, request: Request, pk: int):
        """Hand out a paper as it was sent, by its number in the e-mail's `papers`."""
        return paper_response(request.user, pk)


class EmailActApiView(ApiActView):
    """An act on one e-mail, for whoever may send its papers."""

    who_may = "For who may send all papers of the e-mail."

    def email(self) -> Email:
        email = queries.log().filter(pk=self.kwargs["pk"]).first()
        if email is None or not may_send_again(self.request.user, email):
            raise Http404 if self.request.user.has_perm(SEE) else PermissionDenied
        return email


class EmailAgainApiView(EmailActApiView):
    serializer_class = EmailAgainSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: EmailSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Send an e-mail again, with the same papers."""
        email = self.email()
        key = self.key()
        given = {name: getattr(email, name) for name in ("to", "subject", "body")}
        made = emails.resend(
            email=email, **given | self.checked(), sent_by=person_of(request), key=key
        )
        return Response(EmailSerializer(made).data, status=status.HTTP_201_CREATED)


class EmailBounceApiView(EmailActApiView):
    serializer_class = BounceSerializer

    @extend_schema(responses={200: EmailSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Note that an e-mail came back."""
        made = emails.note_bounce(email=self.email(), **self.checked(), noted_by=person_of(request))
        return Response(EmailSerializer(made).data)


class EmailTextSerializer(serializers.Serializer):
    """What the e-mails of a name begin with; `words` are the names in braces it may use."""

    name = serializers.CharField()
    language = serializers.CharField()
    subject = serializers.CharField()
    body = serializers.CharField()
    is_own = serializers.BooleanField()
    words = serializers.ListField(child=serializers.CharField())


class EmailTextToSaveSerializer(serializers.Serializer):
    name = StrictCharField(max_length=40)
    language = serializers.ChoiceField(settings.LANGUAGES)
    subject = StrictCharField(max_length=emails.SUBJECT_MAX)
    body = StrictCharField(max_length=emails.BODY_MAX)


class UsualTextSerializer(serializers.Serializer):
    name = StrictCharField(max_length=40)
    language = serializers.ChoiceField(settings.LANGUAGES)


class EmailTextsApiView(ApiActView):
    permission_required = CHANGE
    serializer_class = EmailTextToSaveSerializer

    @extend_schema(responses=EmailTextSerializer(many=True))
    def get(self, request: Request) -> Response:
        """List what e-mails begin with, in each language; there are always as many."""
        own = set(EmailText.objects.values_list("name", "language"))
        rows = [
            {
                "name": name,
                "language": language,
                **EmailText.objects.words(name, language)._asdict(),
                "is_own": (name, language) in own,
                "words": texts.words_known(name),
            }
            for name in texts.names()
            for language, _label in settings.LANGUAGES
        ]
        return Response(EmailTextSerializer(rows, many=True).data)

    @extend_schema(responses={200: EmailTextToSaveSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Set a text of the house's own."""
        return Response(EmailTextToSaveSerializer(texts.save(**self.checked())).data)


class UsualTextApiView(ApiActView):
    permission_required = CHANGE
    serializer_class = UsualTextSerializer

    @extend_schema(responses={204: None, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Go back to the usual text."""
        texts.use_usual(**self.checked())
        return Response(status=status.HTTP_204_NO_CONTENT)


class OverdueInvoiceSerializer(AnswerSerializer):
    invoice = serializers.CharField(source="invoice.__str__")
    level = serializers.IntegerField()
    days_overdue = serializers.IntegerField()
    open_cents = serializers.IntegerField(source="invoice.open_cents")


class DueReminderSerializer(AnswerSerializer):
    """A reminder that is due; `digest` tells whether it changed since somebody saw it."""

    customer = serializers.CharField(source="customer.name")
    to = serializers.CharField(source="customer.email")
    level = serializers.IntegerField()
    owed_cents = serializers.IntegerField()
    on_account_cents = serializers.IntegerField()
    subject = serializers.CharField()
    body = serializers.CharField()
    digest = serializers.CharField()
    invoices = OverdueInvoiceSerializer(many=True)


class ReminderChosenSerializer(serializers.Serializer):
    customer = StrictIntegerField(min_value=1, max_value=KEY_MAX)
    digest = StrictCharField(max_length=32)


class RemindersToSendSerializer(serializers.Serializer):
    """Which of the reminders that are due are approved, each with its digest."""

    chosen = rows_of(
        ReminderChosenSerializer, allow_empty=False, max_length=reminders.CUSTOMERS_MAX
    )


class RemindersApiView(ApiActView):
    permission_required = CHANGE
    serializer_class = RemindersToSendSerializer

    @extend_schema(responses=DueReminderSerializer(many=True))
    def get(self, request: Request) -> Response:
        """List the reminders that are due today, in one answer; nothing is sent."""
        found = reminders.due(timezone.localdate(), sent_by=person_of(request))
        return Response(DueReminderSerializer(found, many=True).data)

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: EmailSerializer(many=True), **REFUSALS}
    )
    def post(self, request: Request) -> Response:
        """Send the reminders that are approved."""
        key = self.key()
        chosen = {row["customer"]: row["digest"] for row in self.checked()["chosen"]}
        made = reminders.send(chosen=chosen, sent_by=person_of(request), key=key)
        return Response(EmailSerializer(made, many=True).data, status=status.HTTP_201_CREATED)


class ReminderPlanSerializer(serializers.Serializer):
    first_days = StrictIntegerField(min_value=1, max_value=DAYS_MAX)
    second_days = StrictIntegerField(min_value=1, max_value=DAYS_MAX)
    third_days = StrictIntegerField(min_value=1, max_value=DAYS_MAX)
    minimum_cents = StrictIntegerField(min_value=0, max_value=min(CENTS_MAX, 2**31 - 1))


class ReminderPlanApiView(ApiActView):
    permission_required = CHANGE
    serializer_class = ReminderPlanSerializer

    @extend_schema(responses=ReminderPlanSerializer)
    def get(self, request: Request) -> Response:
        """Show when reminders are due."""
        return Response(ReminderPlanSerializer(ReminderPlan.current()).data)

    @extend_schema(responses={200: ReminderPlanSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Set when reminders are due."""
        return Response(ReminderPlanSerializer(reminders.change_plan(**self.checked())).data)


class ReminderPauseSerializer(RowSerializer):
    customer = serializers.CharField(source="customer.name")
    invoice = serializers.CharField(default=None, allow_null=True, read_only=True)

    class Meta:
        model = ReminderPause
        fields = ["id", "customer", "invoice", "reason", "until", "placed_at", "ended_at"]


class PauseToPlaceSerializer(serializers.Serializer):
    """No reminders of one invoice, or of all where `invoice` is left out."""

    invoice = IdField(queryset=Invoice.objects.all(), required=False, allow_null=True)
    reason = StrictCharField(max_length=200)
    until = serializers.DateField(required=False, allow_null=True)


class ReminderPausesApiView(ApiActView, ListApiView):
    permission_required = CHANGE
    serializer_class = PauseToPlaceSerializer
    row_serializer_class = ReminderPauseSerializer
    filterset_class = filters.ReminderPauseListFilters
    ordering_fields = ordered_by("id", "placed_at")
    queryset = ReminderPause.objects.none()

    @extend_schema(responses=ReminderPauseSerializer(many=True))
    def get(self, request: Request, pk: int) -> Response:
        """List the pauses that count for a customer today."""
        return self.list(request)

    def get_queryset(self) -> QuerySet[ReminderPause]:
        customer = get_object_or_404(Customer, pk=self.kwargs["pk"])
        return queries.pauses_of(customer, timezone.localdate())

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY], responses={201: ReminderPauseSerializer, **REFUSALS}
    )
    def post(self, request: Request, pk: int) -> Response:
        """Send a customer no reminders, or none of one invoice."""
        customer = get_object_or_404(Customer, pk=pk)
        key = self.key()
        made = reminders.pause(
            customer=customer, **self.checked(), placed_by=person_of(request), key=key
        )
        return Response(ReminderPauseSerializer(made).data, status=status.HTTP_201_CREATED)


class ReminderPauseEndApiView(ApiActView):
    permission_required = CHANGE
    serializer_class = serializers.Serializer

    @extend_schema(request=None, responses={200: ReminderPauseSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Let reminders be sent again."""
        pause = get_object_or_404(ReminderPause, pk=pk)
        made = reminders.end_pause(pause=pause, ended_by=person_of(request))
        return Response(ReminderPauseSerializer(made).data)
