"""Lists that are narrowed to some days."""

from typing import Any

from django.utils.translation import gettext_lazy as _

from inventory.shared.forms.acts import HouseForm
from inventory.shared.forms.fields import date_field


class DaysForm(HouseForm):
    """From which day to which, either of them left open."""

    first = date_field(_("From"), required=False)
    last = date_field(_("To"), required=False)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        first, last = data.get("first"), data.get("last")
        if first and last and last < first:
            self.add_error("last", _("The last day is before the first day. Change one of them."))
        return data
