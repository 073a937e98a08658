"""What every address of the API derives from, so that what is unknown is refused everywhere."""

from collections.abc import Mapping
from typing import Any

from django.http import HttpResponse
from rest_framework import generics, permissions
from rest_framework.request import Request
from rest_framework.serializers import BaseSerializer
from rest_framework.views import APIView

from apiary_sales.api import versions
from apiary_sales.api.parameters import parameters_of, refuse_unknown
from apiary_sales.api.permissions import SignedIn
from apiary_sales.customers.permissions import ANY_OF


class ViewPermission(SignedIn):
    """Signed in, and with the permission the view names, or all of several, if it names any.

    A view of which `one_permission_is_enough` asks for any of them. A view that reads and acts may
    name another `permission_to_read`, None for everybody.
    """

    def has_permission(self, request, view) -> bool:
        wanted = getattr(view, "permission_required", None)
        if request.method in permissions.SAFE_METHODS:
            wanted = getattr(view, "permission_to_read", wanted)
        names = (wanted,) if isinstance(wanted, str) else wanted or ()
        if not super().has_permission(request, view):
            return False
        if names and getattr(view, "one_permission_is_enough", False):
            return any(request.user.has_perm(name) for name in names)
        return request.user.has_perms(names)


class BuyersPermission(ViewPermission):
    """Those who may see buyers and what they buy; to act, what the view names as ever."""

    wanted_to_read = ANY_OF

    def has_permission(self, request, view) -> bool:
        if request.method not in permissions.SAFE_METHODS:
            return super().has_permission(request, view)
        is_signed_in = SignedIn().has_permission(request, view)
        return is_signed_in and any(request.user.has_perm(name) for name in ANY_OF)


class ApiView(APIView):
    """An address of the API: it refuses the parameters that its description does not name."""

    permission_classes = [ViewPermission]

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        method = "GET" if request.method == "HEAD" else str(request.method)
        if method != "OPTIONS" and hasattr(self, method.lower()):
            refuse_unknown(request.query_params, self.parameters(method))

    def dispatch(self, request: Any, *args: Any, **kwargs: Any) -> HttpResponse:
        response: Any = super().dispatch(request, *args, **kwargs)
        return versions.answered(self.request, response)

    def parameters(self, method: str) -> Mapping[str, bool]:
        """Return the parameters the address takes, and whether each may come more than once."""
        found = self.request.resolver_match
        assert found is not None
        return parameters_of(found.func, method)


class ListApiView(ApiView, generics.ListAPIView):
    """A list, by pages; see `lists.py` for what it declares.

    A view that reads and acts has the serializer of its body in `serializer_class`, and that of a
    row in `row_serializer_class`; which of them is described goes by the method.
    """

    row_serializer_class: type[BaseSerializer] | None = None

    def get_serializer_class(self) -> type[BaseSerializer]:
        if self.row_serializer_class and self.request.method in permissions.SAFE_METHODS:
            return self.row_serializer_class
        return super().get_serializer_class()

    def rows(self, page: list[Any]) -> Any:
        """Return what is shown of a page, such as with what is worked out for all of it at once."""
        return page

    def paginate_queryset(self, queryset: Any) -> Any:
        page = super().paginate_queryset(queryset)
        return page if page is None else self.rows(page)


class RetrieveApiView(ApiView, generics.RetrieveAPIView):
    """One row."""


class GenericApiView(ApiView, generics.GenericAPIView):
    """A reading that needs a queryset and a serializer, and is no list of its rows."""
