"""Who may ask the API at all; what each may do is said by its views."""

from typing import Any

from rest_framework import permissions
from rest_framework.exceptions import PermissionDenied
from rest_framework.request import Request

from apiary_sales.accounts.services import sign_ins


class SignedIn(permissions.IsAuthenticated):
    """A person, or their program, with a password that nobody else has set."""

    def has_permission(self, request: Request, view: Any) -> bool:
        if getattr(request.user, "must_change_password", False):
            raise PermissionDenied(sign_ins.why_change(), code="password_must_be_changed")
        return super().has_permission(request, view)
