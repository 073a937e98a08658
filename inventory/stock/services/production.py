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
# Honey below 15 % hardly runs; above 25 % not even heather or baker's honey may be (Directive
# 2001/110/EC, annex II).
MOISTURE_LIMIT_PERCENT = (Decimal(15), Decimal(25))
# A source with half of the honey is always named.
NAMED_SOURCE_MAX = Decimal(50)
# At about 14 °C creamed honey sets in 7 to 14 days (common practice).
USUAL_SETTING_DAYS = 10
SETTING_DAYS_MAX = 365
# Below 25 °C nothing is warmed; honey that gets 60 °C is spoiled.
WARMING_LIMIT_CELSIUS = (Decimal(25), Decimal(60))
# A stick marked in millimetres, and one marked in inches.
STICK_MARK_MM = (Decimal(1), Decimal("25.4"))


@transaction.atomic
def change(
    *,
    labour_cents_per_hour: int,
    honey_house_celsius: Decimal,
    cost_method: str,
    lot_code_pattern: str = lot_codes.USUAL_PATTERN,
    setting_days: int = USUAL_SETTING_DAYS,
    moisture_limit_percent: Decimal | None = None,
    named_source_percent: Decimal | None = None,
    warming_limit_celsius: Decimal | None = None,
    stick_mark_mm: Decimal | None = None,
) -> ProductionSettings:
    """Set what an hour costs, how warm honey is filled, how sales are costed and jars are coded.

    `setting_days` is how long creamed honey sets before it is sold, `moisture_limit_percent` the
    most moisture of honey that is bottled and sold without being told to, `named_source_percent`
    the least share of a source that a blend is called after, `warming_limit_celsius` how warm
    honey may get before the house wants a confirmation, `stick_mark_mm` the finest mark of the dip
    stick; None leaves these four as they are.
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
    low, high = MOISTURE_LIMIT_PERCENT
    if moisture_limit_percent is not None and not low <= moisture_limit_percent <= high:
        problems.add(
            "moisture_limit_percent",
            _("Enter a limit of moisture from %(low)s to %(high)s percent.")
            % {"low": low, "high": high},
        )
    if named_source_percent is not None and not 0 <= named_source_percent <= NAMED_SOURCE_MAX:
        problems.add(
            "named_source_percent",
            _("Enter the least share that is named, from 0 to %(most)s percent.")
            % {"most": NAMED_SOURCE_MAX},
        )
    low, high = WARMING_LIMIT_CELSIUS
    if warming_limit_celsius is not None:
        if not low <= warming_limit_celsius <= high:
            problems.add(
                "warming_limit_celsius",
                _("Enter a limit between %(low)s and %(high)s.")
                % {"low": words.temperature(low), "high": words.temperature(high)},
            )
        settings.warming_limit_celsius = warming_limit_celsius
    stick_mark_mm = settings.stick_mark_mm if stick_mark_mm is None else stick_mark_mm
    finest, coarsest = STICK_MARK_MM
    if not finest <= stick_mark_mm <= coarsest:
        problems.add(
            "stick_mark_mm", _("Enter the finest mark of the stick, from 1 mm to 1 in (25.4 mm).")
        )
    lot_codes.check_pattern(problems, "lot_code_pattern", lot_code_pattern.strip())
    problems.raise_any()
    if moisture_limit_percent is not None:
        settings.moisture_limit_percent = moisture_limit_percent
    if named_source_percent is not None:
        settings.named_source_percent = named_source_percent
    settings.lot_code_pattern = lot_code_pattern.strip()
    settings.setting_days = setting_days
    settings.stick_mark_mm = stick_mark_mm
    settings.labour_cents_per_hour = labour_cents_per_hour
    settings.honey_house_celsius = honey_house_celsius
    settings.cost_method = cost_method
    checks.save_checked(settings)
    return settings


def _is_anything_sold() -> bool:
    return Posting.objects.filter(kind=Posting.Kind.SALE).exists()
