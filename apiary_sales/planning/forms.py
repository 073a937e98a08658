"""The figures of a bottling plan, as one form: filled from the books, changed by hand."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django import forms
from django.forms.boundfield import BoundField
from django.http import QueryDict
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext

from apiary_sales.planning.rules.books import Books, Offer, PartState, ProductState, VesselState
from apiary_sales.planning.rules.demand import History, Outlook, PastSales
from apiary_sales.planning.rules.figures import (
    HOURS,
    MINUTES_PER_RUN,
    Bulk,
    Figures,
    WhichHoney,
    usual_drum_weight,
    whole_grams,
)
from apiary_sales.planning.services import DraftRun
from inventory.bottling.models import Product
from inventory.shared import conventions, words
from inventory.shared.forms.acts import ActForm, HouseForm
from inventory.shared.forms.fields import (
    DayField,
    MoneyField,
    NumberField,
    WeightField,
    WholeNumberField,
)
from inventory.shared.money import amount
from inventory.shared.weights import by_unit, in_units
from inventory.stock.forms.fields import moisture_is_right_field
from inventory.stock.models import Place
from inventory.stock.rules import PIECES_MAX

GRAMS_EACH_MAX = 100_000
# A run as the page writes it: vessel-product-pieces, each short enough for the books.
RUN_WRITTEN = re.compile(r"(\d{1,18})-(\d{1,18})-(\d{1,9})", re.ASCII)
MONTHS = [
    (1, _("1 month")),
    (2, _("2 months")),
    (3, _("3 months")),
    (6, _("6 months")),
    (12, _("12 months")),
]
MONTHS_USUAL = 3
LOTS_NAMED = 3
# A typed weight comes as whole grams: one is 0.0022 lb.
AS_TYPED = Decimal("0.0025")


def hours_field() -> NumberField:
    """Return the field for how many hours of work there are to bottle in."""
    return NumberField(
        label=_("Hours available for bottling"),
        min_value=0,
        max_value=10_000,
        max_digits=7,
        decimal_places=2,
    )


class OutlookForm(HouseForm):
    """For how long the plan is, and how much of past sales it counts on."""

    months = forms.TypedChoiceField(label=_("Jars to be sold in"), choices=MONTHS, coerce=int)
    outlook = forms.ChoiceField(label=_("How to use past sales"), choices=Outlook.choices)


@dataclass(frozen=True)
class VesselFields:
    """One vessel, and the fields of its row."""

    vessel: VesselState
    use: BoundField
    bid: BoundField


@dataclass(frozen=True)
class PoolFields:
    """Vessels that are alike, the fields for all of them, and those of each.

    A vessel that is like no other has its own fields here, and no `rows`.
    """

    vessels: tuple[VesselState, ...]
    use: BoundField
    bid: BoundField
    rows: list[VesselFields]

    @property
    def free_grams(self) -> int:
        return sum(vessel.free_grams for vessel in self.vessels)

    @property
    def lots(self) -> str:
        """The codes of the lots, the first few by name."""
        codes = list(dict.fromkeys(vessel.lot.code for vessel in self.vessels))
        if len(codes) <= LOTS_NAMED:
            return ", ".join(codes)
        return _("%(lots)s and %(more)s more") % {
            "lots": ", ".join(codes[:LOTS_NAMED]),
            "more": len(codes) - LOTS_NAMED,
        }


@dataclass(frozen=True)
class OfferFields:
    """One offer, what was sold of it before, and the fields of its row."""

    offer: Offer
    past: PastSales
    pieces: BoundField
    price: BoundField
    # Of which days the sales are, where they are not those of the other offers.
    past_note: str = ""


@dataclass(frozen=True)
class ProductFields:
    """One product, and the fields of its row."""

    product: ProductState
    draws: BoundField
    minutes: BoundField


@dataclass(frozen=True)
class PartFields:
    """One part, and the fields of its row."""

    row: PartState
    order: BoundField
    cost: BoundField


class FiguresForm(HouseForm):
    """Every figure a plan depends on. Always bound: to the address, or to what the books say.

    `figures()` makes of the cleaned data what the plan is worked out from.
    """

    hours = hours_field()
    rate = MoneyField(label=_("Labour cost per hour"), required=True)
    per_run = NumberField(
        label=_("Minutes to set up and clean for each run"),
        min_value=0,
        max_value=1440,
        max_digits=6,
        decimal_places=1,
    )
    run_cost = MoneyField(
        label=_("Other cost of setting up a run"),
        required=False,
        help_text=_("Beside the work: what is thrown away of honey, filters, cleaning."),
    )
    least = WholeNumberField(
        label=_("Fewest pieces that make a run worth it"),
        required=False,
        min_value=0,
        max_value=PIECES_MAX,
    )
    honey = forms.ChoiceField(label=_("The plan may use"), choices=WhichHoney.choices)
    bulk = forms.ChoiceField(label=_("Drums are sold"), choices=Bulk.choices)
    drum = WeightField(label=_("Net weight of a drum"))
    moisture_is_right = moisture_is_right_field()
    stock_counts = forms.ChoiceField(
        label=_("Parts in stock count as"),
        choices=[
            ("cost", _("their cost: they must be bought again")),
            ("free", _("0: they are already paid for")),
        ],
    )

    def __init__(self, data: Mapping[str, object], *, books: Books) -> None:
        super().__init__(data)
        self.books = books
        for vessels in books.pools:
            if len(vessels) > 1:
                name = ngettext("%(count)s vessel", "%(count)s vessels", len(vessels)) % {
                    "count": len(vessels)
                }
                self._add_honey(_pool_key(vessels), name)
            for vessel in vessels:
                self._add_honey(str(vessel.place.pk), vessel.place.name)
        for each in books.products:
            name, least = each.product.name, whole_grams(each.product.declared_grams)
            draws = WholeNumberField(min_value=least, max_value=GRAMS_EACH_MAX)
            self._add(f"draws-{each.product.pk}", _("Honey drawn for each, g"), name, draws)
            self._add(f"minutes-{each.product.pk}", _("Minutes each"), name, _price_field(600))
        for offer in books.offers:
            name = f"{offer.product.name}, {offer.channel_label}"
            self._add(f"pieces-{offer.key}", _("Could be sold"), name, _pieces_field())
            self._add(f"price-{offer.key}", _("Price"), name, MoneyField(required=False))
        for row in books.parts:
            self._add(f"order-{row.part.pk}", _("Could be bought"), row.part.name, _pieces_field())
            self._add(f"cost-{row.part.pk}", _("Cost of one"), row.part.name, _price_field(10_000))

    def _add_honey(self, key: str, name: str) -> None:
        self._add(f"use-{key}", _("Use up to"), name, WeightField(required=False))
        self._add(f"bid-{key}", by_unit(_("Bid per {unit}")), name, _price_field(1000))

    def _add(self, name: str, label: str | Promise, of: str, field: forms.Field) -> None:
        """Add a field of a table: its label is in the column's head, and told with its row."""
        field.label = format_lazy("{}: {}", of, label)
        widget = field.widget.widgets[0] if isinstance(field, WeightField) else field.widget
        widget.attrs["aria-label"] = field.label
        self.fields[name] = field

    @staticmethod
    def data_of(books: Books, outlook: str) -> dict[str, object]:
        """Return the data of a form that says what the books say."""
        data: dict[str, object] = {
            "hours": HOURS,
            "rate": amount(books.costs.labour_cents_per_hour),
            "per_run": MINUTES_PER_RUN,
            "run_cost": amount(0),
            "least": books.smallest_run or 0,
            "honey": WhichHoney.ALL.value,
            "bulk": Bulk.POUNDS.value,
            "drum": usual_drum_weight(),
            "drum_unit": conventions.current().weight_unit,
            "stock_counts": "cost",
        }
        for vessels in books.pools:
            is_one = len(vessels) == 1
            key = str(vessels[0].place.pk) if is_one else _pool_key(vessels)
            data[f"bid-{key}"] = _shown(vessels[0].bid_per_pound)
            for name in (_pool_key(vessels), *(str(vessel.place.pk) for vessel in vessels)):
                data[f"use-{name}_unit"] = conventions.current().weight_unit
        for each in books.products:
            data[f"draws-{each.product.pk}"] = each.grams_each
            data[f"minutes-{each.product.pk}"] = _shown(each.minutes_each)
        for offer in books.offers:
            past = books.history.of(offer.product.pk, offer.channel)
            data[f"pieces-{offer.key}"] = past.expected(outlook)
            data[f"price-{offer.key}"] = (
                "" if offer.price_cents is None else amount(offer.price_cents)
            )
        for row in books.parts:
            data[f"order-{row.part.pk}"] = 0
            data[f"cost-{row.part.pk}"] = _shown(row.cost)
        return data

    def clean(self) -> dict[str, Any]:
        super().clean()
        data = self.cleaned_data
        for vessels in self.books.pools:
            if len(vessels) > 1:
                free = sum(vessel.free_grams for vessel in vessels)
                self._check_use(_pool_key(vessels), self._named(vessels), free, vessels[0])
            for vessel in vessels:
                key = str(vessel.place.pk)
                self._check_use(key, vessel.place.name, vessel.free_grams, vessel)
        if not data.get("drum", 1):
            self.add_error("drum", _("Enter the net weight of a full drum."))
        return data

    def _check_use(self, key: str, name: str, free_grams: int, vessel: VesselState) -> None:
        """Make of what may be used no more than there is; refuse more than is shown as free."""
        wanted = self.cleaned_data.get(f"use-{key}")
        if wanted is None:
            return
        wanted = _as_free(wanted, free_grams)
        self.cleaned_data[f"use-{key}"] = wanted
        if wanted > free_grams:
            self.add_error(
                f"use-{key}",
                _("%(place)s has %(free)s free. Enter no more than that.")
                % {"place": name, "free": words.weight(free_grams)},
            )
        if (
            wanted
            and vessel.moisture_question
            and not self.cleaned_data.get("moisture_is_right")
            and "moisture_is_right" not in self.errors
        ):
            self.add_error("moisture_is_right", vessel.moisture_question)

    def _named(self, vessels: tuple[VesselState, ...]) -> str:
        return ", ".join(vessel.place.name for vessel in vessels)

    def _grams(self) -> dict[int, int]:
        """Return how much of each vessel the plan may use.

        What is typed for a vessel counts first, then what is typed for all that are like it; the
        vessels come in their order. The others are used if the honey in general is, but what may
        ferment is not until somebody says so.
        """
        data = self.cleaned_data
        grams = {}
        for vessels in self.books.pools:
            left = data.get(f"use-{_pool_key(vessels)}")
            for vessel in vessels:
                pk, typed = vessel.place.pk, data.get(f"use-{vessel.place.pk}")
                is_doubted = vessel.moisture_question and not data["moisture_is_right"]
                is_left = vessel.is_drum and data["honey"] == WhichHoney.TANKS
                if typed is not None:
                    grams[pk] = typed
                elif left is not None:
                    grams[pk] = min(left, vessel.free_grams)
                    left -= grams[pk]
                else:
                    grams[pk] = 0 if is_doubted or is_left else vessel.free_grams
        return grams

    def _bids(self) -> dict[int, Decimal | None]:
        data = self.cleaned_data
        bids = {}
        for vessels in self.books.pools:
            of_all = data.get(f"bid-{_pool_key(vessels)}")
            for vessel in vessels:
                own = data[f"bid-{vessel.place.pk}"]
                bids[vessel.place.pk] = of_all if own is None else own
        return bids

    def figures(self) -> Figures:
        """Return the figures of a valid form."""
        data = self.cleaned_data
        products = [each.product.pk for each in self.books.products]
        parts = [row.part.pk for row in self.books.parts]
        return Figures(
            which_honey=data["honey"],
            grams=self._grams(),
            bids=self._bids(),
            bulk=data["bulk"],
            drum_grams=data["drum"],
            grams_each={pk: data[f"draws-{pk}"] for pk in products},
            minutes_each={pk: data[f"minutes-{pk}"] or Decimal(0) for pk in products},
            price_cents={offer.key: data[f"price-{offer.key}"] for offer in self.books.offers},
            pieces={offer.key: data[f"pieces-{offer.key}"] for offer in self.books.offers},
            order_max={pk: data[f"order-{pk}"] for pk in parts},
            part_costs={pk: data[f"cost-{pk}"] or Decimal(0) for pk in parts},
            is_stock_free=data["stock_counts"] == "free",
            hours=data["hours"],
            labour_cents_per_hour=data["rate"],
            minutes_per_run=data["per_run"],
            cents_per_run=data["run_cost"] or 0,
            least_pieces=data["least"] or 0,
        )

    @property
    def asks_about_moisture(self) -> bool:
        """Whether there is honey above the house's limit of moisture, so that the box is shown."""
        return any(vessel.moisture_question for vessel in self.books.vessels)

    @property
    def above_limit(self) -> str:
        """The names of the vessels that the box is about."""
        doubted = [vessel for vessel in self.books.vessels if vessel.moisture_question]
        return "; ".join(vessel.place.name for vessel in doubted)

    @property
    def pool_rows(self) -> list[PoolFields]:
        found = []
        for vessels in self.books.pools:
            key = _pool_key(vessels) if len(vessels) > 1 else str(vessels[0].place.pk)
            rows = [
                VesselFields(vessel, self[f"use-{vessel.place.pk}"], self[f"bid-{vessel.place.pk}"])
                for vessel in vessels
                if len(vessels) > 1
            ]
            found.append(PoolFields(vessels, self[f"use-{key}"], self[f"bid-{key}"], rows))
        return found

    @property
    def offer_rows(self) -> list[OfferFields]:
        history = self.books.history
        return [
            OfferFields(
                offer,
                past := history.of(offer.product.pk, offer.channel),
                self[f"pieces-{offer.key}"],
                self[f"price-{offer.key}"],
                _days_of(past, history),
            )
            for offer in self.books.offers
        ]

    @property
    def product_rows(self) -> list[ProductFields]:
        return [
            ProductFields(row, self[f"draws-{row.product.pk}"], self[f"minutes-{row.product.pk}"])
            for row in self.books.products
        ]

    @property
    def part_rows(self) -> list[PartFields]:
        return [
            PartFields(row, self[f"order-{row.part.pk}"], self[f"cost-{row.part.pk}"])
            for row in self.books.parts
        ]


class DraftRunsForm(ActForm):
    """Where the jars of a plan go, and on which day the runs are.

    The cleaned data has the runs that the page carried along as `drafts`. `newest_seen` is the
    newest planned run that the page showed, so that what others planned since is not planned twice.
    """

    newest_seen = WholeNumberField(
        required=False, min_value=0, max_value=2**63 - 1, widget=forms.HiddenInput
    )
    # What was ticked in the figures that the plan was worked out from.
    moisture_is_right = forms.BooleanField(required=False, widget=forms.HiddenInput)
    target = forms.ModelChoiceField(
        label=_("Put the jars on"),
        queryset=Place.objects.filter(kind__in=Place.STORES, is_active=True),
        initial=lambda: Place.objects.filter(kind=Place.Kind.SHELF, is_active=True).first(),
    )
    planned_for = DayField(
        label=_("Day"),
        initial=timezone.localdate,
    )

    def clean(self) -> dict[str, Any]:
        super().clean()
        written = self.data.getlist("run") if isinstance(self.data, QueryDict) else []
        drafts = _drafts(written)
        if drafts is None:
            self.add_error(None, _("The runs of the plan can't be read. Work out the plan again."))
        return {**self.cleaned_data, "drafts": drafts}


def _days_of(past: PastSales, history: History) -> str:
    """Say of which days sales are, if not of all those that the page names at its head."""
    if not past.periods or past.periods == history.periods:
        return ""
    named = "; ".join(
        _("%(first)s to %(last)s")
        % {"first": date_format(period.first), "last": date_format(period.last)}
        for period in past.periods
    )
    if past.is_partial:
        return _("only %(periods)s: first sold then") % {"periods": named}
    return _("only %(periods)s") % {"periods": named}


def _drafts(written: list[str]) -> list[DraftRun] | None:
    """Read runs, each written as vessel-product-pieces; None where one of them can't be read."""
    found = [RUN_WRITTEN.fullmatch(run) for run in written]
    rows = [tuple(map(int, run.groups())) for run in found if run]
    places = Place.objects.in_bulk([place for place, _product, _pieces in rows])
    products = Product.objects.in_bulk([product for _place, product, _pieces in rows])
    are_known = all(place in places and product in products for place, product, _pieces in rows)
    if not (all(found) and are_known):
        return None
    return [DraftRun(places[place], products[product], pieces) for place, product, pieces in rows]


def _pieces_field() -> WholeNumberField:
    return WholeNumberField(min_value=0, max_value=PIECES_MAX)


def _price_field(most: int) -> NumberField:
    """Return an optional figure of four places, for prices and minutes."""
    return NumberField(required=False, min_value=0, max_value=most, max_digits=9, decimal_places=4)


def _pool_key(vessels: tuple[VesselState, ...]) -> str:
    return f"pool-{vessels[0].place.pk}"


def _as_free(grams: int, free_grams: int) -> int:
    """Return what is free where that is what somebody typed as they saw it: rounded."""
    shown = words.weight(free_grams)
    decimals = 0 if words.weight(free_grams, 0) == shown else 1
    is_as_shown = abs(in_units(grams) - round(in_units(free_grams), decimals)) < AS_TYPED
    is_rounded_up = grams > free_grams and words.weight(grams) == shown
    return free_grams if is_as_shown or is_rounded_up else grams


def _shown(figure: Decimal | None) -> Decimal | str:
    """Return a figure without trailing zeros, at least to the cent; empty when not known."""
    if figure is None:
        return ""
    decimals = f"{figure.normalize():f}".partition(".")[2]
    places = max(2, len(decimals))
    return figure.quantize(Decimal(1).scaleb(-places))
