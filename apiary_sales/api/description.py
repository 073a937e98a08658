"""The description of the API, made once for each way in which it is told.

Making it takes seconds, so a process keeps it: one for each language, and for the conventions of
the house, which it quotes.
"""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from threading import Lock
from typing import Any

from django.utils import translation
from drf_spectacular import renderers
from drf_spectacular.generators import SchemaGenerator
from rest_framework.utils.encoders import JSONEncoder

from inventory.shared import conventions
from inventory.shared.conventions import Conventions

_making = Lock()


@dataclass(frozen=True)
class Description:
    """An OpenAPI document, as the text it is answered with and as what it says."""

    json: bytes

    @cached_property
    def content(self) -> dict[str, Any]:
        return json.loads(self.json)

    @cached_property
    def digest(self) -> str:
        return hashlib.sha256(self.json).hexdigest()[:32]

    @cached_property
    def yaml(self) -> bytes:
        return renderers.OpenApiYamlRenderer().render(self.content)

    def resolved(self, schema: Mapping[str, Any]) -> Mapping[str, Any]:
        """Return a schema, or the one that it refers to."""
        while "$ref" in schema:
            schema = self.content["components"]["schemas"][name_of(schema)]
        return schema


def name_of(schema: Mapping[str, Any]) -> str:
    """Return the name of the schema that another refers to, empty where it does not.

    >>> name_of({"$ref": "#/components/schemas/Lot"}), name_of({"type": "string"})
    ('Lot', '')
    """
    return str(schema.get("$ref", "")).rpartition("/")[2]


def current() -> Description:
    """Return the description in the language of the request and the conventions of the house."""
    with _making:
        return _made(translation.get_language() or "en", conventions.current())


@lru_cache(maxsize=4)
def _made(language: str, conventions: Conventions) -> Description:
    content = SchemaGenerator().get_schema(request=None, public=True)
    text = json.dumps(content, cls=JSONEncoder, ensure_ascii=False, separators=(",", ":"))
    return Description(text.encode())


class _Json(renderers.OpenApiJsonRenderer):
    def render(self, data: Any, *args: Any, **kwargs: Any) -> bytes:
        # What is refused is no description.
        return data.json if isinstance(data, Description) else super().render(data, *args, **kwargs)


class _PlainJson(_Json):
    media_type = "application/json"


class _Yaml(renderers.OpenApiYamlRenderer):
    def render(self, data: Any, *args: Any, **kwargs: Any) -> bytes:
        return data.yaml if isinstance(data, Description) else super().render(data, *args, **kwargs)


class _PlainYaml(_Yaml):
    media_type = "application/yaml"


# The first answers who does not say what they take.
RENDERERS = [_Json, _PlainJson, _Yaml, _PlainYaml]
