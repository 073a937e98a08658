"""A migration that landed is never edited or removed; what is new is listed."""

from collections import defaultdict
from pathlib import Path

import pytest

from tests.upgrade import landed

MIGRATION = "inventory/migrations/0001_initial.py"


@pytest.fixture
def checkout(tmp_path):
    """A checkout of one migration, listed."""
    migration = tmp_path / MIGRATION
    migration.parent.mkdir(parents=True)
    migration.write_text("# makes the tables\n", encoding="utf-8")
    (tmp_path / "landed.sha256").touch()
    landed.add_new(tmp_path / "landed.sha256", tmp_path)
    return tmp_path


def faults(checkout):
    return list(landed.faults(checkout / "landed.sha256", checkout))


def test_what_has_landed_is_as_it_was():
    assert list(landed.faults()) == []


def test_what_is_listed_is_in_order(checkout):
    assert faults(checkout) == []


def test_an_edited_migration_is_named_with_the_way_out(checkout):
    (checkout / MIGRATION).write_text("# makes other tables\n", encoding="utf-8")

    assert faults(checkout) == [
        f"{MIGRATION} has landed and was changed: change it back; add a new migration instead."
    ]
    assert landed.add_new(checkout / "landed.sha256", checkout) == []
    assert len(faults(checkout)) == 1


def test_a_removed_migration_is_named_with_the_way_out(checkout):
    (checkout / MIGRATION).unlink()

    assert faults(checkout) == [
        f"{MIGRATION} has landed and was removed: put it back; add a new migration instead."
    ]


def test_a_new_migration_asks_to_be_listed(checkout):
    name = "inventory/migrations/0002_colour.py"
    (checkout / name).write_text("# adds a column\n", encoding="utf-8")

    assert faults(checkout) == [
        f"{name} is new: run python -m tests.upgrade.landed and commit the list."
    ]
    assert landed.add_new(checkout / "landed.sha256", checkout) == [name]
    assert faults(checkout) == []


def test_the_migrations_of_an_app_are_one_line():
    """Two that were added at the same time would have the same number."""
    numbers = defaultdict(list)
    for name in landed.files():
        path = Path(name)
        if path.suffix == ".py":
            numbers[path.parent].append(int(path.name[:4]))

    assert numbers
    for folder, found in numbers.items():
        assert sorted(found) == list(range(1, len(found) + 1)), folder
