"""The page of jars with which the books begin."""

from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _

from inventory.bottling.opening_forms import OpeningJarsForm
from inventory.bottling.services import opening_stock
from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.stock.models import Lot


class OpeningJarsView(ActView):
    """Put jars on a shelf that were filled before the books began."""

    permission_required = "inventory.run_bottling"
    form_class = OpeningJarsForm
    template_name = "inventory/bottling/opening_jars.html"

    def act(self, data: dict[str, Any]) -> Lot:
        return opening_stock.receive_jars(
            cost_cents=data.pop("cost"), recorded_by=person_of(self.request), **data
        )

    def done_message(self, made: Lot) -> str:
        return _("The jars of lot %(lot)s are in the books.") % {"lot": made.code}

    def posting_to_undo(self, made: Lot):
        line = made.lines.select_related("posting").order_by("-id").first()
        return line.posting if line else None

    def next_url(self, made: Lot) -> str:
        return reverse("inventory:lot_detail", args=[made.code, made.what])

    def repeat_url(self, made: Any) -> str:
        return reverse("inventory:jar_list")
