"""What selling refuses, beside the errors of the whole house.

NotAllowedNow                  (inventory.shared.errors)
├── QuoteExpired               the day the quote was good until is past
└── OverCreditLimit            the customer would owe more than was agreed
"""

from inventory.shared.errors import NotAllowedNow


class QuoteExpired(NotAllowedNow):
    """The day the quote was good until is past; quote again at today's price."""

    code = "quote_expired"


class OverCreditLimit(NotAllowedNow):
    """The customer would owe more than their limit; take it only when somebody says so."""

    code = "over_credit_limit"
