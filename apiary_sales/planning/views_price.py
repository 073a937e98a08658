"""The page on which a price is tried before it is set."""

from collections.abc import Sequence
from typing import Any
from urllib.parse import urlencode

from django.contrib.auth.mixins import PermissionRequiredMixin
from django.urls import reverse
from django.utils import timezone
from django.views.generic import TemplateView

from apiary_sales.planning import price_answer, price_sentences
from apiary_sales.planning.forms_price import PriceTryForm, SalesPeriodForm, period_asked
from apiary_sales.planning.price_answer import PriceWish
from apiary_sales.planning.queries import price_books
from apiary_sales.pricing.rules.costs import TIER_OF_CHANNEL, Channel
from inventory.bottling.models import Product
from inventory.shared.forms.fields import as_typed
from inventory.shared.money import amount


class PriceTryView(PermissionRequiredMixin, TemplateView):
    """Work out what a tried price is likely to bring, from the figures in the address."""

    permission_required = "pricing.manage_prices"
    raise_exception = True
    template_name = "planning/price_try.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        asked = self.request.GET
        period_form = SalesPeriodForm(asked)
        period = period_form.cleaned_data["period"] if period_form.is_valid() else ""
        today = timezone.localdate()
        books = price_books.read(today, period_asked(period, today))
        is_asked = "likely" in asked
        form = PriceTryForm(asked if is_asked else None, offered=books.products)
        if books.drum_price is not None:
            form.fields["drum_price"].widget.attrs["placeholder"] = as_typed(books.drum_price)
        wish = form.wish() if is_asked and form.is_valid() else None
        found = price_answer.answer(books, wish) if wish else None
        told: dict[str, Any] = {}
        if wish and found:
            told = {
                "verdict": price_sentences.verdict(found),
                "sentences": price_sentences.sentences(found),
                "left_out": price_sentences.left_out(found),
                "cases": price_sentences.cases(found),
                "keep_url": _keep_url(wish, found),
                "one_by_one": _one_by_one(wish, books.products),
            }
        return super().get_context_data(
            form=form,
            books=books,
            found=found,
            is_empty=wish is not None and found is None,
            **told,
            **kwargs,
        )


def _keep_url(wish: PriceWish, found: price_answer.PriceAnswer) -> str:
    """Return the page on which the tried prices can be set, with the figures filled in."""
    if wish.new_cents is not None:
        tier = TIER_OF_CHANNEL[Channel(wish.channel)].value
        code = found.lines[0].product.code
        price = urlencode({tier: amount(wish.new_cents)})
        return f"{reverse('pricing:price_set', args=[code])}?{price}"
    if wish.products:
        # A change by percent is of whole price lists; see `_one_by_one`.
        return ""
    tiers = [TIER_OF_CHANNEL[Channel(wish.channel)]] if wish.channel else TIER_OF_CHANNEL.values()
    query = {
        "tiers": list(dict.fromkeys(tier.value for tier in tiers)),
        "percent": as_typed(wish.percent),
        "ending": wish.ending,
        "valid_from": timezone.localdate().isoformat(),
    }
    return f"{reverse('pricing:price_change')}?{urlencode(query, doseq=True)}"


def _one_by_one(wish: PriceWish, products: Sequence[Product]) -> list[tuple[str, str]]:
    """Return the chosen products with the pages on which their prices are set, one for each.

    None where the tried prices can be set at once.
    """
    if wish.new_cents is not None:
        return []
    return [
        (product.name, reverse("pricing:price_set", args=[product.code]))
        for product in products
        if product.pk in wish.products
    ]
