"""People who work here, through the API: added, given a role, switched off; and their PINs."""

from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError as NotAccepted
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.generics import get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.accounts import access, roles
from apiary_sales.accounts.access import MANAGE_PEOPLE
from apiary_sales.accounts.models import SellerPin, User
from apiary_sales.accounts.password_views import site_of
from apiary_sales.accounts.services import lost_passwords, people, pins
from apiary_sales.api.bottling import NothingSerializer
from apiary_sales.api.serializers import StrictCharField
from apiary_sales.api.views import REFUSALS, ApiActView

PASSWORD_LENGTH_MAX = 4_096


class PersonSerializer(serializers.ModelSerializer):
    """A person of the house, and whether they can sign in."""

    name = serializers.CharField(source="display_name")

    class Meta:
        model = User
        fields = ["id", "username", "name", "role", "email", "is_active"]


class NewPasswordSerializer(serializers.Serializer):
    """A password that is hard to guess."""

    password = StrictCharField(
        trim_whitespace=False, max_length=PASSWORD_LENGTH_MAX, write_only=True
    )


class PersonToAddSerializer(NewPasswordSerializer):
    """A person with the name to sign in with, the full name and what they do."""

    username = StrictCharField(max_length=150, validators=[User.username_validator])
    name = StrictCharField(max_length=150)
    role = serializers.ChoiceField(User.Role.choices)


class RoleToGiveSerializer(serializers.Serializer):
    """What a person does from now on."""

    role = serializers.ChoiceField(User.Role.choices)


class SignInEmailSerializer(serializers.Serializer):
    """Where a link for a new password goes; empty for none."""

    email = serializers.EmailField(allow_blank=True, max_length=254)


class PinToSetSerializer(serializers.Serializer):
    """4 to 6 digits, not all the same and not in a row."""

    pin = StrictCharField(max_length=10, write_only=True)


class OwnSerializer(serializers.Serializer):
    """Something of one's own; the password shows that nobody else sets it."""

    current_password = StrictCharField(
        trim_whitespace=False, max_length=PASSWORD_LENGTH_MAX, write_only=True
    )


class OwnPinToSetSerializer(OwnSerializer, PinToSetSerializer):
    """One's own PIN."""


class OwnEmailSerializer(OwnSerializer, SignInEmailSerializer):
    """Where a link for one's own new password goes; empty for none."""


class PinSerializer(serializers.ModelSerializer):
    """That a person has a PIN, and since when."""

    person = serializers.CharField(source="person.username")
    person_id = serializers.IntegerField()

    class Meta:
        model = SellerPin
        fields = ["person", "person_id", "set_at"]


def check_password(password: str, person: User) -> None:
    """Raise `ValidationError` at "password" where it is easy to guess."""
    try:
        validate_password(password, person)
    except NotAccepted as refused:
        raise serializers.ValidationError({"password": refused.messages}) from refused


class PersonActView(ApiActView):
    """An act on one person, for who manages people."""

    permission_required = MANAGE_PEOPLE

    def person(self) -> User:
        return get_object_or_404(User, pk=self.kwargs["pk"])


class PeopleAddApiView(ApiActView):
    permission_required = MANAGE_PEOPLE
    serializer_class = PersonToAddSerializer

    @extend_schema(responses={201: PersonSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Add a person who can sign in. Sent twice, the second is refused: the name is taken."""
        data: dict[str, Any] = self.checked()
        check_password(data["password"], User(username=data["username"], first_name=data["name"]))
        made = people.add(**data)
        return Response(PersonSerializer(made).data, status=status.HTTP_201_CREATED)


class PersonRoleApiView(PersonActView):
    serializer_class = RoleToGiveSerializer

    @extend_schema(responses={200: PersonSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Give a person another role, and with it other permissions."""
        made = people.change_role(person=self.person(), **self.checked())
        return Response(PersonSerializer(made).data)


class PersonPasswordApiView(PersonActView):
    serializer_class = NewPasswordSerializer

    @extend_schema(responses={200: PersonSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Set a new password; every device and program of the person must sign in again."""
        person = self.person()
        data = self.checked()
        check_password(data["password"], person)
        return Response(PersonSerializer(people.reset_password(person=person, **data)).data)


class PersonPasswordLinkApiView(PersonActView):
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={204: None, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Send a person a link for a new password by e-mail."""
        lost_passwords.send(person=self.person(), site=site_of(request))
        return Response(status=status.HTTP_204_NO_CONTENT)


class PersonEmailApiView(PersonActView):
    serializer_class = SignInEmailSerializer

    @extend_schema(responses={200: PersonSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Keep the address to which a person's link for a new password goes."""
        made = people.set_email(person=self.person(), **self.checked())
        return Response(PersonSerializer(made).data)


class PersonSwitchOffApiView(PersonActView):
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={200: PersonSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Keep a person from signing in; what they wrote down stays under their name."""
        return Response(PersonSerializer(people.switch_off(person=self.person())).data)


class PersonSwitchOnApiView(PersonActView):
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={200: PersonSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Let a person sign in again."""
        return Response(PersonSerializer(people.switch_on(person=self.person())).data)


class PersonPinApiView(PersonActView):
    serializer_class = PinToSetSerializer

    @extend_schema(responses={200: PinSerializer, **REFUSALS})
    def post(self, request: Request, pk: int) -> Response:
        """Set the PIN of a person who sells at the stand."""
        me = access.me(request)
        made = pins.set_pin(person=self.person(), **self.checked(), set_by=me)
        return Response(PinSerializer(made).data)


class OwnActView(ApiActView):
    """An act of a person on themselves, which takes the password."""

    serializer_class = OwnSerializer

    def me(self) -> User:
        return access.me(self.request)

    def checked(self) -> dict[str, Any]:
        data = super().checked()
        if not self.me().check_password(data.pop("current_password")):
            raise serializers.ValidationError(
                {"current_password": _("This is not your current password. Type it again.")}
            )
        return data


class OwnEmailApiView(OwnActView):
    serializer_class = OwnEmailSerializer

    @extend_schema(responses={200: PersonSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Keep the address to which one's own link for a new password goes."""
        made = people.set_email(person=self.me(), **self.checked())
        return Response(PersonSerializer(made).data)


class OwnPinApiView(OwnActView):
    permission_required = roles.SELL
    serializer_class = OwnPinToSetSerializer

    @extend_schema(responses={200: PinSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Set one's own PIN."""
        me = self.me()
        made = pins.set_pin(person=me, **self.checked(), set_by=me)
        return Response(PinSerializer(made).data)
