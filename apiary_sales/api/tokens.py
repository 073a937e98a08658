"""Keys with which programs ask: given for a name and a password, listed, revoked."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import parsers, permissions, serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.accounts import access, rules
from apiary_sales.accounts.models import ApiToken
from apiary_sales.accounts.services import sign_ins, tokens
from apiary_sales.api.bases import GenericApiView, ListApiView
from apiary_sales.api.parsers import JSONParser
from apiary_sales.api.problem_contents import CONTENT_TYPE
from apiary_sales.api.serializers import ProblemSerializer, StrictCharField, StrictIntegerField
from apiary_sales.api.views import REFUSALS, ApiActView
from inventory.shared.errors import BadValue

DAYS_USUAL = 90


class NamePasswordSerializer(serializers.Serializer):
    """Who the program asks for, what it is called, what it may do and for how many days."""

    username = StrictCharField(max_length=150)
    password = StrictCharField(
        max_length=4096, trim_whitespace=False, style={"input_type": "password"}
    )
    otp = StrictCharField(
        required=False,
        allow_blank=True,
        max_length=40,
        help_text=(
            "A code of the app, or a recovery code: needed where the person has a second step."
        ),
    )
    name = StrictCharField(max_length=80, default="Program")
    scopes = serializers.ChoiceField(ApiToken.Scopes.choices, default=ApiToken.Scopes.READ_WRITE)
    days = StrictIntegerField(min_value=1, max_value=rules.TOKEN_DAYS_MAX, default=DAYS_USUAL)


class ProgramKeySerializer(serializers.ModelSerializer):
    """A key that works; its text is told once, when it is made."""

    person = serializers.CharField(source="user.display_name")
    person_id = serializers.IntegerField(source="user.pk")
    made_at = serializers.DateTimeField(source="created")
    expires_at = serializers.DateTimeField(source="expiry")

    class Meta:
        model = ApiToken
        fields = [
            "id",
            "name",
            "scopes",
            "person",
            "person_id",
            "made_at",
            "last_used_on",
            "expires_at",
        ]


class TokenGivenSerializer(ProgramKeySerializer):
    """A key that was just made, with its text for the header `Authorization: Token …`."""

    token = serializers.CharField(read_only=True)

    class Meta(ProgramKeySerializer.Meta):
        fields = ["token", *ProgramKeySerializer.Meta.fields]


class TokenView(GenericApiView):
    """A key for a name and a password."""

    authentication_classes: list[Any] = []
    permission_classes = [permissions.AllowAny]
    serializer_class = NamePasswordSerializer
    parser_classes = [JSONParser, parsers.FormParser, parsers.MultiPartParser]

    # Generators of clients make a body of one kind: the others are told of in words.
    @extend_schema(
        request={"application/json": NamePasswordSerializer},
        responses={
            200: TokenGivenSerializer,
            **REFUSALS,
            (429, CONTENT_TYPE): ProblemSerializer,
            (503, CONTENT_TYPE): ProblemSerializer,
        },
    )
    def post(self, request: Request) -> Response:
        """Make a key for a program, and tell its text this once.

        Wrong passwords are counted as on the page to sign in. The fields of a form are taken as
        well as JSON.
        """
        serializer = self.get_serializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        data = serializer.validated_data
        try:
            person = sign_ins.token_for(
                request._request,
                username=data.pop("username"),
                password=data.pop("password"),
                otp=data.pop("otp", ""),
            )
        except BadValue as error:
            field = "otp" if error.parameter in ("otp", "code") else "password"
            raise serializers.ValidationError({field: [error.message]}) from error
        token, text = tokens.make(person=person, **data)
        return Response({"token": text, **ProgramKeySerializer(token).data})


class TokenListView(ListApiView):
    """The keys that work: a person's own; an owner sees those of everybody."""

    serializer_class = ProgramKeySerializer
    queryset = ApiToken.objects.all()

    def get_queryset(self) -> Any:
        return access.tokens_seen_by(access.me(self.request))


class TokenRevokeView(ApiActView):
    """End one key."""

    serializer_class = serializers.Serializer

    @extend_schema(request=None, responses={204: None, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Revoke a key at once and for good; the owner may revoke that of anybody."""
        me = access.me(request)
        tokens.revoke(token=get_object_or_404(access.tokens_seen_by(me), pk=pk))
        return Response(status=status.HTTP_204_NO_CONTENT)
