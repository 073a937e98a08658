# Spanish as read in the Americas: 1,234.5, as on the scale, the label and the receipt beside it.
# With Spain's 1.234,5 a price typed as 2.45 would count as 245.
DECIMAL_SEPARATOR = "."
THOUSAND_SEPARATOR = ","
NUMBER_GROUPING = 3

# One way of writing a day everywhere: 26 nov 2026.
DATE_FORMAT = SHORT_DATE_FORMAT = "j M Y"
TIME_FORMAT = "H:i"
DATETIME_FORMAT = SHORT_DATETIME_FORMAT = "j M Y, H:i"
YEAR_MONTH_FORMAT = "F Y"
