"""Spanish numbers with the house's decimal sign, as on its scales, labels and receipts."""

from apiary_sales.formats import of_the_house

__getattr__ = of_the_house

# One way of writing a day everywhere: 26 nov 2026.
DATE_FORMAT = SHORT_DATE_FORMAT = "j b Y"
TIME_FORMAT = "H:i"
DATETIME_FORMAT = SHORT_DATETIME_FORMAT = "j b Y, H:i"
YEAR_MONTH_FORMAT = r"F \d\e Y"
