"""How numbers and days are written: the days by language, the numbers as the house does.

Django looks for these names in a module for each language, and keeps what it found until
`inventory.shared.conventions` finds others.
"""

from inventory.shared import conventions


def of_the_house(name: str) -> object:
    """Return a format that is the house's own in every language; raises AttributeError."""
    if name == "DECIMAL_SEPARATOR":
        return conventions.current().decimal_sign
    if name == "THOUSAND_SEPARATOR":
        return conventions.current().thousands_sign
    if name == "FIRST_DAY_OF_WEEK":
        return conventions.current().first_weekday
    raise AttributeError(name)
