"""The figures of the worked examples: the house's own where there are some, else invented ones."""

from apiary_sales.web.help.figures import (
    bottling,
    costs,
    earnings,
    honey,
    reported,
    season,
    selling,
)
from apiary_sales.web.help.figures.example import Example
from apiary_sales.web.help.figures.tried_price import TriedPriceExample

EXAMPLES: dict[str, type[Example]] = {
    "weight-from-a-dip": honey.DipExample,
    "honey-density": honey.DensityExample,
    "moisture-of-a-blend": honey.BlendMoistureExample,
    "colour-of-a-blend": honey.BlendColourExample,
    "cost-of-honey": costs.HoneyCostExample,
    "cost-of-a-jar": costs.JarCostExample,
    "net-back": costs.NetBackExample,
    "earnings": earnings.EarningsExample,
    "margin": costs.MarginExample,
    "margin-after-selling": reported.RemainsExample,
    "money-by-month": reported.MonthOfMoneyExample,
    "yield-of-a-run": bottling.YieldExample,
    "fill-check-limits": bottling.FillCheckExample,
    "free-stock": selling.FreeStockExample,
    "what-is-owed": selling.OwedExample,
    "tax-of-an-invoice": selling.TaxExample,
    "deposit-on-drums": selling.DepositExample,
    "cash-of-a-stand-day": selling.StandCashExample,
    "forecast": selling.ForecastExample,
    "try-a-price": TriedPriceExample,
    "sold-out": season.SoldOutExample,
}


def of(slug: str, *, may_see: bool) -> Example:
    """Return the example of a number; the house's own figures only for who may see them."""
    example = EXAMPLES[slug]
    own = example.from_the_house() if may_see else None
    return own or example.invented()
