"""What selling refuses, beside the errors of the whole house.

NotAllowedNow                  (inventory.errors)
└── QuoteExpired               the day the quote was good until is past
"""

from inventory.errors import NotAllowedNow


class QuoteExpired(NotAllowedNow):
    """The day the quote was good until is past; quote again at today's price."""

    code = "quote_expired"
