"""Forms for packed goods and parts on shelves, the stand and the van."""

from collections.abc import Collection
from typing import Any, cast

from django import forms
from django.db.models import OuterRef, QuerySet, Subquery
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from inventory.shared import conventions
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import ActDayField, CodeChoiceField
from inventory.shared.people import Person
from inventory.shared.row_keys import row_key
from inventory.stock import own_places, typed_codes
from inventory.stock.forms.amounts import AmountField, amount_of
from inventory.stock.forms.fields import is_asked, may_be_fed_field
from inventory.stock.models import Balance, Item, Lot, Place, Posting
from inventory.stock.queries import honey
from inventory.stock.queries.find_lots import TYPED_MAX


class StockField(forms.ModelChoiceField):
    """One item and lot at one place, out of all that is there."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            queryset=honey.stock_at(),
            empty_label=_("Choose what"),
            error_messages={
                "required": _("Choose what."),
                "invalid_choice": _("That is no longer in stock. Choose from the list."),
            },
            **kwargs,
        )

    def label_from_instance(self, balance: Balance) -> str:
        figures: dict[str, Any] = {
            "item": balance.item.name,
            "lot": balance.lot,
            "place": balance.place.name,
            "there": balance.item.in_words(balance.quantity),
        }
        if balance.lot and balance.lot.owner:
            figures["owner"] = balance.lot.owner
            return _("%(item)s, lot %(lot)s, belongs to %(owner)s: %(there)s, %(place)s") % figures
        if balance.lot:
            return _("%(item)s, lot %(lot)s: %(there)s, %(place)s") % figures
        return _("%(item)s: %(there)s, %(place)s") % figures


class StoreField(CodeChoiceField):
    """A shelf, stand or van in use, chosen by its short name."""

    kinds: tuple[str, ...] = Place.STORES

    def __init__(self, **kwargs) -> None:
        super().__init__(
            queryset=Place.objects.filter(kind__in=self.kinds, is_active=True),
            empty_label=_("Choose a place"),
            error_messages={
                "required": _("Choose a shelf, stand or van."),
                "invalid_choice": _("This place is not in use. Choose one from the list."),
            },
            **kwargs,
        )


class GoodsPlaceField(StoreField):
    """A shelf, stand or van, or the shelf of a shop that sells on consignment."""

    kinds = Place.FOR_GOODS


class StockActForm(ActForm):
    """An act with pieces, or a weight, of what is there, or was on an earlier day.

    Only what the person may act with is offered.
    """

    stock = StockField(label=_("What"))

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # Read anew each time: what was there lately depends on the day.
        offered = self.offered_to(person)
        cast(StockField, self.fields["stock"]).queryset = offered
        chosen = row_key(self.initial.get("stock"))
        if offered.filter(pk=chosen, item__is_weighed=True).exists():
            self.initial.setdefault("pieces", [None, conventions.current().weight_unit])

    def offered_to(self, person: Person) -> QuerySet[Balance]:
        return own_places.stock_of(person, honey.stock_lately())

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        there: Balance | None = data.get("stock")
        data["pieces"] = amount_of(self, "pieces", there.item if there else None)
        return data


class StockTransferForm(StockActForm):
    """Pieces carried from one place to another."""

    target = GoodsPlaceField(label=_("To"))
    pieces = AmountField(label=_("How much"))
    carried_on = ActDayField()
    note = forms.CharField(label=_("Note"), max_length=300, required=False)

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, person=person, **kwargs)
        if not own_places.has_every(person):
            # Back to a shelf too: the act asks that one end is a stand or van.
            kept = Place.objects.filter(kind__in=Place.STORES, is_active=True)
            cast(GoodsPlaceField, self.fields["target"]).queryset = kept

    def offered_to(self, person: Person) -> QuerySet[Balance]:
        if own_places.has_every(person):
            return honey.stock_lately()
        # What is brought to the stand comes off a shelf.
        return honey.stock_lately().filter(place__kind__in=Place.STORES)


class StockWriteOffForm(StockActForm):
    """Pieces that are gone, with the reason."""

    REASONS = [
        (Posting.Kind.BREAKAGE, _("broken")),
        (Posting.Kind.SPILL, _("spilled")),
        (Posting.Kind.SPOILAGE, _("spoiled")),
        (Posting.Kind.SAMPLE, _("sample for a laboratory")),
        (Posting.Kind.FEEDING, _("fed back to bees")),
        (Posting.Kind.OWN_USE, _("own use")),
        (Posting.Kind.GIFT, _("given away")),
    ]

    pieces = AmountField(label=_("How much"))
    reason = forms.ChoiceField(
        label=_("Why"),
        choices=REASONS,
        widget=forms.RadioSelect,
        error_messages={"required": _("Choose why.")},
    )
    written_off_on = ActDayField()
    may_be_fed = may_be_fed_field()
    note = forms.CharField(label=_("What happened"), max_length=300, required=False)

    @property
    def asks_about_feeding(self) -> bool:
        """Whether the box that confirms the feeding is shown."""
        return is_asked(self, "may_be_fed")


def surplus_reason_field() -> forms.CharField:
    return forms.CharField(
        label=_("Why there are more than were made"),
        max_length=150,
        required=False,
        help_text=_("For example: the run was written down with a case too few."),
    )


def named_thing(name: str) -> tuple[Item, Lot | None]:
    """Return the item and lot that a choice of `things` stands for."""
    kind, pk = name.split("-")
    if kind == "lot":
        lot = Lot.objects.get(pk=pk)
        return Item.objects.get(product=lot.product), lot
    return Item.objects.get(pk=pk), None


def _lot_label(lot: Lot) -> str:
    figures = {"item": lot.product, "lot": lot.code, "owner": lot.owner}
    if lot.owner:
        return gettext("%(item)s, lot %(lot)s, belongs to %(owner)s") % figures
    return gettext("%(item)s, lot %(lot)s") % figures


def things(also: Collection[str] = ()) -> list[tuple[str, Any]]:
    """Return what is offered to be counted, as grouped choices.

    Each lot of which there is any, the newest of each product, each part, and those in `also`. A
    lot whose run or receipt was undone is not offered: there is none of it.
    """
    there = Balance.objects.filter(is_physical=True, quantity__gt=0, lot__product__isnull=False)
    of_product = _lots_of_goods().filter(product=OuterRef("product")).order_by("-made_on", "-id")
    newest = Item.objects.filter(product__isnull=False).values_list(
        Subquery(of_product.values("pk")[:1]), flat=True
    )
    named = [row_key(name.removeprefix("lot-")) for name in also if name.startswith("lot-")]
    # Their keys are read first: asked for in one question, PostgreSQL would judge all lots.
    keys = {*there.values_list("lot", flat=True), *newest, *named}
    lots = (
        _lots_of_goods()
        .filter(pk__in=keys - {None})
        .select_related("product", "owner")
        .order_by("product__size__brimful_ml", "product__name", "-made_on", "-id")
    )
    parts = Item.objects.filter(kind=Item.Kind.PART).order_by("name")

    def of_lots(kind: Lot.Kind) -> list[tuple[str, str]]:
        return [(_name_of_lot(lot), _lot_label(lot)) for lot in lots if lot.kind == kind]

    return [
        ("", _("Choose what")),
        (str(_("Packed honey")), of_lots(Lot.Kind.PACKED)),
        (str(_("Other goods")), of_lots(Lot.Kind.GOODS)),
        (str(_("Parts")), [(f"item-{item.pk}", item.name) for item in parts]),
    ]


def _lots_of_goods() -> QuerySet[Lot]:
    return Lot.objects.that_came_in().filter(kind__in=[Lot.Kind.PACKED, Lot.Kind.GOODS])


def _name_of_lot(lot: Lot) -> str:
    return f"lot-{lot.pk}"


class ThingForm(ActForm):
    """A form that asks for an item and lot: chosen, or of a lot whose code is typed.

    `thing_field` is the name of the choice. The books may say that all of a lot is gone while some
    of it is found; then its code is on the jar, and typed in `lot_code`.
    """

    thing_field = "thing"

    lot_code = forms.CharField(
        label=_("Lot code, if it is not in the list"),
        max_length=TYPED_MAX,
        required=False,
        help_text=_("As it is on the jar. The list has what is in stock and the newest lots."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in (self.thing_field, "lot_code"):
            self.fields[name].is_one_of_several = True  # type: ignore[attr-defined]
        self._offer([str(self[self.thing_field].value() or "")])

    def _offer(self, also: Collection[str]) -> None:
        choice = cast(forms.ChoiceField, self.fields[self.thing_field])
        choice.choices = things(also)

    def chosen_thing(self) -> tuple[Item, Lot | None] | None:
        """Return what was chosen or typed, None for neither; what is wrong is told at its field."""
        chosen, typed = self.cleaned_data.get(self.thing_field), self.cleaned_data.get("lot_code")
        if not typed:
            return named_thing(chosen) if chosen else None
        meant = typed_codes.read(typed)
        lots = _lots_of_goods().filter(code__in=meant.spellings)
        if meant.gtin:
            lots = lots.filter(product__gtin=meant.gtin)
        names = [_name_of_lot(lot) for lot in lots.order_by("pk")]
        if chosen in names or (len(names) == 1 and not chosen):
            return named_thing(chosen or names[0])
        if not names:
            said = gettext("No jars and no other goods have the lot code %(code)s.")
        elif chosen:
            said = gettext("Another lot than %(code)s is chosen. Empty one of the two.")
        else:
            self._offer(names)
            said = gettext("Several products have the lot code %(code)s. Choose one from the list.")
        self.add_error("lot_code", said % {"code": meant.code})
        return None


class StockCountForm(ThingForm):
    """What was counted of one thing at one place, where it may be that the books know of none."""

    place = GoodsPlaceField(label=_("Where"))
    thing = forms.ChoiceField(label=_("What"), required=False)
    counted = AmountField(
        label=_("Counted"),
        help_text=_("Enter how many are there now. Enter 0 if there are no pieces."),
    )
    counted_on = ActDayField()
    reason = forms.CharField(
        label=_("Reason"),
        max_length=300,
        help_text=_("For example: counted at the end of the month."),
        error_messages={"required": _("Enter a reason for changing the books to match the count.")},
    )
    surplus_reason = surplus_reason_field()

    def __init__(self, *args: Any, may_exceed: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not may_exceed:
            del self.fields["surplus_reason"]

    @property
    def asks_why(self) -> bool:
        """Whether the field that says why there are more than can be is shown."""
        return "surplus_reason" in self.fields and is_asked(self, "surplus_reason")

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        thing = data["thing"] = self.chosen_thing()
        if thing is None and not {"thing", "lot_code"} & self.errors.keys():
            self.add_error("thing", gettext("Choose what."))
        data["counted"] = amount_of(self, "counted", thing[0] if thing else None)
        return data


def thing_of(balance: Balance) -> str:
    """Return what a count form calls the item and lot of a balance."""
    return f"lot-{balance.lot_id}" if balance.lot_id else f"item-{balance.item_id}"
