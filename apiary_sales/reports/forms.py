"""The filters of reports, as forms whose fields are the names in the address."""

from collections.abc import Iterable, Mapping
from dataclasses import fields
from datetime import date
from typing import Any, ClassVar, cast

from django import forms
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from apiary_sales.billing.queries.journal import chart
from apiary_sales.customers.fields import CustomerField, CustomerInput
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Order
from apiary_sales.reports.frames import sales, stock
from apiary_sales.reports.frames.bottling import RunFilters
from apiary_sales.reports.frames.journal import BookFilters
from apiary_sales.reports.frames.sales import SalesFilters
from apiary_sales.reports.frames.stock import GoneFilters, StockFilters
from inventory.bottling.models import Product, Size, Variety
from inventory.shared.forms.acts import HouseForm
from inventory.shared.forms.fields import DayField, WholeNumberField
from inventory.stock.models import Item, Place
from inventory.stock.queries import honey

FIRST_YEAR, LAST_YEAR = 1900, 2200
DAYS = ("since", "until")
# What an address says to ask for all days, since one that says nothing of days asks for this year.
ALL_DAYS = {"since": ""}


class FilterDayField(DayField):
    """A day, written 2026-09-30 in the address."""

    def __init__(self, **options: Any) -> None:
        super().__init__(
            required=False,
            input_formats=["%Y-%m-%d"],
            error_messages={
                "invalid": gettext_lazy("Enter the day as year, month, day: 2026-09-30.")
            },
            **options,
        )

    def clean(self, value: Any) -> date | None:
        day = super().clean(value)
        if day is not None and not FIRST_YEAR <= day.year <= LAST_YEAR:
            raise forms.ValidationError(_("Choose a year from 1900 to 2200."), code="year")
        return day


class ChosenField(forms.ChoiceField):
    """One of a list, or all when left empty; the list is made when the form is."""

    def __init__(self, **options: Any) -> None:
        super().__init__(
            required=False,
            error_messages={
                "invalid_choice": gettext_lazy("Choose one from the list, or choose “all”.")
            },
            **options,
        )


class ChosenCustomerField(CustomerField):
    """One customer, or the buyers at the stand; empty means all. Its value is a key."""

    def __init__(self, **options: Any) -> None:
        super().__init__(
            label=gettext_lazy("Customer"),
            queryset=Customer.objects.all(),
            required=False,
            empty_label=gettext_lazy("all"),
            error_messages={
                "invalid_choice": gettext_lazy("Choose one from the list, or choose “all”.")
            },
            **options,
        )
        self._input.with_inactive = True
        self._input.before_customers = [(sales.NONE, gettext_lazy("buyers at the stand"))]

    @property
    def _input(self) -> CustomerInput:
        return cast(CustomerInput, self.widget)

    def clean(self, value: Any) -> str:
        for key, label in self._input.before_customers:
            if value in (key, str(label)):
                return str(key)
        customer = super().clean(value)
        return str(customer.pk) if customer else ""

    def label_of(self, value: str) -> str:
        """Return how a value is called."""
        return self._input.as_typed(value)


class FilterForm(HouseForm):
    """Filters read from an address; `asked()` gives them as the frame wants them.

    An address that names neither days nor a season asks for the days that `opening_days` returns:
    this year. One with empty days, `since=&until=`, asks for all.
    """

    makes: ClassVar[type]

    def __init__(self, data: Mapping[str, Any] | None = None, **options: Any) -> None:
        asks = data is None or bool({*DAYS} & {*data} or data.get("season"))
        self.is_opening = not asks and {*DAYS} <= {*self.base_fields}
        if data is not None and self.is_opening:
            opening = zip(DAYS, self.opening_days(data), strict=True)
            days = {name: day.isoformat() if day else "" for name, day in opening}
            data = {**{name: data[name] for name in data}, **days}
        super().__init__(data, **options)

    @classmethod
    def names(cls) -> list[str]:
        """Return the names of the filters in their order; nothing is read for it."""
        first = [name for name in cls.field_order or () if name in cls.base_fields]
        return [*first, *(name for name in cls.base_fields if name not in first)]

    def opening_days(self, data: Mapping[str, Any]) -> tuple[date | None, date | None]:
        """Return the first and the last day that are looked at where nobody asked for days."""
        today = timezone.localdate()
        return date(today.year, 1, 1), today

    def asked(self) -> Any:
        """Return the filters of a valid form; raise `KeyError` for others."""
        return self.makes(
            **{
                field.name: self.cleaned_data[field.name]
                for field in fields(self.makes)
                if field.name in self.fields and self.cleaned_data[field.name] not in ("", None)
            }
        )

    def in_address(self) -> dict[str, str]:
        """Return what the address has to say to ask for the same again."""
        said = {
            name: value.isoformat() if isinstance(value, date) else str(value)
            for name, value in self.cleaned_data.items()
            if value not in ("", None)
        }
        is_all_days = {*DAYS} <= {*self.fields} and not {*DAYS, "season"} & {*said}
        return {**said, **ALL_DAYS} if is_all_days else said

    def set_choices(self, name: str, choices: Iterable[tuple[Any, Any]]) -> None:
        """Let one of the lists offer these, or all."""
        cast(forms.ChoiceField, self.fields[name]).choices = _all_or(choices)

    def in_words(self) -> list[str]:
        """Say what is looked at: the days, and what was chosen."""
        words = [self._days()] if "since" in self.fields else []
        for name, field in self.fields.items():
            value = self.cleaned_data.get(name)
            if isinstance(field, forms.ChoiceField) and value not in ("", None):
                if isinstance(field, ChosenCustomerField):
                    label: Any = field.label_of(value)
                else:
                    label = dict(_choices(field)).get(value, value)
                words.append(f"{field.label}: {label}")
        return [word for word in words if word]

    def clean(self) -> dict[str, Any]:
        super().clean()
        cleaned = self.cleaned_data
        since, until = cleaned.get("since"), cleaned.get("until")
        if since and until and since > until:
            self.add_error(
                "until",
                _("The last day, %(until)s, comes before the first, %(since)s. Change one of them.")
                % {"until": date_format(until), "since": date_format(since)},
            )
        return cleaned

    def _days(self) -> str:
        since, until = self.cleaned_data.get("since"), self.cleaned_data.get("until")
        if since and until:
            return _("%(since)s to %(until)s") % {
                "since": date_format(since),
                "until": date_format(until),
            }
        if since:
            return _("from %(since)s on") % {"since": date_format(since)}
        if until:
            return _("up to %(until)s") % {"until": date_format(until)}
        return _("all days")


def _choices(field: forms.ChoiceField) -> list[tuple[Any, Any]]:
    """Return what a list offers; none of the lists here is parted into groups."""
    return cast("list[tuple[Any, Any]]", list(cast("Iterable[Any]", field.choices)))


def this_year_and_last() -> tuple[date, date]:
    """Return the days of a report of months, each of which is compared with the year before."""
    today = timezone.localdate()
    return date(today.year - 1, 1, 1), today


def _all_or(choices: Iterable[tuple[Any, Any]]) -> list[tuple[Any, Any]]:
    return [("", _("all")), *choices]


def seasons() -> list[tuple[str, str]]:
    """Return the seasons of which there is honey, the newest first."""
    return [(str(year), str(year)) for year in honey.seasons()]


def _offer_goods(form: FilterForm) -> None:
    """Let a form choose a size and a product; the product is not asked where it is the size."""
    products = list(Product.objects.all())
    form.set_choices("size", Size.objects.values_list("code", "name"))
    form.set_choices("product", ((product.code, product.name) for product in products))
    if all(product.is_standard for product in products):
        form.fields["product"].widget = forms.HiddenInput()


def _honeys() -> list[tuple[str, str]]:
    return list(Product.objects.of_honey().values_list("code", "name"))


class SalesForm(FilterForm):
    """Which sales: days, season of the honey, size, variety, product, channel, buyer,
    goods, cost.
    """

    makes = SalesFilters

    since = FilterDayField(label=gettext_lazy("From"))
    until = FilterDayField(label=gettext_lazy("Up to"))
    season = ChosenField(label=gettext_lazy("Season"))
    size = ChosenField(label=gettext_lazy("Size"))
    variety = ChosenField(label=gettext_lazy("Variety"))
    product = ChosenField(label=gettext_lazy("Product"))
    channel = ChosenField(label=gettext_lazy("Channel"))
    customer = ChosenCustomerField()
    goods = ChosenField(
        label=gettext_lazy("Goods"),
        choices=[
            (sales.HONEY, gettext_lazy("all honey")),
            (sales.PACKED, gettext_lazy("jars")),
            (sales.BULK, gettext_lazy("honey in bulk")),
            (sales.GOODS, gettext_lazy("other goods")),
            (sales.SERVICES, gettext_lazy("services")),
            (sales.CHARGE, gettext_lazy("drums, deposits, freight")),
            (sales.ALL, gettext_lazy("everything")),
        ],
    )
    cost = ChosenField(
        label=gettext_lazy("Cost"),
        choices=[
            ("", gettext_lazy("all")),
            (sales.KNOWN, gettext_lazy("with a cost")),
            (sales.NONE, gettext_lazy("without a cost")),
        ],
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        if "season" in self.fields:
            self.set_choices("season", self.seasons_offered())
        _offer_goods(self)
        varieties = [(str(pk), name) for pk, name in Variety.objects.values_list("pk", "name")]
        self.set_choices("variety", [*varieties, (sales.NONE, _("without a variety"))])
        if not varieties:
            self.fields["variety"].widget = forms.HiddenInput()
        self.set_choices("channel", Order.Channel.choices)

    def seasons_offered(self) -> list[tuple[str, str]]:
        return [*seasons(), (sales.NONE, _("without a season"))]


class HoneySalesForm(SalesForm):
    """Which sales of honey, for margins: charges have no cost of their own."""

    def seasons_offered(self) -> list[tuple[str, str]]:
        return seasons()

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        wanted = (sales.HONEY, sales.PACKED, sales.BULK)
        goods = cast(forms.ChoiceField, self.fields["goods"])
        goods.choices = [choice for choice in _choices(goods) if choice[0] in wanted]


class MarginForm(HoneySalesForm):
    """Which sales, for margins by product: of honey, or of other goods."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        goods = cast(forms.ChoiceField, self.fields["goods"])
        goods.choices = [*_choices(goods), (sales.GOODS, _("other goods"))]


def measure_field() -> ChosenField:
    """Return the field for what sales are compared by."""
    return ChosenField(
        label=gettext_lazy("Show"),
        choices=[
            ("", gettext_lazy("money")),
            ("grams", gettext_lazy("weight")),
            ("margin_cents", gettext_lazy("margin")),
        ],
    )


class MonthsForm(SalesForm):
    """Which sales, month by month."""

    def opening_days(self, data: Mapping[str, Any]) -> tuple[date | None, date | None]:
        return this_year_and_last()


class BySeasonForm(SalesForm):
    """Which sales, season by season: those of the years in which the newest seasons are sold."""

    def opening_days(self, data: Mapping[str, Any]) -> tuple[date | None, date | None]:
        return _first_of_seasons(sales.SEASONS_SHOWN), None


def _first_of_seasons(count: int) -> date:
    """Return the first day on which honey of the newest seasons can have been sold.

    Before the harvest the newest season is that of the last year.
    """
    return date(timezone.localdate().year - count, 1, 1)


class SeasonsForm(HoneySalesForm):
    """Which seasons to lay side by side, and by what."""

    # The columns are the seasons.
    season = None  # type: ignore[assignment]
    measure = measure_field()
    seasons = forms.TypedChoiceField(
        label=gettext_lazy("How many seasons"),
        required=False,
        coerce=int,
        empty_value=None,
        choices=[
            ("", str(sales.SEASONS_SHOWN)),
            *((str(count), str(count)) for count in (2, 4, 5, 6, 7)),
        ],
        error_messages={"invalid_choice": gettext_lazy("Choose from 2 to 7 seasons.")},
    )

    def opening_days(self, data: Mapping[str, Any]) -> tuple[date | None, date | None]:
        asked = str(data.get("seasons", ""))
        offered = dict(self.base_fields["seasons"].choices)  # type: ignore[attr-defined]
        return _first_of_seasons(
            int(asked) if asked in offered and asked else sales.SEASONS_SHOWN
        ), None


class RunsForm(FilterForm):
    """Which runs: days, season of the honey, size and product."""

    makes = RunFilters

    since = FilterDayField(label=gettext_lazy("From"))
    until = FilterDayField(label=gettext_lazy("Up to"))
    season = ChosenField(label=gettext_lazy("Season"))
    size = ChosenField(label=gettext_lazy("Size"))
    product = ChosenField(label=gettext_lazy("Product"))

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.set_choices("season", seasons())
        _offer_goods(self)


class StockValueForm(FilterForm):
    """Which stock, as of the end of a day."""

    makes = StockFilters

    on = FilterDayField(label=gettext_lazy("At the end of"))
    known_on = FilterDayField(
        label=gettext_lazy("As it was known at the end of"),
        help_text=gettext_lazy("Leave empty for what is known now."),
    )
    kind = ChosenField(label=gettext_lazy("Kind"))
    season = ChosenField(label=gettext_lazy("Season"))

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.set_choices("kind", Item.Kind.choices)
        self.set_choices("season", seasons())

    def in_words(self) -> list[str]:
        day = self.cleaned_data.get("on")
        when = _("now") if day is None else _("end of %(day)s") % {"day": date_format(day)}
        return [when, *super().in_words(), *_known_in_words(self)]


class BookForm(FilterForm):
    """Which days, and the day at whose end the entries were known."""

    makes = BookFilters

    since = FilterDayField(label=gettext_lazy("From"))
    until = FilterDayField(label=gettext_lazy("Up to"))
    known_on = FilterDayField(
        label=gettext_lazy("As it was known at the end of"),
        help_text=gettext_lazy("Leave empty for what is known now."),
    )

    def in_words(self) -> list[str]:
        return [*super().in_words(), *_known_in_words(self)]


class JournalForm(BookForm):
    """Which lines of the journal: days, account, and when they were known."""

    account = ChosenField(label=gettext_lazy("Account"))
    field_order = ("since", "until", "account", "known_on")

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.set_choices("account", ((row.key, row.title) for row in chart().values()))


def _known_in_words(form: FilterForm) -> list[str]:
    day = form.cleaned_data.get("known_on")
    if day is None:
        return []
    return [_("as it was known at the end of %(day)s") % {"day": date_format(day)}]


class SlowStockForm(FilterForm):
    """Which lots, idle for how long."""

    makes = StockFilters

    days = WholeNumberField(
        label=gettext_lazy("No movement for at least, days"),
        required=False,
        min_value=1,
        max_value=3650,
        initial=stock.DAYS,
        error_messages={
            "invalid": gettext_lazy("Enter a whole number of days, from 1 to 3650."),
            "min_value": gettext_lazy("Enter a whole number of days, from 1 to 3650."),
            "max_value": gettext_lazy("Enter a whole number of days, from 1 to 3650."),
        },
    )
    kind = ChosenField(label=gettext_lazy("Kind"))
    season = ChosenField(label=gettext_lazy("Season"))

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.set_choices(
            "kind", (choice for choice in Item.Kind.choices if choice[0] != Item.Kind.PART)
        )
        self.set_choices("season", seasons())

    def in_words(self) -> list[str]:
        days = self.cleaned_data.get("days") or stock.DAYS
        idle = ngettext(
            "no movement for %(days)s day or more", "no movement for %(days)s days or more", days
        ) % {"days": days}
        return [idle, *super().in_words()]


class GoneForm(FilterForm):
    """Which write-offs and count differences: days, reason, season of the honey."""

    makes = GoneFilters

    since = FilterDayField(label=gettext_lazy("From"))
    until = FilterDayField(label=gettext_lazy("Up to"))
    reason = ChosenField(label=gettext_lazy("Reason"))
    season = ChosenField(label=gettext_lazy("Season"))

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.set_choices(
            "reason", ((str(reason), Place.Kind(reason).label) for reason in stock.REASONS)
        )
        self.set_choices("season", seasons())
