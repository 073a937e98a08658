"""What libraries find wrong is told in the house's own words, whichever form or model it is in.

The words are in `apiary_sales/locale_libraries`, by the libraries' own msgids.
"""

import gettext
import inspect
from collections.abc import Iterator, Mapping
from pathlib import Path

import django
import pytest
import rest_framework
from django import forms
from django.contrib.auth.validators import UnicodeUsernameValidator
from django.utils import translation

import apiary_sales
from apiary_sales.api.views import ApiActView
from inventory.shared.checks import save_checked
from inventory.shared.errors import BadValue
from inventory.shared.forms.acts import FILL_THIS_IN, HouseForm
from inventory.stock.models import Place
from tests.inventory.house_forms import all_of_them, below


class Asked(HouseForm):
    name = forms.CharField(max_length=5)
    code = forms.SlugField(required=False)
    user = forms.CharField(required=False, validators=[UnicodeUsernameValidator()])
    way = forms.ChoiceField(choices=[("cash", "Cash")])
    count = forms.IntegerField(required=False, min_value=0, max_value=9)
    figure = forms.DecimalField(required=False, max_digits=4, decimal_places=2)
    day = forms.DateField(required=False)
    email = forms.EmailField(required=False)
    own = forms.CharField(required=False, max_length=1, error_messages={"max_length": "Shorter!"})


RIGHT = {"name": "Maren", "way": "cash"}


@pytest.mark.parametrize(
    ("field", "typed", "sentence"),
    [
        ("name", "", "Fill this in."),
        ("name", "Maren Holt", "Enter at most 5 characters. You entered 10."),
        ("code", "tank 1", "Use only letters without accents, digits, hyphens and underscores."),
        ("user", "a b", "Use only letters, digits and the signs @ . + - _, without spaces."),
        ("way", "", "Choose one from the list."),
        ("way", "barter", "Choose one from the list."),
        ("count", "1.5", "Enter a whole number."),
        ("count", "-1", "Enter 0 or more."),
        ("count", "10", "Enter 9 or less."),
        ("figure", "ten", "Enter a figure, for example 12.5."),
        ("figure", "nan", "Enter a figure, for example 12.5."),
        ("figure", "1.234", "Enter at most 2 decimals."),
        ("figure", "123.4", "That is far too much. Check the figure."),
        ("day", "soon", "Enter a day, for example 2026-07-31."),
        ("email", "maren", "Enter an email address, for example office@example.com."),
        ("own", "ab", "Shorter!"),
    ],
)
@pytest.mark.parametrize("language", ["en-us", "en", "en-gb"])
def test_a_field_says_what_to_do(field, typed, sentence, language):
    with translation.override(language):
        form = Asked({**RIGHT, field: typed})

        assert form.errors == {field: [sentence]}


@pytest.mark.parametrize(
    ("field", "typed", "sentence"),
    [
        ("name", "", "Llene este campo."),
        ("name", "Maren Holt", "Escriba como máximo 5 caracteres. Escribió 10."),
        ("way", "", "Elija uno de la lista."),
        ("way", "barter", "Elija uno de la lista."),
        ("figure", "1.234", "Anote como máximo 2 decimales."),
        ("count", "10", "Escriba 9 o menos."),
    ],
)
def test_spanish_keeps_the_words_of_the_house(field, typed, sentence):
    with translation.override("es"):
        form = Asked({**RIGHT, field: typed})

        assert form.errors == {field: [sentence]}


def test_a_form_may_be_told_a_plain_sentence():
    form = Asked(RIGHT)

    form.add_error("name", "Somebody has this name.")
    form.add_error(None, ["One thing.", "Another thing."])

    assert form.errors == {
        "name": ["Somebody has this name."],
        "__all__": ["One thing.", "Another thing."],
    }


def test_what_a_model_finds_wrong_is_told_in_the_same_words(db):
    Place.objects.create(code="tank-1", name="Tank 1", kind=Place.Kind.TANK)

    told = {}
    for name, place in {
        "taken": Place(code="tank-1", name="Tank 2", kind=Place.Kind.TANK),
        "empty": Place(code="tank-2", name="", kind=Place.Kind.TANK),
        "kind": Place(code="tank-3", name="Tank 3", kind="barrel"),
    }.items():
        with pytest.raises(BadValue) as refused:
            save_checked(place)
        told[name] = (refused.value.parameter, refused.value.message)

    assert told == {
        "taken": ("code", "This is taken already. Choose another."),
        "empty": ("name", "Fill this in."),
        "kind": ("kind", "Choose one from the list."),
    }
    assert Place.objects.filter(kind=Place.Kind.TANK).count() == 1


OURS = Path(apiary_sales.__file__).parent / "locale_libraries"
LIBRARIES = [
    Path(django.__file__).parent / "conf" / "locale",
    Path(django.__file__).parent / "contrib" / "auth" / "locale",
    Path(rest_framework.__file__).parent / "locale",
]
# What no page brings about: the browser sends neither.
LEFT_AS_THEY_ARE = {
    "Null characters are not allowed.",
    "Surrogate characters are not allowed: U+{code_point:X}.",
}


class Ones(dict):
    """What fills the holes of a message, so that a plural is told in its first form."""

    def __missing__(self, name: str) -> int:
        return 1


def filled(message: object) -> str:
    try:
        return str(message % Ones())
    except (TypeError, ValueError):
        return str(message)


def msgids_of(catalogue: Path, language: str) -> set[str]:
    """Return the sentences that a catalogue has, plurals by their first form, holes filled."""
    with (catalogue / language / "LC_MESSAGES" / "django.mo").open("rb") as file:
        found = gettext.GNUTranslations(file)._catalog
    return {filled(msgid if isinstance(msgid, str) else msgid[0]) for msgid in found}


@pytest.fixture(scope="module")
def house_forms() -> list[type[forms.BaseForm]]:
    found = all_of_them()
    assert len(found) > 50
    return found


def messages_of(field) -> Iterator[object]:
    """Yield all that a field of a form or of the API may find wrong."""
    yield from field.error_messages.values()
    for validator in getattr(field, "validators", ()):
        if hasattr(validator, "message"):
            yield validator.message
        # A function of the house says it in the house's words.
        elif not inspect.isfunction(validator):
            yield from validator.messages.values()
    inner = getattr(field, "fields", ())
    for part in inner.values() if isinstance(inner, Mapping) else inner:
        yield from messages_of(part)
    if hasattr(field, "child"):
        yield from messages_of(field.child)


def untold(messages: list[object], language: str) -> set[str]:
    """Return what would be told in a library's words, for lack of the house's own."""
    with translation.override(None):
        raw = {filled(message) for message in messages}
    of_libraries = set().union(*(msgids_of(library, "es") for library in LIBRARIES))
    return (raw & of_libraries) - msgids_of(OURS, language) - LEFT_AS_THEY_ARE


@pytest.mark.parametrize("language", ["en", "es"])
def test_no_form_of_the_house_speaks_as_its_library(house_forms, language):
    messages = [
        message
        for form in house_forms
        for field in form.base_fields.values()
        for message in messages_of(field)
    ]

    assert len(messages) > 100
    assert untold(messages, language) == set()


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_api_speaks_in_the_same_words(language):
    messages = [
        message
        for act in below(ApiActView)
        # What several acts share is no act of its own.
        if hasattr(act, "post") or hasattr(act, "put")
        for message in messages_of(act.serializer_class())
    ]

    assert len(messages) > 20
    assert untold(messages, language) == set()


def test_every_form_asks_to_choose_where_there_is_a_choice(house_forms):
    asked_to_fill_in = [
        f"{form.__qualname__}.{name}"
        for form in house_forms
        if not issubclass(form, HouseForm)
        for name, field in form.base_fields.items()
        if isinstance(field, forms.ChoiceField) and field.required
        if field.error_messages["required"] == FILL_THIS_IN
    ]

    assert asked_to_fill_in == []


def test_both_languages_say_the_same():
    assert msgids_of(OURS, "en") == msgids_of(OURS, "es")
