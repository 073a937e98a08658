"""The two directions of the refractometer undo each other, and fall together."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.physics import refractometer

cheap = settings(derandomize=True, deadline=None, max_examples=200)


@cheap
@given(st.floats(12.95, 25.05), st.floats(10, 40))
def test_moisture_to_index_and_back(moisture, celsius):
    index = refractometer.refractive_index_from_moisture(moisture, celsius)

    back = refractometer.moisture_from_refractive_index(index, celsius)

    assert back == pytest.approx(moisture, abs=1e-9)


@cheap
@given(st.floats(1.4740, 1.5044))
def test_index_to_moisture_and_back(index):
    moisture = refractometer.moisture_from_refractive_index(index)

    back = refractometer.refractive_index_from_moisture(moisture)

    assert back == pytest.approx(index, abs=1e-12)


@cheap
@given(st.floats(13, 25), st.floats(13, 25), st.floats(10, 40))
def test_wetter_honey_bends_light_less(one, other, celsius):
    drier, wetter = sorted([one, other])

    dry_index = refractometer.refractive_index_from_moisture(drier, celsius)
    wet_index = refractometer.refractive_index_from_moisture(wetter, celsius)

    assert dry_index >= wet_index


@pytest.mark.parametrize("celsius", [10, 20, 40])
@pytest.mark.parametrize("index_at_20", [1.4740, 1.5044])
def test_the_ends_of_the_table_are_read_at_every_temperature(index_at_20, celsius):
    reading = index_at_20 - 0.00023 * (celsius - 20)

    moisture = refractometer.moisture_from_refractive_index(reading, celsius)

    assert moisture == pytest.approx({1.4740: 25.0, 1.5044: 13.0}[index_at_20], abs=0.03)


@pytest.mark.parametrize(
    ("index", "celsius"), [(1.4738, 20), (1.5046, 20), (1.5040, 40), (1.4741, 10)]
)
def test_an_index_off_the_table_says_what_the_table_spans(index, celsius):
    with pytest.raises(ValueError, match="off the table") as refused:
        refractometer.moisture_from_refractive_index(index, celsius)

    assert str(refused.value) == (
        f"A refractive index of {index:.4f} read at {celsius} °C is off the table: brought to "
        "20 °C it must be from 1.4740 (25 g per 100 g of moisture) to 1.5044 (13 g per 100 g)."
    )
