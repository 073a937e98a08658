"""How much random input the tests try: enough for every run, or as much as a night has time for."""

import os
from functools import cache

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

NIGHTLY = "nightly"


def is_nightly() -> bool:
    """Tell whether `HYPOTHESIS_PROFILE=nightly` was asked for."""
    profile = os.environ.get("HYPOTHESIS_PROFILE", "")
    if profile not in ("", NIGHTLY):
        raise ValueError(f"HYPOTHESIS_PROFILE is {profile!r}. Set it to {NIGHTLY!r}, or leave it.")
    return profile == NIGHTLY


def examples(usual: int, *, nightly: int) -> int:
    """Return how many random examples to try in this run."""
    return nightly if is_nightly() else usual


@cache
def draw_once() -> None:
    """Draw some numbers, once in a process, so that the first test of random input isn't slow.

    Among what it draws, Hypothesis mixes numbers and texts that stand in our modules. It reads them
    all at its first draw: a second of work, and five after many of them were changed, which its
    check of tests that draw too slowly would put down to the test.
    """

    @settings(
        max_examples=20,
        derandomize=True,
        database=None,
        deadline=None,
        suppress_health_check=[HealthCheck.too_slow],
    )
    @given(st.lists(st.integers(), min_size=10, max_size=10))
    def draw(_numbers: list[int]) -> None:
        pass

    draw()
