"""The pages about prices, people and costs."""

from typing import Any

from django.http import QueryDict
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.accounts.models import User
from apiary_sales.accounts.services import people
from apiary_sales.customers.models import Customer
from apiary_sales.pricing.models import BulkPrice, FillingTime, PiecePrice
from apiary_sales.pricing.services import filling_times, prices
from apiary_sales.pricing.services.prices import PricesWanted
from apiary_sales.web.first_hour import steps
from apiary_sales.web.first_hour.forms.rows import Rows
from apiary_sales.web.first_hour.forms.selling import (
    CostsForm,
    DrumPriceForm,
    MinutesRow,
    PersonRow,
    PricesRow,
)
from apiary_sales.web.first_hour.views.step import Asked, StepView
from inventory.bottling.models import Product
from inventory.shared import conventions
from inventory.stock.forms.fields import plain
from inventory.stock.models import ProductionSettings
from inventory.stock.services import production

TIERS: dict[str, str] = {
    "stand": Customer.Tier.STAND,
    "shop": Customer.Tier.SHOP,
    "distributor": Customer.Tier.DISTRIBUTOR,
}
PEOPLE_ASKED = 3


class PricesView(StepView):
    slug = "prices"
    template_name = "web/set_up/prices.html"

    def ask(self, data: QueryDict | None, files: Any = None) -> Asked:
        cents = {key: row.piece_cents for key, row in self._in_force().items()}
        proposed = [
            {
                "title": product.name,
                "subject": product,
                **{name: cents.get((tier, product.pk)) for name, tier in TIERS.items()},
            }
            for product in Product.objects.for_sale()
        ]
        per_weight = self._drum_price()
        form = DrumPriceForm(
            data, initial={"per_weight": plain(per_weight, 4) if per_weight else None}
        )
        form.fields["per_weight"].help_text = _(
            "For one %(unit)s, whatever its colour and moisture. Leave it empty if you sell no "
            "drums."
        ) % {"unit": conventions.current().weight_word}
        return Asked(form, {"prices": Rows(PricesRow, data, prefix="prices", proposed=proposed)})

    def save(self, asked: Asked) -> str:
        assert asked.form is not None
        before, day = self._in_force(), steps.begins_on()
        for row in asked.rows["prices"].filled():
            wanted = {}
            for name, tier in TIERS.items():
                there = before.get((tier, row.subject.pk))
                case_cents = there.case_cents if there and row.cleaned_data[name] else None
                wanted[tier] = PricesWanted(row.cleaned_data[name], case_cents)
            fields = {f"wanted.{tier}.piece_cents": name for name, tier in TIERS.items()}
            fields |= {f"wanted.{tier}.case_cents": name for name, tier in TIERS.items()}
            with self.telling_at(row, **fields):
                prices.set_product(product=row.subject, wanted=wanted, valid_from=day)
        per_weight = asked.form.cleaned_data["per_weight"]
        if per_weight != self._drum_price():
            with self.telling_at(asked.form):
                prices.set_bulk(price_per_pound=per_weight, valid_from=day)
        return _("The prices are saved.")

    @staticmethod
    def _in_force() -> dict[tuple[str, int], PiecePrice]:
        rows = PiecePrice.objects.in_force(steps.begins_on())
        return {(row.tier, row.product_id): row for row in rows if row.min_pieces == 1}

    @staticmethod
    def _drum_price() -> Any:
        """Return the price of drums of any colour and moisture that was entered last, or None."""
        found = BulkPrice.objects.filter(colour_class="", floral_source="")
        newest = found.order_by("-valid_from", "-id").first()
        return newest.price_per_pound if newest else None


class PeopleView(StepView):
    slug = "people"
    template_name = "web/set_up/people.html"

    def ask(self, data: QueryDict | None, files: Any = None) -> Asked:
        roles = (User.Role.BOTTLING, User.Role.STAND, User.Role.OFFICE)
        proposed = [{"role": role} for role in roles]
        rows = Rows(PersonRow, data, prefix="people", proposed=proposed, may_grow=True)
        return Asked(rows={"people": rows})

    def context(self) -> dict[str, Any]:
        return {"people": User.objects.order_by("pk")}

    def save(self, asked: Asked) -> str:
        made = []
        for row in asked.rows["people"].filled():
            with self.telling_at(row):
                made.append(people.add(**row.cleaned_data, must_change_password=True))
        return ngettext(
            "%(count)s more person can sign in.", "%(count)s more people can sign in.", len(made)
        ) % {"count": len(made)}


class CostsView(StepView):
    slug = "costs"
    template_name = "web/set_up/costs.html"

    def ask(self, data: QueryDict | None, files: Any = None) -> Asked:
        settings = ProductionSettings.current()
        minutes = dict(FillingTime.objects.values_list("product", "minutes_each"))
        proposed = [
            {
                "title": product.name,
                "subject": product,
                "minutes": plain(minutes[product.pk], 2) if product.pk in minutes else None,
            }
            for product in Product.objects.for_sale()
            if product.is_filled
        ]
        form = CostsForm(
            data,
            initial={
                "labour": settings.labour_cents_per_hour,
                "cost_method": settings.cost_method,
            },
        )
        return Asked(form, {"minutes": Rows(MinutesRow, data, prefix="minutes", proposed=proposed)})

    def save(self, asked: Asked) -> str:
        assert asked.form is not None
        settings, data = ProductionSettings.current(), asked.form.cleaned_data
        with self.telling_at(asked.form):
            production.change(
                labour_cents_per_hour=data["labour"],
                cost_method=data["cost_method"],
                honey_house_celsius=settings.honey_house_celsius,
                lot_code_pattern=settings.lot_code_pattern,
                setting_days=settings.setting_days,
            )
        for row in asked.rows["minutes"].filled():
            with self.telling_at(row, **{f"minutes.{row.subject.code}": "minutes"}):
                filling_times.set_minutes({row.subject: row.cleaned_data["minutes"]})
        return _("The costs are saved.")
