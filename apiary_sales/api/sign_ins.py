"""Who signed in or tried to, and what unlocks a name or an address, through the API."""

from ipaddress import ip_address
from typing import Any

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.accounts import browsers, queries
from apiary_sales.accounts.access import MANAGE_PEOPLE
from apiary_sales.accounts.models import SignIn, User
from apiary_sales.accounts.services import sign_ins
from apiary_sales.api import filters
from apiary_sales.api.bases import ListApiView
from apiary_sales.api.serializers import StrictCharField
from apiary_sales.api.views import REFUSALS, ApiActView


class SignInSerializer(serializers.ModelSerializer):
    """A sign-in or a try of one. A name that nobody has is shown by a mark alone."""

    person = serializers.CharField(source="person.display_name", default=None)
    person_id = serializers.IntegerField(allow_null=True)
    username = serializers.CharField(source="person.username", default=None)
    browser = serializers.SerializerMethodField()

    class Meta:
        model = SignIn
        fields = [
            "id",
            "at",
            "person",
            "person_id",
            "username",
            "mark",
            "address",
            "browser",
            "outcome",
            "times",
        ]

    def get_browser(self, entry: SignIn) -> str:
        return browsers.in_words(entry.browser)


class SignInsApiView(ListApiView):
    """The sign-ins of the last 180 days, the newest first."""

    permission_required = MANAGE_PEOPLE
    serializer_class = SignInSerializer
    queryset = queries.sign_ins()
    filterset_class = filters.SignInListFilters
    ordering_fields = ["at", "id"]
    ordering = ["-at", "-id"]


class UnlockSerializer(serializers.Serializer):
    """Whose name, or which address, is unlocked; both unlock the name at this address alone."""

    person = serializers.SlugRelatedField(
        slug_field="username", queryset=User.objects.all(), required=False
    )
    address = StrictCharField(required=False, max_length=45)

    def validate_address(self, address: str) -> str:
        try:
            return str(ip_address(address))
        except ValueError as error:
            raise serializers.ValidationError(
                _("Send an IP address, such as 192.0.2.7.")
            ) from error

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if not attrs:
            raise serializers.ValidationError("Send a person, an address, or both.")
        return attrs


class UnlockedSerializer(serializers.Serializer):
    """How many counts of wrong passwords were forgotten; 0 where nothing was locked."""

    forgotten = serializers.IntegerField()


class UnlockApiView(ApiActView):
    permission_required = MANAGE_PEOPLE
    serializer_class = UnlockSerializer

    @extend_schema(responses={200: UnlockedSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Let a name or an address be tried again at once; sent twice, it does the same."""
        return Response({"forgotten": sign_ins.unlock(**self.checked())})
