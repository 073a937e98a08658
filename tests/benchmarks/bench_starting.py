"""What starting costs: the time of `manage.py check`, over that of a bare Django project.

Run by name, apart from the tests, and read what it prints:

    python -m pytest -s tests/benchmarks/bench_starting.py

The bare project has the same apps as the settings of the service, less those of the service
itself: once those of Django alone, once those of other packages too. Times are those of the
processor, of modules that were compiled before, and are compared within one run only.
"""

import os
import resource
import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings

ROOT = Path(__file__).resolve().parent.parent.parent
TIMES = 7
OWN = ("apiary_sales", "inventory")

BARE_SETTINGS = """
SECRET_KEY = "for this measurement only"
DEBUG = True
INSTALLED_APPS = {apps}
MIDDLEWARE = {middleware}
ROOT_URLCONF = "bare"
TEMPLATES = [
    {{
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {{
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ]
        }},
    }}
]
DATABASES = {{"default": {{"ENGINE": "django.db.backends.sqlite3", "NAME": ":memory:"}}}}
STATIC_URL = "static/"
USE_TZ = True
"""
BARE_URLS = """
from django.contrib import admin
from django.urls import path

urlpatterns = [path("admin/", admin.site.urls)]
"""
SCHEMA_URL = """
from drf_spectacular.views import SpectacularAPIView

urlpatterns += [path("schema/", SpectacularAPIView.as_view())]
"""


def bare_project(folder: Path, *packages: str) -> dict[str, str]:
    """Write a project with the apps and middleware of these packages; return its environment.

    Its pages are those of the admin and, where there is an API, its schema.
    """
    folder.mkdir()

    def of_packages(names: list[str]) -> list[str]:
        return [name for name in names if name.partition(".")[0] in packages]

    urls = BARE_URLS + (SCHEMA_URL if "drf_spectacular" in packages else "")
    (folder / "bare.py").write_text(urls)
    (folder / "bare_settings.py").write_text(
        BARE_SETTINGS.format(
            apps=of_packages(settings.INSTALLED_APPS),
            middleware=of_packages(settings.MIDDLEWARE),
        )
    )
    return {"PYTHONPATH": str(folder), "DJANGO_SETTINGS_MODULE": "bare_settings"}


def seconds_to_check(environment: dict[str, str], compiled: Path) -> float:
    """Return the processor's time of one `check`, run as a process of its own."""
    usual = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(
        [sys.executable, "-m", "django", "check"],
        env={**usual, **environment, "PYTHONPYCACHEPREFIX": str(compiled)},
        capture_output=True,
        check=True,
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


@pytest.fixture
def projects(tmp_path) -> dict[str, dict[str, str]]:
    others = {name.partition(".")[0] for name in settings.INSTALLED_APPS} - {*OWN, "whitenoise"}
    return {
        "Django and its own apps": bare_project(tmp_path / "django", "django"),
        "Django and all apps but ours": bare_project(tmp_path / "apps", *others),
        "the service": {
            "PYTHONPATH": str(ROOT),
            "DJANGO_SETTINGS_MODULE": "apiary_sales.settings",
            "DEBUG": "true",
            "DATA_DIR": str(tmp_path),
        },
    }


def test_the_time_to_start_is_printed(projects, tmp_path):
    # In turns, so that what else the machine does disturbs all alike. The best time counts, so the
    # first one, which compiles, does not.
    rounds = [
        {
            name: seconds_to_check(environment, tmp_path / "compiled")
            for name, environment in projects.items()
        }
        for _time in range(TIMES)
    ]
    best = {name: min(one[name] for one in rounds) for name in projects}

    ours = best.pop("the service")
    print(f"\nchecking the service: {ours:.2f} s")
    for name, seconds in best.items():
        print(f"  {ours / seconds:.2f} times as long as {name} ({seconds:.2f} s)")
