"""What Django finds wrong is told in the house's own words, whichever form or model it is in."""

import importlib
import pkgutil

import pytest
from django import forms
from django.contrib.auth.validators import UnicodeUsernameValidator

import apiary_sales
import inventory
from inventory.shared.checks import save_checked
from inventory.shared.errors import BadValue
from inventory.shared.forms.acts import HouseForm, PlainWords
from inventory.stock.models import Place


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
        ("name", "Maren Holt", "Write at most 5 characters; these are 10."),
        ("code", "tank 1", "Use only letters without accents, digits, hyphens and underscores."),
        ("user", "a b", "Use only letters, digits and the signs @ . + - _, without spaces."),
        ("way", "", "Choose one of the list."),
        ("way", "barter", "Choose one of the list."),
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
def test_a_field_says_what_to_do(field, typed, sentence):
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
        told[name] = (refused.value.field, refused.value.message)

    assert told == {
        "taken": ("code", "This is taken already. Choose another."),
        "empty": ("name", "Fill this in."),
        "kind": ("kind", "Choose one of the list."),
    }
    assert Place.objects.filter(kind=Place.Kind.TANK).count() == 1


def test_every_form_of_the_house_speaks_plainly():
    for package in (apiary_sales, inventory):
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            if ".forms" in module.name or module.name.endswith(".filters"):
                importlib.import_module(module.name)

    def below(kind):
        for made in kind.__subclasses__():
            yield made
            yield from below(made)

    houses = [
        made
        for made in below(forms.BaseForm)
        if made.__module__.split(".")[0] in ("apiary_sales", "inventory")
        and not made.__module__.endswith(".admin")
    ]
    assert len(houses) > 50
    assert [made.__qualname__ for made in houses if not issubclass(made, PlainWords)] == []
