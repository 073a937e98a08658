"""The pages about the house: its name, its market, its tax."""

from decimal import Decimal
from typing import Any

from django.http import QueryDict
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from apiary_sales.accounts.models import SetUp
from apiary_sales.accounts.services import set_up
from apiary_sales.pricing.models import GoodsCategory, TaxRate
from apiary_sales.pricing.services import prices, taxes
from apiary_sales.web.first_hour import proposals, steps
from apiary_sales.web.first_hour.forms.house import (
    HouseNameForm,
    MarketForm,
    TaxedGoodsRow,
    TaxForm,
)
from apiary_sales.web.first_hour.forms.rows import Rows
from apiary_sales.web.first_hour.views.step import Asked, StepView
from inventory.shared import money
from inventory.shared.models import House
from inventory.shared.services import house as houses
from inventory.stock.forms.fields import plain

NAME_FIELDS = (
    "name street postal_code city region country country_code tax_number phone email".split()  # noqa: SIM905
)


TAXABLE = GoodsCategory.Category.TAXABLE


class HouseView(StepView):
    slug = "house"
    template_name = "web/set_up/house.html"

    def ask(self, data: QueryDict | None, files: Any = None) -> Asked:
        house = House.current()
        initial = {name: getattr(house, name) for name in NAME_FIELDS}
        if house._state.adding:
            del initial["name"]
        initial["begins_on"] = steps.begins_on()
        return Asked(HouseNameForm(data, files, initial=initial))

    def context(self) -> dict[str, Any]:
        return {"house": House.current()}

    def save(self, asked: Asked) -> str:
        assert asked.form is not None
        data = dict(asked.form.cleaned_data)
        logo, begins_on = data.pop("logo"), data.pop("begins_on")
        with self.telling_at(asked.form, file="logo"):
            houses.change(**data)
            if logo:
                houses.set_logo(file=logo)
            set_up.begin_books_on(begins_on)
        return _("The details of %(house)s are saved.") % {"house": data["name"]}


class MarketView(StepView):
    slug = "market"
    template_name = "web/set_up/market.html"

    FIELDS = tuple(MarketForm.base_fields)

    def ask(self, data: QueryDict | None, files: Any = None) -> Asked:
        house = House.current()
        initial = {name: getattr(house, name) for name in self.FIELDS}
        if self.slug not in SetUp.current().steps_done:
            market = proposals.market_of(house.country_code) or house.market
            initial |= {"market": market, **self._usual(market)}
        return Asked(MarketForm(data, initial=initial))

    def read_in(self, data: QueryDict) -> QueryDict | None:
        if "propose" not in data:
            return None
        proposed = data.copy()
        for name, value in self._usual(data.get("market", "")).items():
            if name == "prices_include_tax":
                proposed.pop(name, None)
                if value:
                    proposed[name] = "on"
            else:
                proposed[name] = str(value)
        return proposed

    def context(self) -> dict[str, Any]:
        return {
            "usual": {market.value: self._usual(market.value) for market in House.Market},
            "currencies": list(money.SYMBOLS),
        }

    def save(self, asked: Asked) -> str:
        assert asked.form is not None
        with self.telling_at(asked.form):
            houses.change(**asked.form.cleaned_data)
        return _("Saved. Pages and papers are written so from now on.")

    @staticmethod
    def _usual(market: str) -> dict[str, Any]:
        usual = proposals.usual_of(market)
        language = (get_language() or "en")[:2]
        return {
            "currency": usual.currency,
            "weight_unit": usual.weight_unit,
            "language": language,
            "decimal_sign": usual.decimal_sign,
            "paper": usual.paper,
            "first_weekday": usual.first_weekday,
            "prices_include_tax": usual.prices_include_tax,
        }


class TaxView(StepView):
    slug = "tax"
    template_name = "web/set_up/tax.html"

    def ask(self, data: QueryDict | None, files: Any = None) -> Asked:
        day = steps.begins_on()
        in_force = TaxRate.objects.in_force(day)
        rates = {rate.goods: rate for rate in in_force}
        categories = {row.goods: row for row in GoodsCategory.objects.in_force(day)}
        market = House.current().market
        usual_name = _("VAT") if market == House.Market.EU else _("Sales tax")
        first = in_force[0] if in_force else None
        proposed = []
        for goods in TaxRate.Goods:
            category = categories.get(goods)
            rate = rates.get(goods)
            proposed.append(
                {
                    "title": goods.label,
                    "subject": goods.value,
                    "category": category.category if category else TAXABLE,
                    "reason": category.reason if category else "",
                    "percent": plain(rate.percent, 4) if rate else None,
                }
            )
        form = TaxForm(
            data,
            initial={
                "name": first.name if first else usual_name,
                "jurisdiction": first.jurisdiction if first else "",
            },
        )
        return Asked(form, {"tax": Rows(TaxedGoodsRow, data, prefix="tax", proposed=proposed)})

    def save(self, asked: Asked) -> str:
        assert asked.form is not None
        name, day = asked.form.cleaned_data, steps.begins_on()
        rates = {(rate.goods, rate.name) for rate in TaxRate.objects.in_force(day)}
        categories = {row.goods: row for row in GoodsCategory.objects.in_force(day)}
        for row in asked.rows["tax"].filled():
            data = row.cleaned_data
            is_taxable = data["category"] == TAXABLE
            before = categories.get(row.subject)
            # Taxable is what goods are while nothing was said of them.
            said = (before.category, before.reason) if before else (TAXABLE, "")
            if said != (data["category"], data["reason"]):
                with self.telling_at(row):
                    taxes.set_category(
                        goods=row.subject,
                        category=data["category"],
                        reason=data["reason"],
                        valid_from=day,
                    )
            percent = (data["percent"] if is_taxable else None) or Decimal(0)
            # A rate of 0 ends one that there is.
            if percent or (row.subject, name["name"]) in rates:
                with self.telling_at(row, name="percent"):
                    prices.set_tax_rate(
                        name=name["name"],
                        jurisdiction=name["jurisdiction"],
                        goods=row.subject,
                        percent=percent,
                        valid_from=day,
                    )
        return _("The tax rates are saved. Check them with your tax office or bookkeeper.")
