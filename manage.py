#!/usr/bin/env python3
"""Run the administrative commands of the honey service."""

import os
import sys

from apiary_sales import __version__
from inventory.shared import garbage


def main() -> None:
    garbage.look_seldom()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "apiary_sales.settings")
    try:
        from django import get_version
        from django.core.exceptions import ImproperlyConfigured
        from django.core.management import execute_from_command_line
    except ImportError as error:
        raise SystemExit(
            "Django is not installed in this Python. Run the first command of the README, "
            "or start this file with the virtual environment's Python: .venv/bin/python manage.py"
        ) from error
    if sys.argv[1:] in (["--version"], ["version"]):
        print(f"Honey house {__version__} (Django {get_version()})")
        return
    try:
        execute_from_command_line(sys.argv)
    except ImproperlyConfigured as error:
        raise SystemExit(str(error)) from None
    finally:
        garbage.leave_the_rest()


if __name__ == "__main__":
    main()
