"""English numbers with the house's decimal sign, as on its scales, labels and receipts."""

from apiary_sales.formats import of_the_house

__getattr__ = of_the_house

# One way of writing a day everywhere, which nobody reads as another one: Nov 26, 2026.
DATE_FORMAT = SHORT_DATE_FORMAT = "M j, Y"
TIME_FORMAT = "g:i a"
DATETIME_FORMAT = SHORT_DATETIME_FORMAT = "M j, Y, g:i a"
YEAR_MONTH_FORMAT = "F Y"
