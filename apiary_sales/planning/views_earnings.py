"""The page that says when to stop bottling, what earns most, and what is scarce now."""

from typing import Any

from django.contrib.auth.mixins import PermissionRequiredMixin
from django.utils import timezone
from django.views.generic import TemplateView

from apiary_sales.planning import earnings_sentences as sentences
from apiary_sales.planning.forms import MONTHS_USUAL
from apiary_sales.planning.forms_earnings import EarningsForm, sort_of
from apiary_sales.planning.queries import earnings
from apiary_sales.planning.rules.earnings import TANK_KILOGRAMS, TANK_POUNDS, Measure
from inventory.shared import conventions
from inventory.shared.paging import page_of
from inventory.shared.weights import in_words

# Fewer than in lists, since each row has a sentence. All tables turn their pages together.
ROWS_A_PAGE = 10


class EarningsView(PermissionRequiredMixin, TemplateView):
    """Work the answer out from the address."""

    permission_required = "pricing.manage_prices"
    raise_exception = True
    template_name = "planning/earnings.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        typed = self.request.GET.dict()
        form = EarningsForm.asked(typed)
        asked = form.cleaned_data if form.is_valid() else {}
        found = earnings.read(timezone.localdate(), months=asked.get("months", MONTHS_USUAL))
        context: dict[str, Any] = {"form": form, "notices": sentences.notices(found)}
        if asked and any(offer.price_cents is not None for offer in found.books.offers):
            stopping = found.answer(
                hours=asked["hours"],
                drum_price=asked["drum_price"],
                expected_grams=asked["expected"],
                are_parts_bought=asked["parts"] == "bought",
            )
            measure = sort_of(typed) or stopping.measure
            said = [sentences.said(stopping, row) for row in stopping.sorted_by(measure)]
            to_fill = sentences.to_fill(said)
            context |= {
                "stopping": stopping,
                "scarce_now": sentences.scarce_now(stopping),
                "left_out": sentences.left_out(stopping),
                "levels": sentences.levels(stopping),
                "limits": sentences.limits(stopping),
                "rows": page_of(self.request, to_fill, ROWS_A_PAGE) if to_fill else None,
                "stops": [
                    (summary, page_of(self.request, stopped, ROWS_A_PAGE))
                    for summary, stopped in sentences.stops(said)
                ],
                "unknown": sentences.unknown(said),
                "earners": page_of(
                    self.request,
                    [each for each in said if each.row.ranked.ranks[Measure.PIECE]],
                    ROWS_A_PAGE,
                ),
                "measure": measure,
                "measures": [(each.value, in_words(each.label)) for each in Measure],
                "tank_week_units": TANK_KILOGRAMS
                if conventions.current().is_metric
                else TANK_POUNDS,
            }
        return super().get_context_data(**context, **kwargs)
