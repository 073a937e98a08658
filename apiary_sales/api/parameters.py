"""The parameters of an address: what the API's description names, and no other."""

from collections.abc import Mapping
from functools import cache
from typing import Any

from django.http import QueryDict
from django.utils.translation import gettext as _
from drf_spectacular.drainage import GENERATOR_STATS
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.plumbing import ComponentRegistry
from drf_spectacular.settings import spectacular_settings
from rest_framework.exceptions import ErrorDetail, ValidationError


@cache
def parameters_of(callback: Any, method: str) -> Mapping[str, bool]:
    """Return the names an address takes after its question mark, and whether each may come often.

    They are read from the description of the address, once for each address and method.
    """
    generator = SchemaGenerator()
    view = generator.create_view(callback, method)
    view.request = spectacular_settings.GET_MOCK_REQUEST(method, "/", view, None)
    schema = view.schema
    schema.method, schema.path, schema.registry = method, "", ComponentRegistry()
    # What is missing in the description is told where it is made, not to whoever asks.
    with GENERATOR_STATS.silence():
        parameters = schema._get_parameters()
    return {
        parameter["name"]: parameter["schema"].get("type") == "array"
        for parameter in parameters
        if parameter["in"] == "query"
    }


def refuse_unknown(sent: QueryDict, known: Mapping[str, bool]) -> None:
    """Raise `ValidationError` for parameters that are not known, or come twice and may not."""
    problems = {}
    for name, values in sent.lists():
        if name not in known:
            problems[name] = ErrorDetail(
                _("There is no parameter %(name)s here. There is: %(names)s.")
                % {"name": name, "names": ", ".join(known)}
                if known
                else _("There is no parameter %(name)s here; there is none at all.")
                % {"name": name},
                code="unknown_parameter",
            )
        elif len(values) > 1 and not known[name]:
            problems[name] = ErrorDetail(
                _("Send %(name)s once.") % {"name": name}, code="repeated_parameter"
            )
    if problems:
        raise ValidationError(problems)
