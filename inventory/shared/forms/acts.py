"""The form of one act: it carries a key, so that sending it twice records it once."""

import uuid
from collections.abc import Mapping
from typing import Any, ClassVar

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.shared.errors import HouseError
from inventory.shared.versions import OpenedOn

FILL_THIS_IN = forms.Field.default_error_messages["required"]
CHOOSE = _("Choose one from the list.")


class HouseForm(OpenedOn, forms.Form):
    """A form whose fields take the refusals of a service.

    A service names the parameter that is wrong. `fields_of_parameters` gives the form's field for
    each parameter that has another name there; this is the one place where a form says so.
    """

    fields_of_parameters: ClassVar[Mapping[str, str]] = {}

    def full_clean(self) -> None:
        # Django asks to fill in what is to be chosen, unless the field has words of its own.
        for field in self.fields.values():
            if (
                isinstance(field, forms.ChoiceField)
                and field.error_messages["required"] == FILL_THIS_IN
            ):
                field.error_messages["required"] = CHOOSE
        super().full_clean()

    def field_of(self, parameter: str | None) -> str | None:
        """Return the field in which a parameter of the service is typed, None where in no field."""
        name = self.fields_of_parameters.get(parameter or "", parameter)
        # What nobody can see or change is told above the form.
        return name if name in self.fields and not self.fields[name].widget.is_hidden else None

    def refuse(self, error: HouseError) -> None:
        """Show each problem of a refused act at the field it is about, or above the form."""
        # All fields are found first: what has an error is no longer among the cleaned data, from
        # which forms of several rows count their positions.
        told = [(self.field_of(problem.parameter), problem.message) for problem in error.problems]
        for field, message in told:
            self.add_error(field, message)


class ActForm(HouseForm):
    """A form with a hidden idempotency key, so that sending it twice records it once."""

    key = forms.CharField(widget=forms.HiddenInput, max_length=100)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["key"].initial = lambda: str(uuid.uuid4())
