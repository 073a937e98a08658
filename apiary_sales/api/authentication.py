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
from inventory.shared import replica


class ProgramAuthentication(TokenAuthentication):
    """Find the person by the key's hash, and keep the program to what its key is for."""

    def authenticate(self, request: Request) -> tuple[User, ApiToken] | None:
        with replica.primary():
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
    # What the class says: one that asks who is signed in would ask while that is found out.
    view = type(request.parser_context["view"])
    if token.scopes in scopes_for(view, str(request.method)):
        return
    if token.scopes == ApiToken.Scopes.READ:
        raise PermissionDenied(
            _("This key is for reading only. Make one that may record too, under Your account.")
        )
    raise PermissionDenied(_("This key is for selling at the stand, and nothing else."))


def scopes_for(view: type, method: str) -> list[ApiToken.Scopes]:
    """Return for which keys an address is, whatever their person may do.

    A key for the stand alone sells, and reads what there is to sell and where: the views that say
    `is_read_to_sell`.
    """
    is_reading = method in permissions.SAFE_METHODS
    is_selling = getattr(view, "permission_required", None) == roles.SELL or (
        is_reading and getattr(view, "is_read_to_sell", False)
    )
    may = {
        ApiToken.Scopes.READ: is_reading,
        ApiToken.Scopes.SELL: is_selling,
        ApiToken.Scopes.READ_WRITE: True,
    }
    return [scope for scope, is_for_it in may.items() if is_for_it]
