"""What starting costs: the time of `manage.py check`, over that of a bare Django project.

The bare project has the same apps as the settings of the service, less those of the service
itself: once those of Django alone, once those of other packages too. Times are those of the
processor, of modules that were compiled before, and are compared within one run only. So is the
memory of a process that has answered its first page, and has written no report yet.
"""

import os
import resource
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
NAME = "starting"
TIMES = 7
SESSIONS = "django.contrib.sessions.middleware.SessionMiddleware"
PEOPLE = "django.contrib.auth.middleware.AuthenticationMiddleware"
OWN = ("apiary_sales", "inventory")
# How many times as long as the bare project it may take, and megabytes.
TIME, MEMORY = 1.5, 150

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
# A process as it answers under `serve`: what it has in memory after the first page of an empty
# house, in kB.
ANSWER = """
import django, gc

gc.set_threshold(20_000, 20, 20)

django.setup()
from apiary_sales.web import serve
from io import BytesIO
from wsgiref.util import setup_testing_defaults

asked = {"PATH_INFO": "/set-up/", "HTTP_HOST": "localhost", "wsgi.input": BytesIO()}
setup_testing_defaults(asked)
said = []
b"".join(serve.make_application()(asked, lambda status, headers: said.append(status)))
assert said == ["200 OK"], said
with open("/proc/self/status") as status:
    print(next(line.split()[1] for line in status if line.startswith("VmRSS")))
"""


def bare_project(folder: Path, *packages: str) -> dict[str, str]:
    """Write a project with the apps and middleware of these packages; return its environment.

    Its pages are those of the admin and, where there is an API, its schema.
    """
    from django.conf import settings

    folder.mkdir()

    def of_packages(names: list[str]) -> list[str]:
        return [name for name in names if name.partition(".")[0] in packages]

    urls = BARE_URLS + (SCHEMA_URL if "drf_spectacular" in packages else "")
    (folder / "bare.py").write_text(urls)
    (folder / "bare_settings.py").write_text(
        BARE_SETTINGS.format(
            apps=of_packages(settings.INSTALLED_APPS),
            # The service has two of its own in the place of Django's.
            middleware=[SESSIONS, PEOPLE, *of_packages(settings.MIDDLEWARE)],
        )
    )
    return {"PYTHONPATH": str(folder), "DJANGO_SETTINGS_MODULE": "bare_settings"}


def _asked(environment: dict[str, str], compiled: Path, *command: str) -> str:
    """Run a command in a process of its own; return what it says."""
    usual = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
    return subprocess.run(
        [sys.executable, *command],
        cwd=ROOT,
        env={**usual, **environment, "PYTHONPYCACHEPREFIX": str(compiled)},
        capture_output=True,
        check=True,
        text=True,
    ).stdout


def seconds_to_check(environment: dict[str, str], compiled: Path, *django: str) -> float:
    """Return the processor's time of one `check`, run as a process of its own."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    _asked(environment, compiled, *django, "check")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def rows() -> Iterator[tuple[str, str, float, float, bool]]:
    """Yield the lines of the table: work, against, ratio, to reach, held."""
    with tempfile.TemporaryDirectory(prefix="honey-starting-") as name:
        yield from _rows(Path(name))


def _rows(folder: Path) -> Iterator[tuple[str, str, float, float, bool]]:
    service = {
        "PYTHONPATH": str(ROOT),
        "DJANGO_SETTINGS_MODULE": "apiary_sales.settings",
        "DEBUG": "true",
        "DATA_DIR": str(folder),
    }
    os.environ.update(service)
    from django.conf import settings

    others = {app.partition(".")[0] for app in settings.INSTALLED_APPS} - {*OWN, "whitenoise"}
    bare, compiled = bare_project(folder / "bare", *others), folder / "compiled"
    # In turns, so that what else the machine does disturbs both alike. The best time counts, so
    # the first one, which compiles, does not.
    found = [
        (
            seconds_to_check(bare, compiled, "-m", "django"),
            seconds_to_check(service, compiled, "manage.py"),
        )
        for _time in range(TIMES)
    ]
    plain, ours = (min(each) for each in zip(*found, strict=True))
    against = f"{plain:.2f} s → {ours:.2f} s"
    yield (
        f"{NAME}: Django and the same apps",
        against,
        round(ours / plain, 2),
        TIME,
        ours <= (TIME * plain),
    )
    _asked(service, compiled, "manage.py", "migrate", "-v", "0")
    kilobytes = max(int(_asked(service, compiled, "-c", ANSWER)) for _time in range(2))
    megabytes = round(kilobytes * 1024 / 1_000_000, 1)
    work = f"{NAME}: MB of a process before its first report"
    yield work, "", megabytes, MEMORY, megabytes <= MEMORY
