"""Programs that are told what happens, and the messages to them, through the API."""

from typing import Any

from drf_spectacular.utils import OpenApiResponse, OpenApiWebhook, extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.api.bases import ListApiView, RetrieveApiView
from apiary_sales.api.lists import ChoiceFilter, IdFilter, ListFilterSet
from apiary_sales.api.serializers import StrictCharField
from apiary_sales.api.views import REFUSALS, ApiActView
from apiary_sales.webhooks import queries
from apiary_sales.webhooks.models import ADDRESS_MAX, KINDS, Endpoint, EventDelivery, HouseEvent
from apiary_sales.webhooks.services import endpoints
from inventory.shared.people import person_of

MANAGE = "webhooks.manage_webhooks"


class WebhookSerializer(serializers.ModelSerializer):
    """A program that is told; its secret is told once, when it is made."""

    kinds = serializers.ListField(child=serializers.ChoiceField(KINDS))
    made_by = serializers.CharField(source="made_by.display_name")
    made_by_id = serializers.IntegerField()

    class Meta:
        model = Endpoint
        fields = [
            "id",
            "name",
            "url",
            "kinds",
            "is_in_own_network",
            "is_on",
            "failing_since",
            "given_up_at",
            "old_secret_until",
            "made_by",
            "made_by_id",
            "made_at",
        ]


class WebhookToKeepSerializer(serializers.Serializer):
    """Where a program is told, and of what."""

    name = StrictCharField(max_length=80)
    url = StrictCharField(max_length=ADDRESS_MAX)
    kinds = serializers.ListField(
        child=serializers.ChoiceField(KINDS), min_length=1, max_length=len(KINDS)
    )
    is_in_own_network = serializers.BooleanField(
        default=False,
        help_text="Whether the program is in our own network or on this machine; without it, such "
        "an address is refused at `url`, and nothing is sent to a name that leads there.",
    )


class WebhookSecretSerializer(WebhookSerializer):
    """A program with its new secret, for the check of signatures."""

    secret = serializers.CharField(read_only=True)

    class Meta(WebhookSerializer.Meta):
        fields = ["secret", *WebhookSerializer.Meta.fields]


class WebhookDeliverySerializer(serializers.ModelSerializer):
    """A message to a program, and what became of it."""

    webhook = serializers.CharField(source="endpoint.name")
    webhook_id = serializers.IntegerField(source="endpoint.pk")
    event_id = serializers.CharField(source="event.event_id")
    kind = serializers.CharField(source="event.kind")
    happened_at = serializers.DateTimeField(source="event.happened_at")
    body = serializers.CharField(source="event.body")
    answer_status = serializers.IntegerField(source="status", allow_null=True)

    class Meta:
        model = EventDelivery
        fields = [
            "id",
            "webhook",
            "webhook_id",
            "event_id",
            "kind",
            "happened_at",
            "body",
            "state",
            "tries",
            "tried_at",
            "next_try_at",
            "taken_at",
            "answer_status",
            "answer",
            "error",
        ]


class WebhookDeliveryListFilters(ListFilterSet):
    """Messages of one program, kind or state."""

    webhook_id = IdFilter("endpoint", rows=Endpoint.objects.all())
    kind = ChoiceFilter("event__kind", choices=HouseEvent.Kind.choices)

    class Meta:
        model = EventDelivery
        fields = ["state"]


class WebhooksApiView(ApiActView, ListApiView):
    permission_required = MANAGE
    serializer_class = WebhookToKeepSerializer
    row_serializer_class = WebhookSerializer
    queryset = Endpoint.objects.select_related("made_by")
    ordering_fields = ["name", "id"]
    ordering = ["name", "id"]

    @extend_schema(operation_id="webhooks_list", responses=WebhookSerializer(many=True))
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List the programs that are told."""
        return super().get(request, *args, **kwargs)

    @extend_schema(
        request=WebhookToKeepSerializer, responses={201: WebhookSecretSerializer, **REFUSALS}
    )
    def post(self, request: Request) -> Response:
        """Add a program, and tell its secret this once; a name is there once."""
        made, secret = endpoints.add(**self.checked(), made_by=person_of(request))
        return _with_secret(made, secret, status.HTTP_201_CREATED)


class WebhookApiView(RetrieveApiView):
    """One program that is told."""

    permission_required = MANAGE
    serializer_class = WebhookSerializer
    queryset = Endpoint.objects.select_related("made_by")


class WebhookChangeApiView(ApiActView):
    permission_required = MANAGE
    serializer_class = WebhookToKeepSerializer

    @extend_schema(responses={200: WebhookSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Change what a program is told, and where; sent twice, it does the same."""
        changed = endpoints.change(endpoint=get_object_or_404(Endpoint, pk=pk), **self.checked())
        return Response(WebhookSerializer(changed).data)


class WebhookActView(ApiActView):
    """An act on one program that is told nothing more."""

    permission_required = MANAGE
    serializer_class = serializers.Serializer


class WebhookTestApiView(WebhookActView):
    @extend_schema(request=None, responses={201: WebhookDeliverySerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Send a program a test message, by background work."""
        made = endpoints.send_test(endpoint=get_object_or_404(Endpoint, pk=pk))
        return Response(WebhookDeliverySerializer(made).data, status=status.HTTP_201_CREATED)


class WebhookRenewApiView(WebhookActView):
    @extend_schema(request=None, responses={200: WebhookSecretSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Give a program a new secret, and tell it this once; the old one signs for a day too."""
        endpoint = get_object_or_404(Endpoint, pk=pk)
        secret = endpoints.renew_secret(endpoint=endpoint)
        endpoint.refresh_from_db()
        return _with_secret(endpoint, secret, status.HTTP_200_OK)


class WebhookOffApiView(WebhookActView):
    @extend_schema(request=None, responses={200: WebhookSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Tell a program no more, and give up what waits; sent twice, it does the same."""
        changed = endpoints.switch_off(endpoint=get_object_or_404(Endpoint, pk=pk))
        return Response(WebhookSerializer(changed).data)


class WebhookOnApiView(WebhookActView):
    @extend_schema(request=None, responses={200: WebhookSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Tell a program again of what happens from now on; sent twice, it does the same."""
        changed = endpoints.switch_on(endpoint=get_object_or_404(Endpoint, pk=pk))
        return Response(WebhookSerializer(changed).data)


class WebhookDeliveriesApiView(ListApiView):
    """The messages of the last 30 days, the newest first."""

    permission_required = MANAGE
    serializer_class = WebhookDeliverySerializer
    queryset = queries.deliveries()
    filterset_class = WebhookDeliveryListFilters
    ordering_fields = ["id"]
    ordering = ["-id"]


class WebhookDeliveryApiView(RetrieveApiView):
    """One message to a program."""

    permission_required = MANAGE
    serializer_class = WebhookDeliverySerializer
    queryset = queries.deliveries()


class WebhookSendAgainApiView(WebhookActView):
    @extend_schema(request=None, responses={200: WebhookDeliverySerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Send a message once more, with its id and body as they were."""
        sent = endpoints.send_again(delivery=get_object_or_404(queries.deliveries(), pk=pk))
        return Response(WebhookDeliverySerializer(sent).data)


class HouseEventSerializer(serializers.Serializer):
    """What a program is told: what happened, and the keys by which the rest is read."""

    type = serializers.ChoiceField(HouseEvent.Kind.choices)
    id = serializers.CharField(help_text="The same whenever this message is sent again.")
    timestamp = serializers.DateTimeField()
    data = serializers.DictField(  # type: ignore[assignment]
        help_text="Keys of what it is about, and `url`, the address of the API to read it at."
    )


TOLD = OpenApiWebhook(
    name="event",
    decorator=extend_schema(
        summary="Something happened in the house.",
        description=(
            "Sent to the address of a program that is told, with the headers `webhook-id`, "
            "`webhook-timestamp` and `webhook-signature` of Standard Webhooks. Any answer of "
            "200 to 299 takes it; else it is sent again for three days."
        ),
        request=HouseEventSerializer,
        responses={"2XX": OpenApiResponse(description="It was taken.")},
    ),
)


def _with_secret(endpoint: Endpoint, secret: str, code: int) -> Response:
    return Response({"secret": secret, **WebhookSerializer(endpoint).data}, status=code)
