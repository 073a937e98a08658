"""Every form asks for numbers, money, quantities, days and times by one kind of field each.

So each reads what is typed by one rule, with the house's decimal sign.
"""

import ast
import json
import os
import subprocess
import sys
from decimal import Decimal
from pathlib import Path

import pytest
from django import forms
from django.conf import settings
from django.urls import reverse
from django.utils import translation

from apiary_sales.orders.forms.quotes import PickForm
from apiary_sales.pricing.forms.prices import BulkPriceForm, ChangeForm, TaxRateForm
from inventory.bottling import forms as bottling
from inventory.bottling.models import BottlingRun
from inventory.shared import words
from inventory.shared.forms import fields
from inventory.stock.forms.places import DrumsForm, PlaceForm
from tests import builders
from tests.inventory.house_forms import all_of_them

OURS = (fields.NumberField, fields.QuantityField, fields.DayField, fields.TimeOfDayField)
# What Django has for numbers and days, and the inputs by which the browser would read them itself.
DJANGOS = (
    *(forms.IntegerField, forms.DateField, forms.DateTimeField, forms.TimeField),
    *(forms.DurationField, forms.SplitDateTimeField),
)
INPUTS = (forms.NumberInput, forms.DateTimeInput, forms.TimeInput, forms.SelectDateWidget)
CASES = json.loads(
    (Path(__file__).parent / "shared" / "typed_cases.json").read_text(encoding="utf-8")
)


def strays(form: type[forms.BaseForm]) -> list[str]:
    return [
        f"{form.__qualname__}.{name}"
        for name, field in form.base_fields.items()
        if (isinstance(field, DJANGOS) and not isinstance(field, OURS))
        or (isinstance(field.widget, INPUTS) and not isinstance(field, fields.TimeOfDayField))
        or (isinstance(field.widget, forms.DateInput) and not isinstance(field, fields.DayField))
    ]


def test_every_figure_and_day_of_a_form_is_one_of_the_five_kinds():
    found = all_of_them()

    assert len(found) > 50
    assert [name for form in found for name in strays(form)] == []


def test_no_form_lists_a_field_of_its_model_twice():
    listed = {form: getattr(getattr(form, "_meta", None), "fields", None) for form in all_of_them()}

    twice = [form for form, names in listed.items() if len(names or ()) != len(set(names or ()))]
    assert twice == []


def test_the_walk_finds_a_field_of_another_kind():
    class Stray(forms.Form):
        pieces = forms.IntegerField()
        price = forms.DecimalField()
        day = forms.DateField()
        weight = fields.WeightField()

    assert strays(Stray) == [f"{Stray.__qualname__}.{name}" for name in ("pieces", "price", "day")]


def test_fields_that_a_form_adds_by_itself_are_of_the_five_kinds_too():
    """Such fields are in no class, so the source is read for Django's own kinds."""
    names = {kind.__name__ for kind in (*DJANGOS, *INPUTS, forms.DecimalField, forms.FloatField)}
    base = Path(settings.BASE_DIR)
    found = []
    for folder in ("apiary_sales", "inventory"):
        for path in sorted((base / folder).rglob("*.py")):
            if path == Path(fields.__file__) or "migrations" in path.parts:
                continue
            # Programs write numbers in one way, whatever the house.
            if path == base / "apiary_sales" / "api" / "lists.py":
                continue
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Attribute) and ast.unparse(node.value) == "forms":
                    found += [f"{path}: {node.attr}"] if node.attr in names else []
                if isinstance(node, ast.ImportFrom) and node.module == "django.forms":
                    found += [f"{path}: {each.name}" for each in node.names if each.name in names]

    assert found == []


# ------------------------------------------------------------- the table, typed into real forms

HOUSES = [("point", "."), ("comma", ",")]


@pytest.fixture(params=["point", "comma"])
def house(request):
    """Return "point" or "comma", in a house with that decimal sign."""
    if request.param == "comma":
        request.getfixturevalue("comma_house")
    return request.param


def typed_in(form, name: str, text: str, unit: str = "") -> object:
    """Return what a field makes of a text, or {"refused": code}."""
    form = form({name: text, f"{name}_unit": unit})
    form.is_valid()
    if name in form.errors:
        return {"refused": form.errors.as_data()[name][0].code}
    return form.cleaned_data[name]


@pytest.mark.parametrize(
    "text", ["12.5", "12,5", "0.250", "0,250", "1.25", "1,25", "12 1/2", "1 25", "1,2,3", "$12"]
)
def test_a_number_is_read_as_the_table_says(house, text):
    expected = next(case[house] for case in CASES["numbers"] if case["typed"] == text)
    if not isinstance(expected, dict):
        expected = Decimal(expected)

    assert typed_in(TaxRateForm, "percent", text) == expected


@pytest.mark.parametrize(
    ("form", "name", "rest"),
    [
        (PickForm, "amount", lambda number: number),
        (bottling.ProductionForm, "labour", lambda number: int(number * 100)),
    ],
)
@pytest.mark.parametrize("text", ["1,250", "1.250", "0,250", "1 250", "1,000.5", "1.250,5"])
def test_a_thousand_is_never_read_as_one(house, form, name, rest, text):
    expected = next(case[house] for case in CASES["numbers"] if case["typed"] == text)
    if isinstance(expected, dict):
        assert typed_in(form, name, text) == expected
    elif len(expected.partition(".")[2]) > 2:
        # One and a quarter with three decimals is no amount of money, and no thousand either.
        assert typed_in(form, name, text) == {"refused": "max_decimal_places"}
    else:
        assert typed_in(form, name, text) == rest(Decimal(expected))


QUANTITIES = [
    (case["typed"], case["kind"], case["unit"], case)
    for case in CASES["quantities"]
    if isinstance(case["point"], str)
    and Decimal(case["point"]) < 10**8
    and any(letter.isalpha() for letter in case["typed"])
]
FIELD_OF_KIND = {
    "weight": (DrumsForm, "tare", round),
    "volume": (DrumsForm, "capacity", lambda litres: litres.quantize(Decimal("0.001"))),
    "length": (PlaceForm, "diameter", round),
}


@pytest.mark.parametrize(("text", "kind", "unit", "case"), QUANTITIES)
def test_a_typed_unit_goes_before_the_one_chosen_beside_it(house, text, kind, unit, case):
    form, name, rest = FIELD_OF_KIND[kind]
    expected = case[house]
    if not isinstance(expected, dict):
        expected = rest(Decimal(expected))

    # The unit beside is one of the field's own, and matters only to a figure without one.
    offered = [code for code, _label in form.base_fields[name].units]
    beside = unit if unit in offered else offered[0]

    assert typed_in(form, name, text, beside) == expected


@pytest.mark.parametrize(
    ("text", "beside", "kept"),
    [
        ("1 lb 6.4 oz", "g", (Decimal("1.4"), "lb")),
        ("12 oz", "lb", (Decimal(12), "oz")),
        ("340", "g", (Decimal(340), "g")),
        ("2.20 lb", "kg", (Decimal("2.2"), "lb")),
    ],
)
def test_the_weight_on_a_label_is_kept_in_the_unit_that_was_typed(db, text, beside, kept):
    assert typed_in(bottling.SizeForm, "declared", text, beside) == kept


def test_a_capacity_is_typed_as_the_jar_says_it(db):
    # A US pint is 473.176473 ml.
    assert typed_in(bottling.SizeForm, "brimful", "1 pt", "mL") == Decimal("473.2")


@pytest.mark.parametrize(
    ("form", "name", "kind"),
    [
        (ChangeForm, "percent", "number"),
        (bottling.ProductionForm, "labour", "number"),
        (DrumsForm, "count", "number"),
        (DrumsForm, "tare", "weight"),
        (DrumsForm, "capacity", "volume"),
        (PlaceForm, "diameter", "length"),
        (bottling.ProductionForm, "celsius", "number"),
    ],
)
def test_the_page_may_show_under_a_field_what_it_reads(form, name, kind):
    """The script looks for `data-typed`; what it shows is in tests/browser."""
    assert f'data-typed="{kind}"' in str(form()[name])


# ------------------------------------------------------------------------------ a comma house


@pytest.mark.parametrize("language", ["en", "es"])
def test_what_a_comma_house_writes_it_reads(comma_house, language):
    with translation.override(language):
        assert words.money(125_050) == "$1.250,50"
        assert words.weight(34_019) == "75,0 lb"
        for number in ("1250.5", "0.25", "57.2", "-3"):
            shown = fields.NumberField().prepare_value(Decimal(number))
            assert fields.NumberField().clean(shown) == Decimal(number)
        assert fields.MoneyField().clean(fields.MoneyField().prepare_value(125_050)) == 125_050


def test_a_form_shows_its_figures_with_the_houses_sign(comma_house):
    assert 'value="57,2"' in str(DrumsForm()["capacity"])
    assert 'value="18,6"' in str(BulkPriceForm()["moisture_percent_max"])
    assert typed_in(DrumsForm, "capacity", *DrumsForm()["capacity"].value()) == Decimal("216.526")


def test_a_comma_house_parts_weights_and_depths_by_semicolons(comma_house):
    form = bottling.FillCheckForm(
        {"weights": "450,2; 451,3\n449", "weighed": "net", "unit": "g"},
        run=BottlingRun(status=BottlingRun.Status.RECORDED),
    )
    place = PlaceForm({"points": "10; 125,5\n20; 1.250", "points_unit": "cm"})
    form.is_valid()
    place.is_valid()

    assert form.cleaned_data["weights"] == [Decimal("450.2"), Decimal("451.3"), Decimal(449)]
    assert place.cleaned_data["points"] == [(100, Decimal("125.5")), (200, Decimal(1250))]
    assert "semicolon" in str(form["weights"].help_text)
    assert "semicolon" in str(place["points"].help_text)


@pytest.mark.parametrize(
    ("typed", "is_day"),
    [
        ("0001-01-01", False),
        ("1899-12-31", False),
        ("1900-01-01", True),
        ("2200-12-31", True),
        ("2201-01-01", False),
        ("9999-12-31", False),
    ],
)
def test_a_day_has_others_before_and_after_it(typed, is_day):
    """Counting from the first or the last day that there are is a fault."""
    form = TaxRateForm({"valid_from": typed})

    said = form.errors.get("valid_from")

    assert said == (None if is_day else ["Choose a year from 1900 to 2200."])


def test_more_weights_than_a_sample_has_are_refused_before_they_are_read():
    form = bottling.FillCheckForm(
        {"weights": "450 " * 10_001, "weighed": "net", "unit": "g"},
        run=BottlingRun(status=BottlingRun.Status.RECORDED),
    )

    assert form.errors["weights"] == ["That is too much. Weigh 1,000 pieces at most."]


def test_a_depth_and_its_litres_are_never_parted_at_a_decimal_comma(comma_house):
    place = PlaceForm({"points": "10,125", "points_unit": "cm"})

    assert place.errors["points"] == [
        "Line 1: write a depth, a semicolon, and litres, for example 10; 125,5."
    ]


def test_the_page_tells_its_script_the_houses_sign(client, owner, comma_house):
    client.force_login(owner)

    assert 'data-decimal-sign=","' in client.get(reverse("inventory:honey")).text


def test_a_place_is_saved_untouched_in_a_comma_house(client, owner, comma_house):
    tank = builders.measured_tank("t", diameter_mm=1003, length_mm=1207, tare_grams=17_463)
    client.force_login(owner)
    address = reverse("inventory:place_edit", args=[tank.code])
    before = (tank.tare_grams, tank.capacity_litres)
    sent = {}
    for field in client.get(address).context["form"]:
        value = field.value()
        if isinstance(value, tuple):
            sent[field.name], sent[f"{field.name}_unit"] = value
        elif value is not None:
            sent[field.name] = value

    assert client.post(address, sent).status_code == 302
    tank.refresh_from_db()
    assert (tank.tare_grams, tank.capacity_litres) == before


START = (
    "import django; django.setup(); from inventory.shared import words; print(words.money(125_050))"
)


@pytest.mark.parametrize(("sign", "written"), [(".", "$1,250.50"), (",", "$1.250,50")])
@pytest.mark.parametrize("language", ["en-us", "es"])
def test_the_sign_comes_from_the_environment(tmp_path, sign, written, language):
    assert run(tmp_path, sign, "-c", START, LANGUAGE_CODE=language).stdout == f"{written}\n"


def test_another_sign_is_refused_in_one_sentence(tmp_path):
    refused = run(tmp_path, ";", "manage.py", "check")

    assert refused.returncode == 1
    assert refused.stderr == 'Set DECIMAL_SIGN to "." or ",": ";" is neither.\n'


def run(tmp_path, sign: str, *arguments: str, **environment: str) -> subprocess.CompletedProcess:
    return subprocess.run(
        [sys.executable, *arguments],
        cwd=settings.BASE_DIR,
        env={
            **os.environ,
            "DJANGO_SETTINGS_MODULE": "apiary_sales.settings",
            "DECIMAL_SIGN": sign,
            "DATA_DIR": str(tmp_path),
            **environment,
        },
        capture_output=True,
        text=True,
        timeout=60,
    )
