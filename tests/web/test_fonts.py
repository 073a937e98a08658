"""The font of pages and papers comes with the service, whatever fonts the machine has."""

import io
import os
import re
import subprocess
import sys
from pathlib import Path

import pypdf
import pytest
from django.conf import settings
from django.contrib.staticfiles import finders
from fontTools.ttLib import TTFont

from inventory.shared import lettering, press

STYLE = Path(settings.BASE_DIR) / "apiary_sales/web/static/web/app.css"
# A fontconfig that knows no folder of fonts at all.
NO_FONTS = '<?xml version="1.0"?><!DOCTYPE fontconfig SYSTEM "fonts.dtd"><fontconfig></fontconfig>'
MAKE = """
import sys, django
django.setup()
from inventory.shared import press
sys.stdout.buffer.write(press.paper("<p>Miel de azahar 1,284.50 € Łódź</p>"))
"""


def fonts_in(pdf: bytes) -> set[str]:
    found = set()
    for page in pypdf.PdfReader(io.BytesIO(pdf)).pages:
        for font in page["/Resources"]["/Font"].values():
            found.add(re.sub(r"^/[A-Z]{6}\+", "", font.get_object()["/BaseFont"]))
    return found


def test_a_machine_without_fonts_makes_papers_with_the_houses_font(tmp_path):
    config = tmp_path / "fonts.conf"
    config.write_text(NO_FONTS)

    made = subprocess.run(
        [sys.executable, "-c", MAKE],
        cwd=settings.BASE_DIR,
        env={
            **os.environ,
            "DJANGO_SETTINGS_MODULE": "apiary_sales.settings",
            "FONTCONFIG_FILE": str(config),
            "DATA_DIR": str(tmp_path),
        },
        capture_output=True,
        timeout=120,
    )

    assert made.returncode == 0, made.stderr.decode()
    assert {name.split("-")[0] for name in fonts_in(made.stdout)} == {"House"}
    text = pypdf.PdfReader(io.BytesIO(made.stdout)).pages[0].extract_text()
    assert "Miel de azahar 1,284.50 € Łódź" in text


@pytest.mark.parametrize("style", [press.PAPER_CSS, press.ROLL_CSS])
def test_every_paper_names_the_houses_font_first(style):
    named = re.findall(r"font-family: ([^;]+);", style.read_text())

    assert named
    assert all(each.startswith('"House Sans", "House Sans More"') for each in named)


def test_pages_load_the_same_font_files():
    loaded = re.findall(r'url\("\.\./(inventory/fonts/[^"]+)"\)', STYLE.read_text())

    assert len(loaded) == len(lettering.FAMILIES) * len(lettering.WEIGHTS)
    assert {Path(finders.find(name)).parent for name in loaded} == {lettering.FONTS}


def test_figures_are_all_as_wide_so_that_they_stand_under_each_other():
    for file in lettering.FONTS.glob("noto-sans-latin-*.woff2"):
        font = TTFont(file)
        names = font.getBestCmap()
        if ord("0") not in names:
            continue

        assert len({font["hmtx"][names[ord(figure)]][0] for figure in "0123456789"}) == 1


@pytest.mark.parametrize("style", [press.PAPER_CSS, press.ROLL_CSS])
def test_no_paper_asks_for_a_feature_of_the_font(style):
    # WeasyPrint lets go of nothing that it makes for one, of each text anew.
    assert not re.search(r"font-(feature|variant-numeric)", style.read_text())
