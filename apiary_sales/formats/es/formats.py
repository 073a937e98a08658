"""Spanish numbers with the house's decimal sign, as on its scales, labels and receipts."""

from django.conf import settings

DECIMAL_SEPARATOR = settings.DECIMAL_SEPARATOR
THOUSAND_SEPARATOR = settings.THOUSAND_SEPARATOR
NUMBER_GROUPING = settings.NUMBER_GROUPING
