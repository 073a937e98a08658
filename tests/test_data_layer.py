"""No file that is about the data is left out of the run on PostgreSQL."""

import re
from pathlib import Path

import pytest

from tests import data_layer

WRITES = re.compile(r"^from tests import .*\bbuilders\b|^from .*\bservices\b", re.MULTILINE)
OPENS_PAGES = re.compile(r"\bclient\b|\bsigned_in\(|\bsign_in\(|\blive_server\b|\bserving\.")
IS_MARKED = "pytest.mark.data_layer"


def is_left_out(path: Path, text: str) -> bool:
    """Tell whether a file counts as one of pages, but writes to the database and opens none.

    The tests of the whole demo do not count: `tests/web/test_short_demo.py` tells it short on
    PostgreSQL, where the whole takes minutes.
    """
    return (
        data_layer.opens_pages(path)
        and path.parent.name != "demo"
        and bool(WRITES.search(text))
        and not OPENS_PAGES.search(text)
        and IS_MARKED not in text
    )


def test_a_file_that_writes_and_opens_no_page_runs_on_postgresql_too():
    files = data_layer.TESTS.rglob("test_*.py")

    assert [path for path in files if is_left_out(path, path.read_text(encoding="utf-8"))] == []


@pytest.mark.parametrize(
    ("name", "text", "expected"),
    [
        ("web/test_proof.py", "from tests import builders\n", True),
        ("orders/test_lost_pages.py", "from inventory.stock.services import honey\n", True),
        ("orders/test_lost.py", "from tests import builders\n", False),
        ("web/test_proof.py", "from tests import builders\npytest.mark.data_layer\n", False),
        ("web/test_proof.py", "from tests import builders\nclient.get('/')\n", False),
        ("web/test_proof.py", "import re\n", False),
    ],
)
def test_a_file_left_out_is_one_that_writes_and_opens_no_page(name, text, expected):
    assert is_left_out(data_layer.TESTS / name, text) is expected
