"""Student's t: the table printed in every statistics textbook, and an independent implementation.

Upper points of t at 0.975 and 0.995, three decimals: from memory, and the same as SciPy's.
"""

import numpy as np
import pytest
from scipy import stats

from inventory.physics.student import student_t_quantile


@pytest.mark.parametrize(
    ("freedom", "at_975", "at_995"),
    [
        (1, 12.706, 63.657),
        (2, 4.303, 9.925),
        (3, 3.182, 5.841),
        (4, 2.776, 4.604),
        (5, 2.571, 4.032),
        (10, 2.228, 3.169),
        (11, 2.201, 3.106),
        (19, 2.093, 2.861),
        (23, 2.069, 2.807),
        (29, 2.045, 2.756),
        (30, 2.042, 2.750),
        (60, 2.000, 2.660),
        (120, 1.980, 2.617),
    ],
)
def test_the_printed_table(freedom, at_975, at_995):
    assert student_t_quantile(0.975, freedom) == pytest.approx(at_975, abs=0.00051)
    assert student_t_quantile(0.995, freedom) == pytest.approx(at_995, abs=0.00051)


@pytest.mark.parametrize("probability", [0.5, 0.6, 0.9, 0.975, 0.995, 0.9999])
def test_an_independent_implementation_agrees(probability):
    freedoms = [*range(1, 60), 99, 100, 999, 1000, 99_999]

    found = [student_t_quantile(probability, freedom) for freedom in freedoms]

    np.testing.assert_allclose(found, stats.t.ppf(probability, freedoms), rtol=1e-9, atol=1e-9)
