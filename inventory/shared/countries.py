"""Countries by their two letters of ISO 3166-1, as pycountry keeps them (Debian's iso-codes)."""

import gettext
from functools import cache

from django.core.exceptions import ValidationError
from django.utils.translation import get_language
from django.utils.translation import gettext as _


@cache
def _names(language: str) -> dict[str, str]:
    """Return the usual name of every country in a language, by its two letters."""
    # Read when a country is first named: starting does without the list.
    import pycountry

    words = gettext.translation(
        "iso3166-1", pycountry.LOCALES_DIR, languages=[language], fallback=True
    )
    return {
        country.alpha_2: words.gettext(getattr(country, "common_name", country.name))
        for country in pycountry.countries
    }


def name_of(code: str) -> str:
    """Return a country's name in the reader's language: ES → "Spain"; "unknown" for none."""
    if not code:
        return _("unknown")
    return _names(get_language() or "en").get(code, code)


def choices() -> list[tuple[str, str]]:
    """Return every country by name, for a form, with an empty first line."""
    names = _names(get_language() or "en")
    return [("", "–"), *sorted(names.items(), key=lambda pair: pair[1])]


def check_country(code: str) -> None:
    """Refuse what is no country of ISO 3166-1; for models."""
    if not is_country(code):
        raise ValidationError(
            _("Enter a country by its two letters, for example ES."), code="country"
        )


def is_country(code: str) -> bool:
    """Tell whether two letters are a country of ISO 3166-1."""
    return code in _names("en")
