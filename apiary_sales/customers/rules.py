"""What an invoice with data for the buyer's program must say of seller and buyer.

EN 16931 wants the names (BR-06, BR-07) and countries (BR-09, BR-11) of both, and a number by which
the seller can be found (BR-CO-26).
"""

from collections.abc import Mapping

from django.utils.translation import gettext as _

from inventory.shared import countries

# Greece and Northern Ireland write other letters before their tax numbers than ISO 3166 has.
OTHER_PREFIXES = ("EL", "XI")


def is_vat_number(number: str) -> bool:
    """Tell whether a tax number is one for value added tax: with the letters of its country."""
    number = plain_number(number)
    prefix, rest = number[:2], number[2:]
    has_country = prefix in OTHER_PREFIXES or countries.is_country(prefix)
    return has_country and rest.isalnum() and any(letter.isdigit() for letter in rest)


def plain_number(number: str) -> str:
    """Return a tax number without spaces, dots and hyphens, in capitals: "DE 123-4" → "DE1234"."""
    return "".join(letter for letter in number if letter.isalnum()).upper()


def missing_for_data(seller: Mapping[str, str], buyer: Mapping[str, str]) -> list[str]:
    """Return, in a sentence each, what is to be entered before an invoice can have data."""
    missing = []
    if not seller.get("country_code"):
        missing.append(
            _("The code of your country is missing. Choose the country in the business details.")
        )
    if not seller.get("tax_number"):
        missing.append(_("Your tax number is missing. Enter it in the business details."))
    if not buyer.get("country_code"):
        missing.append(
            _("The code of the buyer's country is missing. Choose the country at the customer.")
        )
    return missing
