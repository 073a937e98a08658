"""The form of one act: it carries a key, so that sending it twice records it once."""

import uuid

from django import forms

from inventory.errors import HouseError


class HouseForm(forms.Form):
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
