"""The forms of attached files."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.shared import file_contents
from inventory.shared.forms.acts import ActForm
from inventory.shared.models import Attachment


class FileForm(ActForm):
    """A file from this phone or computer, and what it is."""

    file = forms.FileField(
        label=_("File"),
        widget=forms.FileInput(
            attrs={"accept": ",".join(sum(file_contents.SUFFIXES.values(), ()))}
        ),
        error_messages={"required": _("Choose a file.")},
        # A name of any length is cut where the file is kept.
        max_length=None,
    )
    kind = forms.ChoiceField(label=_("What it is"), choices=Attachment.Kind.choices)
    note = forms.CharField(label=_("Note"), max_length=200, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["file"].help_text = file_contents.accepted()


class FileRemoveForm(ActForm):
    """That a file is to be removed."""
