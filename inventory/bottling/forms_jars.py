"""Forms for jars that are labelled, relabelled, emptied, boxed or came back."""

from typing import Any, cast

from django import forms
from django.forms import formset_factory
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from inventory.bottling.forms import PartUseForm, PiecesField
from inventory.bottling.models import PackagingPart, Product, ReturnedJars
from inventory.bottling.queries import jars as queries
from inventory.bottling.rules import jars as rules
from inventory.shared import words
from inventory.shared.forms.acts import ActForm, HouseForm
from inventory.shared.forms.fields import (
    ActDayField,
    CodeChoiceField,
    DayField,
    NumberField,
    WeightField,
)
from inventory.stock import lot_codes
from inventory.stock.forms.fields import VesselField
from inventory.stock.forms.stores import StoreField
from inventory.stock.models import Balance, Lot, Place

MINUTES_HELP = _("All people together. If this is left empty, the cost has no labour in it.")


class WhereJarsAreField(CodeChoiceField):
    """A store that has pieces of a lot, shown with how many are free."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            queryset=Place.objects.none(),
            empty_label=None,
            label=_("Where they are"),
            error_messages={
                "required": _("Choose a shelf, stand or van."),
                "invalid_choice": _("There are no pieces of this lot. Choose from the list."),
            },
            **kwargs,
        )

    def show(self, lot: Lot) -> None:
        self.lot = lot
        self.free = {
            balance.place_id: balance.free
            for balance in Balance.objects.in_stores().filter(lot=lot).select_related("place")
        }
        self.queryset = Place.objects.filter(pk__in=self.free).order_by("kind", "code")

    def label_from_instance(self, place: Place) -> str:
        said = gettext("%(place)s: %(free)s free")
        if self.lot.is_on_hold:
            said = gettext("%(place)s: %(free)s, on hold")
        elif self.lot.is_setting:
            said = gettext("%(place)s: %(free)s free, still setting")
        return said % {"place": place.name, "free": words.pieces(self.free.get(place.pk, 0))}


class JarForm(ActForm):
    """An act with pieces of one lot, at a place."""

    place = WhereJarsAreField()
    pieces = PiecesField(label=_("How many"))

    def __init__(self, *args: Any, lot: Lot, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.lot = lot
        cast(WhereJarsAreField, self.fields["place"]).show(lot)

    def asks(self, name: str) -> bool:
        """Whether a box that confirms something odd is shown."""
        return self.is_bound and bool(self.errors.get(name) or self[name].value())

    @property
    def product(self) -> Product:
        return cast(Product, self.lot.product)


def note_field() -> forms.CharField:
    return forms.CharField(label=_("Note"), max_length=300, required=False)


class LabelForm(JarForm):
    product_wanted = forms.ModelChoiceField(
        label=_("Label them as"), queryset=Product.objects.none(), empty_label=None
    )
    labour_minutes = PiecesField(label=_("Minutes of work"), required=False, help_text=MINUTES_HELP)
    target = StoreField(
        label=_("Put them on"),
        required=False,
        help_text=_("Leave empty where they stay in their place."),
    )
    changed_on = DayField(label=_("Day"), initial=timezone.localdate)
    note = note_field()
    variety_is_right = forms.BooleanField(label=_("Yes, the label is right"), required=False)

    fields_of_parameters = {"product": "product_wanted"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        wanted = cast(forms.ModelChoiceField, self.fields["product_wanted"])
        wanted.queryset = queries.labels_for(self.product)

    @property
    def asks_variety(self) -> bool:
        return self.asks("variety_is_right")


class EmptyForm(JarForm):
    fields_of_parameters = {"grams": "weight", "moisture_percent": "moisture"}

    weight = WeightField(
        label=_("Honey that came out, by the scale"),
        help_text=_("It may be less than the label says. The rest is recorded as filling loss."),
    )
    vessel = VesselField(label=_("Into"), empty_label=None)
    moisture = NumberField(
        label=_("Moisture, percent"),
        required=False,
        max_digits=4,
        decimal_places=2,
        help_text=_("Leave empty to keep the moisture of the jars."),
    )
    changed_on = ActDayField()
    note = note_field()
    figures_are_right = forms.BooleanField(label=_("Yes, that much honey came out"), required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.washable = list(rules.washable(self.product, 1))
        add_parts_back(self, self.washable)

    @property
    def asks_figures(self) -> bool:
        return self.asks("figures_are_right")

    @property
    def part_fields(self) -> list[forms.BoundField]:
        return [self[back_name(part)] for part in self.washable]

    def field_of(self, parameter: str | None) -> str | None:
        if parameter == "parts_back":
            return back_name(self.washable[0]) if self.washable else None
        return super().field_of(parameter)


def back_name(part: PackagingPart) -> str:
    return f"back_{part.pk}"


def add_parts_back(form: HouseForm, parts: list[PackagingPart]) -> None:
    """Add a field for how many of each part are washed and go back to the stock."""
    for part in parts:
        form.fields[back_name(part)] = PiecesField(label=part.name, required=False, min_value=0)


def parts_back(data: dict[str, Any], parts: list[PackagingPart]) -> dict[PackagingPart, int]:
    """Take the parts that go back out of the data of a form."""
    counts = {part: data.pop(back_name(part), None) or 0 for part in parts}
    return {part: count for part, count in counts.items() if count}


class SetAsideForm(JarForm):
    set_aside_on = ActDayField()
    reason = forms.CharField(
        label=_("Where they were, and why they came back"),
        max_length=300,
        error_messages={
            "required": _("Enter where the jars were, and why they came back."),
        },
    )


class ReturnedForm(ActForm):
    """What happens with jars that came back: spoiled, released by a named person, or a mistake."""

    pieces = PiecesField(label=_("How many"))
    decision = forms.ChoiceField(
        label=_("What happens with them"),
        choices=[],
        widget=forms.RadioSelect,
        initial="spoiled",
    )
    target = StoreField(
        label=_("Put released jars on"),
        required=False,
    )
    decided_on = ActDayField()
    reason = forms.CharField(
        label=_("Why"),
        max_length=300,
        required=False,
        help_text=_("Needed for a release. Your name is kept with it."),
    )

    def __init__(
        self,
        *args: Any,
        returned: ReturnedJars,
        may_release: bool,
        may_take_back: bool,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["pieces"].initial = returned.pieces
        self.returned = returned
        self.may_release = may_release
        choices = [("spoiled", _("written off as spoiled"))]
        if may_release:
            choices.append(("released", _("released: to be sold, relabelled or emptied")))
        else:
            del self.fields["target"]
        if may_take_back:
            choices.append(("mistake", _("it was a mistake: they had not left, and go back")))
        cast(forms.ChoiceField, self.fields["decision"]).choices = choices

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("decision") == "released" and not data.get("target"):
            self.add_error("target", _("Choose a shelf, stand or van."))
        if data.get("decision") == "mistake" and data.get("pieces") not in (
            None,
            self.returned.pieces,
        ):
            self.add_error(
                "pieces",
                gettext("A mistake is put right as a whole: enter %(all)s.")
                % {"all": words.number(self.returned.pieces)},
            )
        return data


class BoxLineForm(HouseForm):
    """One line of what is in a gift box."""

    product = forms.ModelChoiceField(
        label=_("Product"), queryset=Product.objects.none(), required=False, empty_label="–"
    )
    quantity = PiecesField(label=_("How many"), required=False, min_value=1, max_value=100)

    def __init__(self, *args: Any, products: list[tuple[Any, str]] | None = None, **kwargs: Any):
        super().__init__(*args, **kwargs)
        field = cast(forms.ModelChoiceField, self.fields["product"])
        field.queryset = packable()
        if products is not None:
            # Read once for all the lines.
            field.choices = products


def packable() -> Any:
    """Return the products that may be in a box."""
    return (
        Product.objects.for_sale()
        .exclude(kind=Product.Kind.GIFT_BOX)
        .filter(item__is_weighed=False)
    )


class BoxForm(ActForm):
    """A gift box with the lines of its contents and packaging below."""

    name = forms.CharField(
        label=_("Name"), max_length=100, error_messages={"required": _("Enter a name.")}
    )
    gtin = forms.CharField(
        label=_("GTIN (bar code number)"),
        required=False,
        max_length=20,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    low_stock_pieces = PiecesField(label=_("Show as low when fewer than"), initial=0)

    LINES_SPARE = 3

    def __init__(self, *args: Any, box: Product | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        contents = list(box.contents.all()) if box else []
        uses = list(box.product_parts.order_by("id")) if box else []
        products = [("", "–"), *((each.pk, each.name) for each in packable())]
        parts = [("", "–"), *((part.pk, part.name) for part in PackagingPart.objects.all())]
        data = self.data if self.is_bound else None
        self.content_lines = formset_factory(
            BoxLineForm, extra=self.LINES_SPARE, max_num=30, absolute_max=60
        )(
            data,
            prefix="contents",
            form_kwargs={"products": products},
            initial=[{"product": line.product_id, "quantity": line.quantity} for line in contents],
        )
        self.part_lines = formset_factory(
            PartUseForm, extra=self.LINES_SPARE, max_num=30, absolute_max=60
        )(
            data,
            prefix="parts",
            form_kwargs={"parts": parts},
            initial=[
                {"part": use.part_id, "quantity": use.quantity, "per_pieces": use.per_pieces}
                for use in uses
            ],
        )
        if box and not self.is_bound:
            self.initial.update(name=box.name, gtin=box.gtin, low_stock_pieces=box.low_stock_pieces)

    def lists(self) -> list[Any]:
        return [self.content_lines, self.part_lines]

    def is_valid(self) -> bool:
        # All are asked, so that every problem is told at once.
        asked = [super().is_valid(), self.content_lines.is_valid(), self.part_lines.is_valid()]
        return all(asked)


def lot_name(balance: Balance) -> str:
    return f"lot_{balance.pk}"


class BoxMakeForm(ActForm):
    """Gift boxes put together; the lots may be chosen, else the oldest are taken."""

    fields_of_parameters = {"box": "boxes"}

    place = StoreField(label=_("From what is on"))
    boxes = PiecesField(label=_("How many boxes"))
    lot_code = forms.CharField(
        label=_("Lot code on the boxes"),
        required=False,
        max_length=lot_codes.CODE_LENGTH_MAX,
        help_text=_("Leave empty to get the next code by your pattern."),
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )
    target = StoreField(
        label=_("Put the boxes on"),
        required=False,
        help_text=_("Leave empty where they stay in their place."),
    )
    labour_minutes = PiecesField(label=_("Minutes of work"), required=False, help_text=MINUTES_HELP)
    changed_on = DayField(label=_("Day"), initial=timezone.localdate)

    def __init__(self, *args: Any, box: Product, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.box = box
        self.balances = [each for each in queries.lots_for_box(box) if each.free > 0]
        for balance in self.balances:
            self.fields[lot_name(balance)] = PiecesField(
                label=gettext("%(product)s, lot %(lot)s, %(place)s: %(free)s free")
                % {
                    "product": balance.item.name,
                    "lot": balance.lot,
                    "place": balance.place.name,
                    "free": words.pieces(balance.free),
                },
                required=False,
                min_value=0,
            )

    @property
    def lot_fields(self) -> list[forms.BoundField]:
        return [self[lot_name(balance)] for balance in self.balances]

    @property
    def chooses_lots(self) -> bool:
        return any(field.value() for field in self.lot_fields) if self.is_bound else False

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        lots: dict[Lot, int] = {}
        for balance in self.balances:
            count = data.pop(lot_name(balance), None) or 0
            if not count:
                continue
            if balance.place != data.get("place"):
                self.add_error(
                    lot_name(balance),
                    _("These are on another shelf. Choose lots of one place, or move them first."),
                )
            lots[balance.honey_lot] = lots.get(balance.honey_lot, 0) + count
        data["lots"] = lots
        return data


class UnboxForm(JarForm):
    """Boxes taken apart: what comes out goes back to the lots that it came from."""

    fields_of_parameters = {"boxes": "pieces"}

    target = StoreField(
        label=_("Put what is in them on"),
        required=False,
        help_text=_("Leave empty to put it where the boxes are."),
    )
    changed_on = ActDayField()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.washable = [use.part for use in self.product.uses()]
        add_parts_back(self, self.washable)
        self.inside = dict(queries.in_boxes(self.lot))
        for lot, pieces in self.inside.items():
            self.fields[f"inside_{lot.pk}"] = PiecesField(
                label=gettext("%(product)s, lot %(lot)s: %(pieces)s in all boxes")
                % {"product": lot.product, "lot": lot.code, "pieces": words.pieces(pieces)},
                required=False,
                min_value=0,
            )

    @property
    def has_choice(self) -> bool:
        """Whether pieces of one product came from several lots, so that it must be said which."""
        return len(self.inside) > len({lot.product_id for lot in self.inside})

    @property
    def inside_fields(self) -> list[forms.BoundField]:
        return [self[f"inside_{lot.pk}"] for lot in self.inside]

    @property
    def part_fields(self) -> list[forms.BoundField]:
        return [self[back_name(part)] for part in self.washable]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        counts = {lot: data.pop(f"inside_{lot.pk}", None) or 0 for lot in self.inside}
        data["lots"] = {lot: count for lot, count in counts.items() if count}
        return data
