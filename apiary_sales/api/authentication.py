"""A program asks with a key in the header `Authorization: Token …`, in the name of a person."""

from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.plumbing import build_bearer_security_scheme_object
from knox.auth import TokenAuthentication
from knox.settings import knox_settings
from rest_framework import permissions
from rest_framework.exceptions import AuthenticationFailed, PermissionDenied
from rest_framework.request import Request

from apiary_sales.accounts import roles
from apiary_sales.accounts.models import ApiToken, User
from apiary_sales.accounts.services import tokens

# What a key for the stand alone reads besides: what there is to sell, and where.
READ_TO_SELL = {
    "api:balance-list",
    "api:place-detail",
    "api:place-list",
    "api:product-detail",
    "api:product-list",
}


class ProgramAuthentication(TokenAuthentication):
    """Find the person by the key's hash, and keep the program to what its key is for."""

    def authenticate(self, request: Request) -> tuple[User, ApiToken] | None:
        found = super().authenticate(request)
        if found is not None:
            _person, token = found
            keep_to_scopes(request, token)
            tokens.note_use(token=token)
        return found

    def authenticate_credentials(self, token: bytes) -> tuple[User, ApiToken]:
        # No key has other characters, and not all can be looked up.
        if not token.isalnum():
            raise AuthenticationFailed(_("Invalid token."))
        return super().authenticate_credentials(token)

    def _cleanup_token(self, auth_token: ApiToken) -> bool:
        """Tell whether a key has expired; all that have are removed at night."""
        return auth_token.expiry <= timezone.now()


class ProgramScheme(OpenApiAuthenticationExtension):
    """What the OpenAPI description says of it."""

    target_class = ProgramAuthentication
    name = "tokenAuth"

    def get_security_definition(self, auto_schema: Any) -> dict[str, Any]:
        return build_bearer_security_scheme_object(
            header_name="Authorization", token_prefix=knox_settings.AUTH_HEADER_PREFIX
        )


def keep_to_scopes(request: Request, token: ApiToken) -> None:
    """Raise `PermissionDenied` where a key is not for this address.

    What the person may not do, their programs may not either: each view asks for that.
    """
    is_reading = request.method in permissions.SAFE_METHODS
    if token.scopes == ApiToken.Scopes.READ and not is_reading:
        raise PermissionDenied(
            _("This key is for reading only. Make one that may record too, under Your account.")
        )
    if token.scopes == ApiToken.Scopes.SELL and not _is_selling(request, is_reading=is_reading):
        raise PermissionDenied(_("This key is for selling at the stand, and nothing else."))


def _is_selling(request: Request, *, is_reading: bool) -> bool:
    view: Any = request.parser_context["view"]
    # What the class says: one that asks who is signed in would ask while that is found out.
    if getattr(type(view), "permission_required", None) == roles.SELL:
        return True
    match = request.resolver_match
    return is_reading and match is not None and match.view_name in READ_TO_SELL
