"""The house's own words for what Django finds wrong, in one place.

Django names a rule; these sentences name what to do. A message that a field or a service gives of
its own is left as it is.
"""

from django import forms
from django.contrib.auth.validators import UnicodeUsernameValidator
from django.core import validators
from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext_lazy as _

FILL_IN = _("Fill this in.")
CHOOSE = _("Choose one of the list.")
WHOLE_NUMBER = _("Enter a whole number.")
FIGURE = _("Enter a figure, for example 12.5.")
TAKEN = _("This is taken already. Choose another.")

_DIGITS = validators.DecimalValidator.messages
# Each of Django's messages is one object wherever it turns up, and is known by that.
_PLAIN = [
    (forms.Field.default_error_messages["required"], FILL_IN),
    (models.Field.default_error_messages["blank"], FILL_IN),
    (models.Field.default_error_messages["null"], FILL_IN),
    (forms.ChoiceField.default_error_messages["invalid_choice"], CHOOSE),
    (forms.ModelChoiceField.default_error_messages["invalid_choice"], CHOOSE),
    (models.Field.default_error_messages["invalid_choice"], CHOOSE),
    (forms.IntegerField.default_error_messages["invalid"], WHOLE_NUMBER),
    (forms.DecimalField.default_error_messages["invalid"], FIGURE),
    (_DIGITS["invalid"], FIGURE),
    (_DIGITS["max_digits"], _("That has too many digits. Check the figure.")),
    (_DIGITS["max_whole_digits"], _("That is far too much. Check the figure.")),
    (_DIGITS["max_decimal_places"], _("Enter at most %(max)s decimals.")),
    (validators.MinValueValidator.message, _("Enter %(limit_value)s or more.")),
    (validators.MaxValueValidator.message, _("Enter %(limit_value)s or less.")),
    (
        validators.MaxLengthValidator.message,
        _("Write at most %(limit_value)s characters; these are %(show_value)s."),
    ),
    (
        forms.DateField.default_error_messages["invalid"],
        _("Enter a day, for example 2026-07-31."),
    ),
    (
        validators.EmailValidator.message,
        _("Enter an email address, for example office@example.com."),
    ),
    (
        validators.validate_slug.message,
        _("Use only letters without accents, digits, hyphens and underscores."),
    ),
    (
        UnicodeUsernameValidator.message,
        _("Use only letters, digits and the signs @ . + - _, without spaces."),
    ),
]


def plain(error: ValidationError, field: forms.Field | None = None) -> ValidationError:
    """Put the house's own words where an error speaks Django's, and return it."""
    if hasattr(error, "error_dict"):
        for inner in error.error_dict.values():
            _put_plain(inner, field)
    else:
        _put_plain(error.error_list, field)
    return error


def _put_plain(errors: list[ValidationError], field: forms.Field | None) -> None:
    for error in errors:
        ours = next((ours for djangos, ours in _PLAIN if error.message is djangos), None)
        if ours is FILL_IN and isinstance(field, forms.ChoiceField):
            ours = CHOOSE
        # A model's field may say in words of its own that a value is taken: Django's user does.
        if error.code == "unique":
            ours = TAKEN
        if ours is not None:
            error.message = ours
