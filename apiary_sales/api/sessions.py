"""Where people are signed in with a browser: listed, and signed out."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.accounts import access
from apiary_sales.accounts.models import HouseSession
from apiary_sales.accounts.services import sessions
from apiary_sales.accounts.session_store import store_of
from apiary_sales.api.bases import ListApiView
from apiary_sales.api.views import REFUSALS, ApiActView


class SignedInSerializer(serializers.ModelSerializer):
    """A browser in which a person is signed in, and until when it is if nobody uses it."""

    person = serializers.CharField(source="person.display_name")
    person_id = serializers.IntegerField()
    browser = serializers.CharField(source="browser_in_words")
    ends_at = serializers.DateTimeField(source="expire_date")

    class Meta:
        model = HouseSession
        fields = [
            "id",
            "person",
            "person_id",
            "browser",
            "address",
            "started_at",
            "last_seen_at",
            "ends_at",
        ]


class SessionListView(ListApiView):
    """Where a person is signed in; an owner sees that of everybody."""

    serializer_class = SignedInSerializer
    queryset = HouseSession.objects.all()

    def get_queryset(self) -> Any:
        return access.sessions_seen_by(access.me(self.request))


class SignOutView(ApiActView):
    """Sign out in one browser."""

    serializer_class = serializers.Serializer

    @extend_schema(request=None, responses={204: None, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Sign a person out in one browser; the owner may sign anybody out."""
        me = access.me(request)
        sessions.sign_out(session=get_object_or_404(access.sessions_seen_by(me), pk=pk))
        return Response(status=status.HTTP_204_NO_CONTENT)


class OthersSignOutView(ApiActView):
    """Sign out in all browsers but one's own."""

    serializer_class = serializers.Serializer

    @extend_schema(request=None, responses={204: None, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Sign oneself out everywhere else; for a program, that is in every browser."""
        me = access.me(request)
        sessions.sign_out_others(person=me, but=store_of(request).row)
        return Response(status=status.HTTP_204_NO_CONTENT)
