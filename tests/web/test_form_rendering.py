"""Forms as they are rendered: every control has its name, its help and its error tied to it."""

import re

import pytest
from django import forms
from django.template import Context, Template
from django.template.loader import render_to_string

from inventory.shared.forms.fields import WeightField


class RunForm(forms.Form):
    source = forms.CharField(label="From", help_text="Where the honey is.")
    honey = WeightField(label="Honey", help_text="What the scale says.")
    paid = forms.ChoiceField(
        label="Paid by", choices=[("cash", "Cash"), ("card", "Card")], widget=forms.RadioSelect
    )
    note = forms.CharField(label="Note", required=False)
    closed = forms.BooleanField(label="Close it", required=False)


@pytest.fixture
def empty_form():
    return RunForm({})


def field(form, name: str) -> str:
    return " ".join(form[name].as_field_group().split())


def test_help_and_error_are_tied_to_the_control(empty_form):
    html = field(empty_form, "source")

    assert '<label for="id_source">From</label>' in html
    assert '<div class="help" id="id_source_helptext">Where the honey is.</div>' in html
    assert 'aria-describedby="id_source_helptext id_source_error"' in html
    assert 'aria-invalid="true"' in html
    assert '<ul class="errorlist" id="id_source_error">' in html


def test_a_field_that_may_stay_empty_says_so():
    form = RunForm()

    assert 'Note <span class="optional">(optional)</span></label>' in field(form, "note")
    assert "optional" not in field(form, "source")
    assert "optional" not in field(form, "closed")
    assert " required" in field(form, "source")


def test_a_quantity_has_its_unit_beside_it_and_the_label_leads_to_the_number(empty_form):
    html = field(empty_form, "honey")

    assert '<label for="id_honey_0">Honey</label>' in html
    assert re.search(r'<div class="quantity"><input [^>]*id="id_honey_0"', html)
    assert re.search(r'<select [^>]*id="id_honey_1"', html)


def test_choices_stand_in_a_named_group(empty_form):
    html = field(empty_form, "paid")

    assert '<fieldset aria-describedby="id_paid_error">' in html
    assert "<legend>Paid by</legend>" in html


def test_a_box_stands_before_its_label():
    html = field(RunForm(), "closed")

    assert html.index('type="checkbox"') < html.index("Close it")


def test_the_summary_names_every_error_and_leads_to_its_field(empty_form):
    empty_form.is_valid()
    empty_form.add_error(None, "The tank was emptied meanwhile.")

    html = render_to_string("_form_errors.html", {"form": empty_form})

    assert 'class="error-summary" role="alert" tabindex="-1"' in html
    assert "<li>The tank was emptied meanwhile.</li>" in html
    assert re.findall(r'href="(#.*?)"', html) == ["#id_source", "#id_honey_0", "#field-paid"]
    whole = str(empty_form)
    for target in ("id_source", "id_honey_0", "field-paid"):
        assert f'id="{target}"' in whole


def test_a_form_without_errors_has_no_summary():
    assert "error-summary" not in render_to_string("_form_errors.html", {"form": RunForm()})


def test_what_a_person_typed_is_never_markup():
    form = RunForm({"source": '"><script>alert(1)</script>'})

    assert "<script>" not in str(form)


def test_a_stepper_keeps_within_its_ends_and_does_not_take_the_forms_name(empty_form):
    template = Template('{% include "_stepper.html" with name="jars" label="Jars" min=1 max=12 %}')

    html = " ".join(template.render(Context({"form": empty_form})).split())

    assert 'name="jars" value="0" min="1" max="12" aria-label="Jars"' in html
    assert "form=" not in html
