"""The version of the service: where it is shown, and what is told about it."""

import subprocess
import sys

import django
import pytest
from django.conf import settings
from django.urls import reverse
from django.utils.html import escape

from apiary_sales import __version__
from apiary_sales.web.releases import RELEASES
from tests import builders
from tests.upgrade import databases


def test_the_newest_notes_are_those_of_the_version_newest_first():
    versions = [release.version for release in RELEASES]

    assert versions[0] == __version__
    assert versions == sorted(versions, key=databases.numbers, reverse=True)


@pytest.mark.parametrize("vendor", ["sqlite", "postgresql"])
def test_every_version_with_notes_but_the_newest_has_a_dump_and_no_other(vendor):
    """The newest has none while it is worked on: `make_dumps` makes it when it is finished."""
    released = {release.version for release in RELEASES[1:]}

    assert released <= set(databases.versions(vendor)) <= released | {__version__}


@pytest.mark.django_db
def test_what_is_new_tells_every_change_of_every_version(client):
    client.force_login(builders.person("stand"))

    page = client.get(reverse("web:what_is_new")).text

    for release in RELEASES:
        assert f"Version {release.version}" in page
        for change in release.changes:
            assert str(escape(change)) in page


@pytest.mark.django_db
@pytest.mark.parametrize("role", ["owner", "stand"])
def test_settings_shows_the_version_with_the_way_to_what_is_new(client, role):
    client.force_login(builders.person(role))

    page = client.get(reverse("web:settings")).text

    assert f"Version {__version__}" in page
    assert f'<a href="{reverse("web:what_is_new")}">What is new</a>' in page


@pytest.mark.django_db
def test_help_leads_to_what_is_new(client):
    client.force_login(builders.person("stand"))

    page = client.get(reverse("web:help")).text

    assert f'<a href="{reverse("web:what_is_new")}">What is new</a>' in page


@pytest.mark.parametrize("asked", ["--version", "version"])
def test_the_command_line_tells_our_version_and_djangos(asked):
    told = subprocess.run(
        [sys.executable, "manage.py", asked],
        cwd=settings.BASE_DIR,
        check=True,
        capture_output=True,
        text=True,
    )

    assert told.stdout == f"Honey house {__version__} (Django {django.get_version()})\n"
