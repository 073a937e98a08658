"""What an answer leaves empty for who may not see it: one rule, told by the serializer."""

from typing import Any, ClassVar

from rest_framework import serializers
from rest_framework.request import Request

from inventory.shared.people import VIEW_COSTS

__all__ = ["VIEW_COSTS", "SeenSerializer", "of"]


def of(request: Request) -> dict[str, Any]:
    """Return the context that tells a serializer who reads its answer."""
    return {"request": request}


class SeenSerializer(serializers.Serializer):
    """Fields that need a permission to be seen: null, or no rows, for who does not have it.

    It wants the request in its context, and fails without one rather than show what it should not.
    """

    # The permission each of these fields needs, by its name.
    seen_with: ClassVar[dict[str, str]] = {}

    def to_representation(self, instance: Any) -> dict[str, Any]:
        told = super().to_representation(instance)
        person = self.context["request"].user
        for name, permission in self.seen_with.items():
            if name in told and not person.has_perm(permission):
                told[name] = [] if isinstance(told[name], list) else None
        return told
