"""Upload a list, match its columns, bring it in, undo it."""

from typing import Any

from django import forms
from django.utils.translation import get_language
from django.utils.translation import gettext_lazy as _

from apiary_sales.imports.models import Import
from apiary_sales.imports.rules.columns import needed_sentence
from apiary_sales.imports.rules.kinds import ListKind
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import FileField, decimal_sign

NOT_THERE = ""
SAMPLE_LENGTH_MAX = 40


class UploadListForm(ActForm):
    """A file, and how figures and dates are written in it."""

    file = FileField(
        label=_("Your list"),
        help_text=_("CSV or Excel workbook (.xlsx), up to 10 MB. The first row has the headings."),
        widget=forms.FileInput(attrs={"accept": ".csv,.tsv,.txt,.xlsx"}),
    )
    decimal_sign = forms.ChoiceField(
        label=_("Decimals in this list"),
        choices=[(".", _("with a point: 12.50")), (",", _("with a comma: 12,50"))],
    )
    day_order = forms.ChoiceField(
        label=_("Dates in this list"),
        choices=Import.DayOrder,
        help_text=_("2026-07-31 is always understood."),
    )
    again = forms.BooleanField(
        label=_("Bring it in again"),
        required=False,
        help_text=_("Only where the same file was brought in before and you want it twice."),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["decimal_sign"].initial = decimal_sign()
        is_day_first = not (get_language() or "").startswith("en") or decimal_sign() == ","
        order = Import.DayOrder.DAY_FIRST if is_day_first else Import.DayOrder.MONTH_FIRST
        self.fields["day_order"].initial = order


class MatchColumnsForm(ActForm):
    """For each of our columns, the column of the file that has it."""

    def __init__(
        self, *args: Any, what: ListKind, headings: list[str], sample: list[str], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.what = what
        choices = [(NOT_THERE, _("not in this list")), *_choices(headings, sample)]
        for column in what.columns:
            self.fields[column.name] = forms.ChoiceField(
                label=str(column.label),
                choices=choices,
                required=column.is_required,
                error_messages={"required": needed_sentence()},
                help_text=str(column.hint),
            )

    def chosen(self) -> dict[str, int | None]:
        """Return the position in the file of each of our columns."""
        return {
            column.name: int(value) if (value := self.cleaned_data.get(column.name)) else None
            for column in self.what.columns
        }

    def field_of(self, parameter: str | None) -> str | None:
        return super().field_of((parameter or "").removeprefix("columns.") or None)


def _choices(headings: list[str], sample: list[str]) -> list[tuple[str, str]]:
    found = []
    for position, heading in enumerate(headings):
        name = heading or str(_("column %(number)s") % {"number": position + 1})
        cell = sample[position][:SAMPLE_LENGTH_MAX] if position < len(sample) else ""
        found.append((str(position), f"{name} ({cell})" if cell else name))
    return found


class BringInForm(ActForm):
    """Bring in what was checked."""

    without_bad_rows = forms.BooleanField(
        label=_("Leave out the rows with something wrong"), required=False
    )


class UndoImportForm(ActForm):
    reason = forms.CharField(label=_("Reason"), max_length=300)
