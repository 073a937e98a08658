"""Fields that several bodies have: rows named by their key, lots, days of work, counted goods."""

from typing import Any

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from apiary_sales.api.serializers import (
    CodeField,
    StrictCharField,
    StrictDecimalField,
    StrictIntegerField,
)
from apiary_sales.api.views import ApiActView
from inventory.bottling.rules.jars import LABOUR_MINUTES_MAX
from inventory.shared.checks import GRAMS_MAX
from inventory.shared.row_keys import KEY_MAX
from inventory.stock.models import Lot, Place
from inventory.stock.rules import PIECES_MAX

# What takes the place of the library's own fields.
STRICT: dict[type[serializers.Field], type[serializers.Field]] = {
    serializers.BigIntegerField: StrictIntegerField,
    serializers.CharField: StrictCharField,
    serializers.DecimalField: StrictDecimalField,
    serializers.IntegerField: StrictIntegerField,
}
# More lots than a person ever names at once.
LOTS_MAX = 200


@extend_schema_field({"type": "integer"})
class IdField(serializers.PrimaryKeyRelatedField):
    """The key of a row, as the answers give it: a JSON number, never text."""

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, int) or isinstance(data, bool):
            self.fail("incorrect_type", data_type=type(data).__name__)
        if not 0 < data <= KEY_MAX:
            self.fail("does_not_exist", pk_value=data)
        return super().to_internal_value(data)


@extend_schema_field({"type": "array", "items": {"type": "integer"}, "minItems": 1})
class LotsField(serializers.ListField):
    """The keys of lots, read in one query."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            child=StrictIntegerField(min_value=1, max_value=KEY_MAX),
            allow_empty=False,
            max_length=LOTS_MAX,
            **kwargs,
        )

    def to_internal_value(self, data: Any) -> list[Lot]:
        keys = super().to_internal_value(data)
        found = Lot.objects.select_related("product").in_bulk(keys)
        if missing := [str(key) for key in keys if key not in found]:
            raise serializers.ValidationError(
                _("There is no lot with the key %(keys)s.") % {"keys": ", ".join(missing)}
            )
        return [found[key] for key in sorted(found)]


class StoreCodeField(CodeField):
    """A shelf, the stand or the van."""

    def __init__(self, **kwargs: Any) -> None:
        if not kwargs.get("read_only"):
            kwargs.setdefault("queryset", Place.objects.filter(kind__in=Place.STORES))
        super().__init__(**kwargs)


class GoodsPlaceCodeField(CodeField):
    """A shelf, the stand, the van, or a shop's shelf with our jars on consignment."""

    def __init__(self, **kwargs: Any) -> None:
        if not kwargs.get("read_only"):
            kwargs.setdefault("queryset", Place.objects.filter(kind__in=Place.FOR_GOODS))
        super().__init__(**kwargs)


class VesselCodeField(CodeField):
    """A tank, drum, pail or tote."""

    def __init__(self, **kwargs: Any) -> None:
        if not kwargs.get("read_only"):
            kwargs.setdefault("queryset", Place.objects.filter(kind__in=Place.VESSELS))
        super().__init__(**kwargs)


class PiecesCountField(StrictIntegerField):
    """So many pieces."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"min_value": 1, "max_value": PIECES_MAX, **kwargs})


class GramsCountField(StrictIntegerField):
    """So many grams."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"min_value": 1, "max_value": GRAMS_MAX, **kwargs})


class MinutesCountField(StrictIntegerField):
    """Minutes of work, of all people together; null where nobody counted them."""

    def __init__(self, **kwargs: Any) -> None:
        limits = {"min_value": 0, "max_value": LABOUR_MINUTES_MAX}
        super().__init__(**{"required": False, "allow_null": True, **limits, **kwargs})


def rows_of(kind: type[serializers.Serializer], **kwargs: Any) -> Any:
    """Return a list of so many rows at most; the list may be null, a row never is."""
    return serializers.ListSerializer(child=kind(), **kwargs)


class CountedSerializer(serializers.Serializer):
    """A body that says how much of its `product`: pieces, or grams of what is counted by weight."""

    pieces = PiecesCountField(required=False, allow_null=True)
    grams = GramsCountField(required=False, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Put what was sent into `quantity`, in what the product is counted in."""
        pieces, grams = attrs.pop("pieces", None), attrs.pop("grams", None)
        product = attrs["product"]
        if product.item.is_weighed:
            attrs["quantity"] = counted("grams", grams, "pieces", pieces, product.name)
        else:
            attrs["quantity"] = counted("pieces", pieces, "grams", grams, product.name)
        return attrs


def counted(right: str, much: int | None, wrong: str, other: int | None, name: str) -> int:
    """Return how much was sent in the right unit; refuse the other one, and nothing at all."""
    if other is not None:
        said = (
            _("%(name)s is counted by weight. Send grams.")
            if right == "grams"
            else _("%(name)s is counted in pieces. Send pieces.")
        )
        raise serializers.ValidationError({wrong: said % {"name": name}})
    if much is None:
        raise serializers.ValidationError({right: _("This field is required.")})
    return much


class CountedActView(ApiActView):
    """An act whose body is a `CountedSerializer`: a wrong quantity is named in its unit."""

    serializer_class = CountedSerializer
    counted_in = "pieces"

    def checked(self) -> dict[str, Any]:
        data = super().checked()
        if data["product"].item.is_weighed:
            self.counted_in = "grams"
        return data

    def field_of(self, parameter: str | None) -> str | None:
        return self.counted_in if parameter == "quantity" else super().field_of(parameter)


class StrictModelSerializer(serializers.ModelSerializer):
    """A body made of the fields of a model, with figures and text as strict as everywhere."""

    serializer_field_mapping = {
        kind: STRICT.get(field, field)
        for kind, field in serializers.ModelSerializer.serializer_field_mapping.items()
    }
