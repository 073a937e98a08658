"""What a new SQLite database is loaded from is what the migrations make."""

from apiary_sales.web import new_database as kept
from tests.upgrade import new_database


def test_a_new_database_is_what_all_migrations_make():
    way_out = "Run python -m tests.upgrade.new_database and commit what it writes."

    assert new_database.text() == kept.TEXT.read_text(encoding="utf-8"), way_out
