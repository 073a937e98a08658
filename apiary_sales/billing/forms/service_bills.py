"""The form that bills services at once."""

from typing import Any

from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.orders.forms import service_rows
from apiary_sales.orders.forms.lines import LinesForm, note_field, over_limit_field
from inventory.shared.forms.fields import DayField


class BillServiceForm(LinesForm):
    """Up to three services that are done, and the day of the invoice."""

    billed_on = DayField(label=_("Date of the invoice"))
    note = note_field()
    over_limit = over_limit_field()

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["billed_on"].initial = timezone.localdate
        service_rows.add_fields(self)

    def service_rows(self) -> list[service_rows.ServiceRow]:
        return service_rows.rows_of(self)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        service_rows.add_lines(self, data)
        if not self.lines and not self.errors:
            self.add_error("service_0", _("Choose at least one service."))
        return data
