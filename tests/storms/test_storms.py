"""A short storm in every run, sixty kills of each kind of database in a night; two machines."""

import pytest

from tests import postgresql, profiles, skips
from tests.storms import machines, storm

KILLS = profiles.examples(5, nightly=60)


@pytest.mark.parametrize("vendor", ["sqlite", "postgresql"])
def test_kills_lose_and_double_nothing(vendor):
    if vendor == "postgresql" and postgresql.programs() is None:
        skips.skip("PostgreSQL is not installed (Debian: apt-get install postgresql)")

    storm.strike(vendor, KILLS, seed=1)


def test_a_house_on_two_machines_loses_neither_acts_nor_sign_ins():
    if postgresql.programs() is None:
        skips.skip("PostgreSQL is not installed (Debian: apt-get install postgresql)")

    machines.lose_one_by_one(seed=1)
