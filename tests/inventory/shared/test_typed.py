"""What is typed is read by one rule: the service and the page agree, and neither guesses."""

import json
import subprocess
import sys
from decimal import Decimal
from pathlib import Path
from time import process_time

import pytest
from django.conf import settings
from django.utils import numberformat
from hypothesis import HealthCheck, given, strategies
from hypothesis import settings as hypothesis_settings

from inventory.shared import typed
from inventory.shared.typed import Mistyped, read_number, read_quantity
from tests import scripts

SCRIPT = Path(settings.BASE_DIR) / "apiary_sales" / "web" / "static" / "web" / "typed.js"
CASES = json.loads((Path(__file__).parent / "typed_cases.json").read_text(encoding="utf-8"))
SIGNS = {"point": ".", "comma": ","}

NUMBERS = [
    (case["typed"], sign, case[house]) for case in CASES["numbers"] for house, sign in SIGNS.items()
]
QUANTITIES = [
    (case["typed"], case["kind"], case["unit"], sign, case[house])
    for case in CASES["quantities"]
    for house, sign in SIGNS.items()
]
LISTS = [
    (case["typed"], sign, case[house]) for case in CASES["lists"] for house, sign in SIGNS.items()
]


def number_of(text, sign):
    """Return what the service reads, written out, or {"refused": code}."""
    try:
        return format(read_number(text, decimal_sign=sign), "f")
    except Mistyped as refusal:
        return {"refused": refusal.code}


def quantity_of(text, kind, unit, sign):
    try:
        quantity = read_quantity(text, kind=kind, unit=unit, decimal_sign=sign)
    except Mistyped as refusal:
        return {"refused": refusal.code}
    return quantity.magnitude


def exactly(answer):
    """Compare quantities by their value: 1200 is 1200.000."""
    return Decimal(answer) if isinstance(answer, str) else answer


@pytest.mark.parametrize(("text", "sign", "expected"), NUMBERS)
def test_a_typed_number_is_read_or_refused_as_the_table_says(text, sign, expected):
    assert number_of(text, sign) == expected


@pytest.mark.parametrize(("text", "kind", "unit", "sign", "expected"), QUANTITIES)
def test_a_typed_quantity_is_read_or_refused_as_the_table_says(text, kind, unit, sign, expected):
    assert quantity_of(text, kind, unit, sign) == exactly(expected)


def test_the_page_reads_the_numbers_of_the_table_alike():
    answers = scripts.call(SCRIPT, "readNumber", [[text, sign] for text, sign, _ in NUMBERS])

    assert answers == [expected for *_, expected in NUMBERS]


def test_the_page_reads_the_quantities_of_the_table_alike():
    answers = scripts.call(SCRIPT, "readQuantity", [list(case[:4]) for case in QUANTITIES])

    assert [exactly(answer) for answer in answers] == [exactly(case[4]) for case in QUANTITIES]


def test_a_very_long_list_is_parted_in_time():
    """A look at all that follows, for each word, would take an hour."""
    begun = process_time()

    found = typed.entries("1 lb 2 oz " * 60_000, kind="weight", decimal_sign=".")

    assert len(found) == 60_000
    assert process_time() - begun < 40


@pytest.mark.parametrize(("text", "sign", "expected"), LISTS)
def test_a_typed_list_is_parted_as_the_table_says(text, sign, expected):
    assert typed.entries(text, kind="weight", decimal_sign=sign) == expected


def test_the_page_parts_the_lists_of_the_table_alike():
    answers = scripts.call(SCRIPT, "entries", [[text, "weight", sign] for text, sign, _ in LISTS])

    assert answers == [expected for *_, expected in LISTS]


@pytest.mark.parametrize(
    ("kind", "unit", "word"),
    [
        (kind, unit, word)
        for kind, units in typed.WORDS.items()
        for unit, words in units.items()
        for word in words
    ],
)
def test_every_word_of_a_unit_is_read_as_that_unit(kind, unit, word):
    named = read_quantity(f"3 {word}", kind=kind, unit="none", decimal_sign=".")

    assert named == read_quantity("3", kind=kind, unit=unit, decimal_sign=".")


def test_the_page_reads_every_word_of_a_unit_alike():
    words = [
        (kind, word)
        for kind, units in typed.WORDS.items()
        for row in units.values()
        for word in row
    ]

    answers = scripts.call(
        SCRIPT, "readQuantity", [[f"3 {word}", kind, "none", "."] for kind, word in words]
    )

    assert [exactly(answer) for answer in answers] == [
        quantity_of(f"3 {word}", kind, "none", ".") for kind, word in words
    ]


# Mostly what figures are made of, so that many of the texts can be read, and a few others.
TEXTS = strategies.one_of(
    strategies.text(alphabet="0123456789.,  -−/½\u202f", max_size=12),
    strategies.from_regex(r"\A[0-9]{1,3}([.,][0-9]{3}){0,3}([.,][0-9]{0,3})?\Z"),
    strategies.from_regex(
        r"\A[0-9]{1,4}([.,][0-9]{1,3})? ?(lb|oz|kg|gal|qt|ft|in|cm)\.?"
        r"( [0-9]{1,2}([.,][0-9]{1,2}| 1/2)? ?(oz|g|qt|pt|in|mm)?)?\Z"
    ),
    strategies.text(max_size=12),
)


@hypothesis_settings(
    max_examples=6, deadline=None, suppress_health_check=list(HealthCheck), database=None
)
@given(texts=strategies.lists(TEXTS, min_size=150, max_size=200))
def test_whatever_the_service_reads_the_page_reads_the_same(texts):
    numbers = [[text, sign] for text in texts for sign in SIGNS.values()]
    quantities = [
        [text, kind, unit, sign]
        for text in texts
        for kind, unit in [("weight", "lb"), ("volume", "gal"), ("length", "in")]
        for sign in SIGNS.values()
    ]

    assert scripts.call(SCRIPT, "readNumber", numbers) == [number_of(*case) for case in numbers]
    assert [exactly(answer) for answer in scripts.call(SCRIPT, "readQuantity", quantities)] == [
        quantity_of(*case) for case in quantities
    ]
    lists = [["\n".join(texts), "weight", sign] for sign in SIGNS.values()]
    lists += [[text, "weight", sign] for text in texts for sign in SIGNS.values()]
    assert scripts.call(SCRIPT, "entries", lists) == [
        typed.entries(text, kind=kind, decimal_sign=sign) for text, kind, sign in lists
    ]


@given(
    number=strategies.decimals(
        min_value=-(10**9), max_value=10**9, places=4, allow_nan=False, allow_infinity=False
    ),
    sign=strategies.sampled_from([".", ","]),
)
def test_a_number_written_in_the_houses_style_is_read_as_it_was(number, sign):
    mark = "," if sign == "." else "."
    written = numberformat.format(
        number, sign, grouping=3, thousand_sep=mark, force_grouping=True, use_l10n=True
    )

    assert read_number(written, decimal_sign=sign) == number


def test_the_page_writes_a_number_so_that_it_can_be_read_in_one_way():
    numbers = ["1250", "1.250", "12.50", "0.5", "-3.0", "100", "0.00"]

    written = scripts.call(
        SCRIPT, "writeNumber", [[number, sign] for number in numbers for sign in ".,"]
    )

    assert written == [
        *("1250", "1250", "1.25", "1,25", "12.5", "12,5", "0.5", "0,5", "−3", "−3"),
        *("100", "100", "0", "0"),
    ]


@pytest.mark.parametrize("code", typed.MESSAGES)
def test_every_refusal_has_a_sentence_that_its_parts_fill(code):
    sentences = set()

    for text, kind, unit, sign, expected in QUANTITIES:
        if expected == {"refused": code}:
            with pytest.raises(Mistyped) as refused:
                read_quantity(text, kind=kind, unit=unit, decimal_sign=sign)
            sentences.add(str(refused.value))

    assert sentences
    assert all(sentence.endswith(".") and "%(" not in sentence for sentence in sentences)


def test_a_house_has_a_point_or_a_comma():
    with pytest.raises(ValueError, match="A decimal sign is a point or a comma, not ';'"):
        read_number("1", decimal_sign=";")


def test_reading_a_number_does_not_start_pint():
    code = (
        "import sys; from inventory.shared.typed import read_number;"
        "read_number('1,250', decimal_sign='.'); print('pint' in sys.modules)"
    )

    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=settings.BASE_DIR,
        capture_output=True,
        text=True,
        check=True,
    )

    assert done.stdout == "False\n"
