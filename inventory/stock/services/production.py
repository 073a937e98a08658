"""How this house works: the figures that go into every run."""

from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.shared import checks, words
from inventory.shared.errors import Problems
from inventory.stock import lot_codes
from inventory.stock.models import Posting, ProductionSettings

# 1,000 an hour: a slip of the finger, in any currency of a honey house.
LABOUR_CENTS_MAX = 100_000
# Honey below 15 °C hardly runs; above 60 °C it is spoiled.
FILLING_CELSIUS = (Decimal(15), Decimal(60))
# At about 14 °C creamed honey sets in 7 to 14 days (common practice).
USUAL_SETTING_DAYS = 10
SETTING_DAYS_MAX = 365
# Below 25 °C nothing is warmed; honey that gets 60 °C is spoiled.
WARMING_LIMIT_CELSIUS = (Decimal(25), Decimal(60))


@transaction.atomic
def change(
    *,
    labour_cents_per_hour: int,
    honey_house_celsius: Decimal,
    cost_method: str,
    lot_code_pattern: str = lot_codes.USUAL_PATTERN,
    setting_days: int = USUAL_SETTING_DAYS,
    warming_limit_celsius: Decimal | None = None,
) -> ProductionSettings:
    """Set what an hour costs, how warm honey is filled, how sales are costed and jars are coded.

    `setting_days` is how long creamed honey sets before it is sold. `warming_limit_celsius` is how
    warm honey may get before the house wants a confirmation; without it the limit stays.
    Runs recorded before keep the figures of their day. The way of costing is chosen once: after
    the first sale it stays. Raises `BadValue`.
    """
    problems = Problems()
    if not 0 <= labour_cents_per_hour <= LABOUR_CENTS_MAX:
        problems.add(
            "labour_cents_per_hour",
            _("Enter what an hour of work costs, from 0 to %(most)s.")
            % {"most": words.number(LABOUR_CENTS_MAX // 100)},
        )
    low, high = FILLING_CELSIUS
    if not low <= honey_house_celsius <= high:
        problems.add(
            "honey_house_celsius",
            _("Enter a filling temperature between 59 °F (15 °C) and 140 °F (60 °C)."),
        )
    settings = ProductionSettings.current()
    if cost_method not in ProductionSettings.CostMethod.values:
        problems.add("cost_method", _("Choose how to work out the cost of what is sold."))
    elif cost_method != settings.cost_method and _is_anything_sold():
        # Margins of one year could not be set beside those of another.
        problems.add(
            "cost_method",
            _(
                "The cost of past sales was worked out by %(method)s. This can't be "
                "changed after the first sale."
            )
            % {"method": settings.get_cost_method_display()},
        )
    if not 0 <= setting_days <= SETTING_DAYS_MAX:
        problems.add("setting_days", _("Enter how many days it sets, from 0 to 365."))
    low, high = WARMING_LIMIT_CELSIUS
    if warming_limit_celsius is not None:
        if not low <= warming_limit_celsius <= high:
            problems.add(
                "warming_limit_celsius",
                _("Enter a limit between %(low)s and %(high)s.")
                % {"low": words.temperature(low), "high": words.temperature(high)},
            )
        settings.warming_limit_celsius = warming_limit_celsius
    lot_codes.check_pattern(problems, "lot_code_pattern", lot_code_pattern.strip())
    problems.raise_any()
    settings.lot_code_pattern = lot_code_pattern.strip()
    settings.setting_days = setting_days
    settings.labour_cents_per_hour = labour_cents_per_hour
    settings.honey_house_celsius = honey_house_celsius
    settings.cost_method = cost_method
    checks.save_checked(settings)
    return settings


def _is_anything_sold() -> bool:
    return Posting.objects.filter(kind=Posting.Kind.SALE).exists()
