"""The field that asks for a customer: a list where there are few, else a box that finds them."""

from collections.abc import Mapping, Sequence
from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.forms.models import ModelChoiceIterator
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from apiary_sales.customers import queries
from apiary_sales.customers.models import Customer
from inventory.shared.row_keys import row_key

# So many customers are offered in one list; where there are more, they are found by name.
LISTED_MAX = 50
# So many who fit what was typed are named where more than one fits.
NAMED_MAX = 5
# No name of a customer is longer.
TYPED_MAX = 120


class NameTyped(str):
    """What was typed into the box, where a list gives the key of a customer."""

    __slots__ = ()


class CustomerInput(forms.Select):
    """A list of customers, or a box that asks the server for those who fit what is typed.

    The list sends a key as `customer`, the box a name as `customer_name`. The name of a customer is
    there once, so that it says who is meant without a script too.
    """

    template_name = "django/forms/widgets/customer.html"
    # Whether customers are offered to whom nothing new is sold.
    with_inactive = False
    # Keys and labels that are offered before the customers.
    before_customers: Sequence[tuple[str, str | Promise]] = ()

    def value_from_datadict(self, data: Any, files: Any, name: str) -> Any:
        typed = data.get(_name_of(name))
        if typed is None:
            return super().value_from_datadict(data, files, name)
        return NameTyped(typed.strip()[:TYPED_MAX])

    def value_omitted_from_data(self, data: Any, files: Any, name: str) -> bool:
        return name not in data and _name_of(name) not in data

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        first, customers = self._first(), self._offered.queryset
        listed = list(customers.values_list("pk", "name")[: LISTED_MAX + 1])
        if len(listed) <= LISTED_MAX:
            if isinstance(value, NameTyped):
                # The form was opened when there were more.
                value = next((key for key, label in [*first, *listed] if label == value), "")
            return forms.Select(self.attrs, [*first, *listed]).get_context(name, value, attrs)
        box = forms.TextInput({**self.attrs, "maxlength": TYPED_MAX})
        context = box.get_context(_name_of(name), self.as_typed(value), attrs)
        return context | {
            "is_box": True,
            "first": [label for key, label in first if key],
            "placeholder": first[0][1],
            "with_inactive": self.with_inactive,
        }

    @property
    def _offered(self) -> ModelChoiceIterator:
        return cast(ModelChoiceIterator, self.choices)

    def _first(self) -> list[tuple[str, str | Promise]]:
        return [("", self._offered.field.empty_label or ""), *self.before_customers]

    def as_typed(self, value: Any) -> str:
        """Return what the box shows for a value: what was typed, or the name of a key."""
        if value in (None, "") or isinstance(value, NameTyped):
            return value or ""
        for key, label in self.before_customers:
            if str(value) == key:
                return str(label)
        customer = self._offered.queryset.filter(pk=row_key(value)).first()
        return customer.name if customer else ""


class CustomerField(forms.ModelChoiceField):
    """One customer; what comes in is a key, or the name as it is typed into the box."""

    widget = CustomerInput
    default_error_messages = {
        "nobody": _(
            "No customer fits “%(typed)s”. Type a part of the name, the town or the telephone "
            "number and choose from the list, or add the customer first."
        ),
        "part": _(
            "No customer is called “%(typed)s”. Choose one from the list, or type the whole name: "
            "%(names)s"
        ),
    }

    def __init__(
        self, *, label: Any, queryset: QuerySet[Customer] | None = None, **kwargs: Any
    ) -> None:
        if queryset is None:
            queryset = Customer.objects.filter(is_active=True)
        kwargs.setdefault("empty_label", _("Choose the customer"))
        super().__init__(label=label, queryset=queryset, **kwargs)

    def prepare_value(self, value: Any) -> Any:
        return value if isinstance(value, NameTyped) else super().prepare_value(value)

    def to_python(self, value: Any) -> Any:
        if not isinstance(value, NameTyped):
            return super().to_python(value)
        return self._named(value) if value else None

    def _named(self, typed: str) -> Customer:
        """Return who is called so; a part of a name is refused, with those whom it fits."""
        typed = typed.replace("\x00", "")
        customers = cast("QuerySet[Customer]", self.queryset)
        if called := customers.filter(name=typed).first():
            return called
        same = list(customers.filter(name__iexact=typed)[:2])
        if len(same) == 1:
            return same[0]
        fitting = list(queries.with_words(customers, typed)[: NAMED_MAX + 1])
        names = [customer.name for customer in fitting[:NAMED_MAX]]
        names += ["…"] * (len(fitting) > NAMED_MAX)
        code = "part" if fitting else "nobody"
        raise ValidationError(
            self.error_messages[code],
            code=code,
            params={"typed": typed, "names": " · ".join(names)},
        )


def customer_in(data: Mapping[str, Any], name: str = "customer") -> Customer | None:
    """Return the customer whom an address or a form names so far, None where that is nobody."""
    given = CustomerInput().value_from_datadict(data, {}, name)
    if isinstance(given, NameTyped):
        try:
            return CustomerField(label="", required=False).clean(given)
        except ValidationError:
            return None
    key = row_key(getattr(given, "pk", given))
    return Customer.objects.filter(pk=key).first() if key else None


def _name_of(name: str) -> str:
    return f"{name}_name"
