"""What is worked out from the tables, and so is made anew once a house came in."""

from collections.abc import Callable

# Each makes the rows of one derived table (`is_derived`) of the database of DATABASE_URL.
POST_IMPORT: tuple[Callable[[], object], ...] = ()


def rebuild() -> None:
    for make in POST_IMPORT:
        make()
