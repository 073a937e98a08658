"""English and Spanish: the same figures, and no sentence left out."""

import re
import shutil
import subprocess
import sys
from datetime import datetime
from pathlib import Path

import pytest
from django.conf import settings
from django.urls import reverse
from django.utils import translation
from django.utils.formats import date_format

from inventory.shared import words
from inventory.shared.forms.fields import WeightField
from tests import builders, skips

CATALOGUE = Path(settings.LOCALE_PATHS[0]) / "es" / "LC_MESSAGES" / "django.po"
CATALOGUES = [path for folder in settings.LOCALE_PATHS for path in Path(folder).rglob("*.po")]


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_point_is_a_point_in_both_languages(language):
    with translation.override(language):
        assert words.weight(453_592) == "1,000 lb"
        assert words.weight(34_019) == "75.0 lb"
        # 2.45 lb × 453.59237 g, half to even.
        assert WeightField().clean(["2.45", "lb"]) == 1111


def entries(catalogue: Path = CATALOGUE) -> list[tuple[str, str]]:
    """Return the pairs of English and Spanish, the header left out; plurals by their last form."""
    text = catalogue.read_text(encoding="utf-8")
    blocks = re.split(r"\n\n", text)[1:]
    pairs = []
    for block in blocks:
        parts = {}
        name = None
        for line in block.splitlines():
            if match := re.match(r'(msgid_plural|msgid|msgstr(?:\[\d\])?|msgctxt) (".*")$', line):
                name, quoted = match.groups()
                parts[name] = quoted[1:-1]
            elif name and line.startswith('"'):
                parts[name] += line[1:-1]
        if parts.get("msgid"):
            pairs.append(
                (
                    parts.get("msgid_plural", parts["msgid"]),
                    parts.get("msgstr", parts.get("msgstr[1]", "")),
                )
            )
    return pairs


def test_every_sentence_has_its_spanish():
    assert [english for english, spanish in entries() if not spanish] == []


def test_every_sentence_of_the_program_is_in_the_catalogue(tmp_path):
    if shutil.which("xgettext") is None:
        skips.skip("gettext is not installed (Debian: apt-get install gettext)")
    for name in ("apiary_sales", "inventory", "templates", "manage.py"):
        copy = shutil.copytree if (settings.BASE_DIR / name).is_dir() else shutil.copy
        copy(settings.BASE_DIR / name, tmp_path / name)

    subprocess.run(
        [sys.executable, "manage.py", "makemessages", "-l", "es", "--no-obsolete"],
        cwd=tmp_path,
        check=True,
        capture_output=True,
    )

    made = tmp_path / CATALOGUE.relative_to(settings.BASE_DIR)
    assert {english for english, _ in entries(made)} == {english for english, _ in entries()}


def test_spanish_keeps_every_figure_of_a_sentence():
    holes = re.compile(r"%\(\w+\)[sd]|%s|%d|\{\w+\}")

    wrong = [
        english
        for english, spanish in entries()
        if sorted(holes.findall(english)) != sorted(holes.findall(spanish))
    ]

    assert wrong == []


@pytest.mark.parametrize("catalogue", CATALOGUES, ids=str)
def test_the_compiled_catalogue_is_the_one_in_the_repository(tmp_path, catalogue):
    compiled = tmp_path / "django.mo"
    try:
        subprocess.run(["msgfmt", "-o", compiled, catalogue], check=True)
    except FileNotFoundError:
        skips.skip("gettext is not installed (Debian: apt-get install gettext)")

    assert compiled.read_bytes() == catalogue.with_suffix(".mo").read_bytes()


@pytest.mark.django_db
def test_a_page_speaks_the_language_a_person_chose(client):
    client.force_login(builders.person("owner"))

    spanish = client.get(reverse("inventory:honey"), headers={"Accept-Language": "es"}).text

    assert '<html lang="es"' in spanish
    assert "Miel" in spanish


@pytest.mark.parametrize(
    ("language", "day", "moment", "month"),
    [
        ("en-us", "Nov 5, 2026", "Nov 5, 2026, 2:03 p.m.", "November 2026"),
        ("es", "5 nov 2026", "5 nov 2026, 14:03", "noviembre de 2026"),
    ],
)
def test_a_day_is_written_in_one_way(language, day, moment, month):
    at = datetime(2026, 11, 5, 14, 3)

    with translation.override(language):
        assert {date_format(at, name) for name in ("DATE_FORMAT", "SHORT_DATE_FORMAT")} == {day}
        assert date_format(at, "SHORT_DATETIME_FORMAT") == moment
        assert date_format(at, "YEAR_MONTH_FORMAT") == month
