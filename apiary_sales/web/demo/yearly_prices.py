"""Prices of the demo by years: what they are this year, and what they were before."""

from datetime import date
from decimal import ROUND_HALF_UP, Decimal

from apiary_sales.web.demo.fixtures import read


def rising(price: str, today: date) -> list[tuple[date, int]]:
    """Return from which day on a price was how many cents, up to the one of this year."""
    rule = read("seasons_money")["prices"]
    percents, step = rule["percent_by_years_ago"], Decimal(rule["step"])
    found = []
    for ago in reversed(range(len(percents))):
        before = Decimal(price) * percents[ago] / 100
        steps = (before / step).quantize(Decimal(1), ROUND_HALF_UP)
        cents = int((Decimal(price) if ago == 0 else steps * step) * 100)
        found.append((date(today.year - ago, 1, 1), cents))
    return found
