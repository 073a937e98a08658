"""Lists that are narrowed to some days, and papers of a period."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from inventory.shared.forms.acts import HouseForm
from inventory.shared.forms.fields import DayField


class DaysForm(HouseForm):
    """From which day to which, either of them left open."""

    first = DayField(label=_("From"), required=False)
    last = DayField(label=pgettext_lazy("day", "To"), required=False)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        first, last = data.get("first"), data.get("last")
        if first and last and last < first:
            self.add_error("last", _("The last day is before the first day. Change one of them."))
        return data


class PeriodForm(HouseForm):
    """The days of a statement or a log: from the first of January to today by default."""

    since = DayField(label=_("From"), required=False)
    until = DayField(label=_("Up to"), required=False)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if not self.errors and data["since"] and data["since"] > self._until(data):
            self.add_error("since", _("This day is after the last one. Choose an earlier day."))
        return data

    @classmethod
    def asked(cls, typed: Mapping[str, Any]) -> tuple["PeriodForm", date, date]:
        """Return the form to show, and the days: with its faults, or with the days filled in."""
        form = cls(typed)
        since, until = form.days()
        return form if form.errors else cls(initial={"since": since, "until": until}), since, until

    def days(self) -> tuple[date, date]:
        """Return the days asked for, or the usual ones where they can't be."""
        cleaned = self.cleaned_data if self.is_valid() else {}
        until = self._until(cleaned)
        return cleaned.get("since") or until.replace(month=1, day=1), until

    @staticmethod
    def _until(data: dict[str, Any]) -> date:
        return data.get("until") or timezone.localdate()
