"""Starting waits for Django and the service's own modules, not for what few requests need."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
# Arrays, frames, the search for the plan, units, papers as PDF, workbooks, fonts, codes, passkeys,
# what keys and backups are locked with.
HEAVY = (
    *(
        "barcode",
        "cryptography",
        "fontTools",
        "numpy",
        "openpyxl",
        "pandas",
        "pint",
        "scipy",
        "segno",
    ),
    *("weasyprint", "webauthn"),
)

# What a server does before its first request: set up, load every address, make the application.
START = """
import sys
import django
django.setup()
from django.core.wsgi import get_wsgi_application
from django.urls import get_resolver
get_wsgi_application()
assert get_resolver().url_patterns
print(*sorted({name.partition(".")[0] for name in sys.modules}))
"""


@pytest.fixture(scope="module")
def imported(tmp_path_factory) -> set[str]:
    """Return the packages that a process of its own has imported once it has started."""
    started = subprocess.run(
        [sys.executable, "-c", START],
        cwd=ROOT,
        env={
            **os.environ,
            "DJANGO_SETTINGS_MODULE": "apiary_sales.settings",
            "DEBUG": "true",
            "DATA_DIR": str(tmp_path_factory.mktemp("data")),
        },
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    return set(started.stdout.split())


def test_starting_loads_the_service(imported):
    assert {"django", "inventory", "apiary_sales", "rest_framework"} <= imported


@pytest.mark.parametrize("package", HEAVY)
def test_starting_does_not_import(package, imported):
    assert package not in imported
