"""The form of the logo."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.shared import logo_files
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import FileField


class LogoForm(ActForm):
    """A picture from this phone or computer, or that there is to be none."""

    file = FileField(
        label=_("Picture"),
        required=False,
        widget=forms.FileInput(attrs={"accept": ".png,.jpg,.jpeg,.svg"}),
    )
    is_removed = forms.BooleanField(label=_("Print no logo"), required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["file"].help_text = logo_files.accepted()

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if "file" in data and not data["file"] and not data.get("is_removed"):
            self.add_error("file", _("Choose a picture."))
        return data
