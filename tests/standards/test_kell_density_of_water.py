"""G. S. Kell, J. Chem. Eng. Data 20 (1975) 97: density of air-free water at 1 atm. From memory.

It gives 0.998204 kg/L at 20 °C where IAPWS-95 gives 0.998207: tables of water differ in the sixth
decimal, a thousandth of what honey tables differ by.
"""

import pytest

from inventory.physics import density


def kell_kg_per_l(celsius: float) -> float:
    numerator = (
        999.83952
        + 16.945176 * celsius
        - 7.9870401e-3 * celsius**2
        - 46.170461e-6 * celsius**3
        + 105.56302e-9 * celsius**4
        - 280.54253e-12 * celsius**5
    )
    return numerator / (1 + 16.879850e-3 * celsius) / 1000


def test_water_at_20_degrees():
    kell = kell_kg_per_l(20.0)

    assert kell == pytest.approx(density.WATER_KG_PER_L, abs=4e-6)
