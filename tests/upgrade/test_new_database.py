"""What a new database is loaded from is what the migrations make."""

from apiary_sales.web import new_database as kept
from tests import postgresql, skips
from tests.upgrade import new_database


def test_a_new_database_is_what_all_migrations_make():
    way_out = "Run python -m tests.upgrade.new_database and commit what it writes."

    made = new_database.texts()

    behind = [
        vendor
        for vendor, text in made.items()
        if text != kept.TEXTS[vendor].read_text(encoding="utf-8")
    ]
    assert behind == [], way_out
    if postgresql.programs() is None:
        skips.skip("PostgreSQL is not installed (Debian: apt-get install postgresql)")
