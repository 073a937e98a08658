"""The form of an attached file."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.shared import file_contents
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import FileField
from inventory.shared.models import Attachment


class FileForm(ActForm):
    """A file from this phone or computer, and what it is."""

    file = FileField(
        label=_("File"),
        widget=forms.FileInput(
            attrs={"accept": ",".join(sum(file_contents.SUFFIXES.values(), ()))}
        ),
    )
    kind = forms.ChoiceField(label=_("What it is"), choices=Attachment.Kind.choices)
    note = forms.CharField(label=_("Note"), max_length=200, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["file"].help_text = file_contents.accepted()
