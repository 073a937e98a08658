"""Spanish numbers with the house's decimal sign, as on its scales, labels and receipts."""

from django.conf import settings

DECIMAL_SEPARATOR = settings.DECIMAL_SEPARATOR
THOUSAND_SEPARATOR = settings.THOUSAND_SEPARATOR
NUMBER_GROUPING = settings.NUMBER_GROUPING

# One way of writing a day everywhere: 26 nov 2026.
DATE_FORMAT = SHORT_DATE_FORMAT = "j b Y"
TIME_FORMAT = "H:i"
DATETIME_FORMAT = SHORT_DATETIME_FORMAT = "j b Y, H:i"
YEAR_MONTH_FORMAT = r"F \d\e Y"
