"""The form of one act: it carries a key, so that sending it twice records it once."""

import uuid

from django import forms
from django.core.exceptions import ValidationError

from inventory.shared.errors import HouseError
from inventory.shared.sentences import plain


class PlainWords:
    """For any form: what Django finds wrong is told in the house's own words."""

    def add_error(self, field: str | None, error) -> None:
        if not isinstance(error, ValidationError):
            error = ValidationError(error)
        super().add_error(field, plain(error, self.fields.get(field)))


class HouseForm(PlainWords, forms.Form):
    """A form whose fields take refusals."""

    def refuse(self, error: HouseError) -> None:
        """Show each problem of a refused act at the field it names, or above the form."""
        for problem in error.problems:
            field = problem.field if problem.field in self.fields else None
            self.add_error(field, problem.message)


class ActForm(HouseForm):
    """A form whose hidden key makes its act happen once."""

    key = forms.CharField(widget=forms.HiddenInput, max_length=100)

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["key"].initial = lambda: str(uuid.uuid4())
