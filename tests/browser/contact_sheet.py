"""Photograph every state of the stand, small and large, light and dark, English and Spanish.

python -m tests.browser.contact_sheet FOLDER [GROUP OR STATE …]

It makes the house of the demo in a folder of its own, serves it, drives a telephone into each state
of `STATES`, and lays the photographs side by side: a sheet for each group and language, and an
`index.html` with all of them.
"""

import html
import os
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import groupby, product
from pathlib import Path
from urllib.parse import urlsplit

from PIL import Image, ImageDraw, ImageFont

from tests.browser.states import State

SIZES = ((360, 640), (390, 844), (768, 1024))
SCHEMES = ("light", "dark")
LANGUAGES = ("en", "es")
# Of a long page so much is on a photograph.
LONGEST = 2000
LOOK = "(part) => part.scrollIntoView({ block: 'center', inline: 'center' })"
# On a sheet.
SCALE = 0.5
GAP, CAPTION = 16, 40


def photograph(page, folder: Path, state: State) -> list[Path]:
    """Photograph what is on the page at all sizes in both schemes, and return the files."""
    files = []
    # Nothing is under the pointer on a telephone.
    page.mouse.move(0, 0)
    for scheme, (width, height) in product(SCHEMES, SIZES):
        page.emulate_media(color_scheme=scheme)
        page.set_viewport_size({"width": width, "height": height})
        if state.look_at:
            page.locator(state.look_at).evaluate(LOOK)
        if state.is_whole:
            # What is fixed at the end of a window is at the end of the photograph.
            height = min(page.evaluate("document.documentElement.scrollHeight"), LONGEST)
            page.set_viewport_size({"width": width, "height": height})
        path = folder / f"{state.name}-{scheme}-{width}.png"
        page.screenshot(path=path, animations="disabled")
        files.append(path)
    return files


@contextmanager
def phone(browser, address: str, session: str, language: str) -> Iterator:
    """Open a telephone of its own, signed in with a session."""
    width, height = SIZES[0]
    context = browser.new_context(
        base_url=address,
        viewport={"width": width, "height": height},
        has_touch=True,
        locale=language,
    )
    context.set_default_timeout(15_000)
    context.add_cookies(
        [{"name": "sessionid", "value": session, "domain": urlsplit(address).hostname, "path": "/"}]
    )
    try:
        yield context.new_page()
    finally:
        context.close()


def sheet(rows: Sequence[tuple[str, Sequence[Path]]], target: Path) -> None:
    """Lay photographs on a sheet: a row for each caption, its photographs side by side."""
    font = ImageFont.load_default(20)
    pictures = [(caption, [_small(path) for path in files]) for caption, files in rows]
    heights = [max(picture.height for picture in row) + CAPTION + GAP for _caption, row in pictures]
    width = max(sum(picture.width + GAP for picture in row) for _caption, row in pictures) + GAP
    whole = Image.new("RGB", (width, sum(heights) + GAP), "#9a958d")
    draw = ImageDraw.Draw(whole)
    top = GAP
    for (caption, row), height in zip(pictures, heights, strict=True):
        draw.text((GAP, top), caption, font=font, fill="#000000")
        left = GAP
        for picture in row:
            whole.paste(picture, (left, top + CAPTION - GAP // 2))
            left += picture.width + GAP
        top += height
    whole.save(target)


def _small(path: Path) -> Image.Image:
    with Image.open(path) as image:
        size = (round(image.width * SCALE), round(image.height * SCALE))
        return image.convert("RGB").resize(size, Image.Resampling.LANCZOS)


def index(folder: Path, sheets: Sequence[tuple[str, Path]], title: str = "The stand") -> None:
    """Write the page that shows all sheets."""
    parts = [
        f"<h2>{html.escape(name)}</h2>"
        f'<a href="{path.name}"><img src="{path.name}" alt="{html.escape(name)}"></a>'
        for name, path in sheets
    ]
    text = f'<!doctype html><meta charset="utf-8"><title>{title}</title>' + "\n".join(parts)
    (folder / "index.html").write_text(text + "\n", encoding="utf-8")


def lay_out(folder: Path, taken: Sequence[tuple[State, str, Sequence[Path]]]) -> None:
    """Make the sheets of what was photographed, as (state, language, files), and their index."""
    by_sheet = sorted(taken, key=lambda each: each[1])
    sheets = []
    for (language, group), rows in groupby(by_sheet, key=lambda each: (each[1], each[0].group)):
        target = folder / f"{group.lower().replace(' ', '-')}-{language}.png"
        sheet([(f"{state.caption} ({language})", files) for state, _, files in rows], target)
        sheets.append((f"{group}, {language}", target))
    index(folder, sheets)


def main(folder: Path, wanted: Sequence[str]) -> int:
    """Make the sheets in a folder, and return how many states could not be driven."""
    house = tempfile.TemporaryDirectory(prefix="stand-house-")
    os.environ |= {
        "DATA_DIR": house.name,
        "DJANGO_SETTINGS_MODULE": "apiary_sales.settings",
        "DJANGO_ALLOW_ASYNC_UNSAFE": "true",
    }
    import django

    django.setup()
    from tests.browser import photo_studio

    with house:
        taken, failed = photo_studio.take_all(folder, Path(house.name), wanted)
        lay_out(folder, taken)
    print(f"{len(taken)} rows in {folder / 'index.html'}, {len(failed)} states failed")
    return len(failed)


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    sys.exit(1 if main(Path(sys.argv[1]), sys.argv[2:]) else 0)
