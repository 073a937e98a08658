"""How much random input the tests try: enough for every run, or as much as a night has time for."""

import os

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
