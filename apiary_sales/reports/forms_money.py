"""The filters of the reports on money by month, money to come, and what remains after selling."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from apiary_sales.orders.models import Order
from apiary_sales.reports.forms import (
    ChosenCustomerField,
    ChosenField,
    FilterDayField,
    FilterForm,
    this_year_and_last,
)
from apiary_sales.reports.frames.cash import CashFilters
from apiary_sales.reports.frames.sales import ALL, SalesFilters
from apiary_sales.reports.frames.to_come import ComingFilters
from inventory.shared.days import month_end


class CashForm(FilterForm):
    """Which months, from that of one day to that of another."""

    makes = CashFilters

    since = FilterDayField(label=gettext_lazy("From the month of"))
    until = FilterDayField(label=gettext_lazy("Up to the month of"))

    def opening_days(self, data: Mapping[str, Any]) -> tuple[date | None, date | None]:
        return this_year_and_last()

    def asked(self) -> CashFilters:
        """Return the first day of the first month and the last day of the last one."""
        since, until = self.cleaned_data.get("since"), self.cleaned_data.get("until")
        return CashFilters(since and since.replace(day=1), until and month_end(until))

    def in_words(self) -> list[str]:
        since, until = self.cleaned_data.get("since"), self.cleaned_data.get("until")
        names = {
            "since": since and date_format(since, "YEAR_MONTH_FORMAT"),
            "until": until and date_format(until, "YEAR_MONTH_FORMAT"),
        }
        if since and until:
            return [_("%(since)s to %(until)s") % names]
        if since:
            return [_("from %(since)s on") % names]
        return [_("up to %(until)s") % names if until else _("all months")]


class ComingForm(FilterForm):
    """Money that is due or expected on which days."""

    makes = ComingFilters

    since = FilterDayField(label=gettext_lazy("From"))
    until = FilterDayField(label=gettext_lazy("Up to"))

    def opening_days(self, data: Mapping[str, Any]) -> tuple[date | None, date | None]:
        """Return no days: what is to come is not of this year alone."""
        return None, None


class SellingForm(FilterForm):
    """Which sales, for what remains of them after selling: days, channel and customer."""

    makes = SalesFilters

    since = FilterDayField(label=gettext_lazy("From"))
    until = FilterDayField(label=gettext_lazy("Up to"))
    channel = ChosenField(label=gettext_lazy("Channel"))
    customer = ChosenCustomerField()

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.set_choices("channel", Order.Channel.choices)

    def in_address(self) -> dict[str, str]:
        """Return what the address has to say; all goods are counted, so their lines are too."""
        return {**super().in_address(), "goods": ALL}
