"""Numbers of bank accounts: IBAN (ISO 13616), or as the bank writes them; and BIC (ISO 9362)."""

import re

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

# Two letters of the country and two check digits begin an IBAN.
_IBAN = re.compile(r"[A-Z]{2}\d{2}[A-Z0-9]{8,30}")
_BIC = re.compile(r"[A-Z]{6}[A-Z0-9]{2}([A-Z0-9]{3})?")


def plain(account: str) -> str:
    """Return the number of an account without the spaces it is written with."""
    return "".join(account.split()).upper()


def is_iban(account: str) -> bool:
    """Tell whether a number is an IBAN with the right check digits (ISO 7064, mod 97-10)."""
    number = plain(account)
    if not _IBAN.fullmatch(number):
        return False
    digits = "".join(str(int(letter, 36)) for letter in number[4:] + number[:4])
    return int(digits) % 97 == 1


def check_bank_account(account: str) -> None:
    """Refuse what looks like an IBAN and is none; for models."""
    if re.match(r"[A-Z]{2}\d{2}", plain(account)) and not is_iban(account):
        raise ValidationError(
            _("This IBAN has a wrong letter or digit. Compare it with your bank statement."),
            code="bank_account",
        )


def check_bank_code(code: str) -> None:
    """Refuse what is no BIC; for models."""
    if not _BIC.fullmatch(code):
        raise ValidationError(
            _("Enter the BIC of the bank, 8 or 11 letters and digits, or leave it empty."),
            code="bank_code",
        )
