"""What tests of printed labels share: a PDF as a picture, and the codes that a scanner finds."""

import io
import subprocess

import zxingcpp
from PIL import Image

MM_PER_INCH = 25.4


def picture(pdf: bytes, *, dpi: int = 200, page: int = 1, box_mm=None) -> Image.Image:
    """Return a page in grey, or only its box (left, top, width, height) in millimetres."""
    command = ["pdftoppm", "-gray", "-r", str(dpi), "-f", str(page), "-l", str(page)]
    if box_mm:
        left, top, width, height = (round(mm * dpi / MM_PER_INCH) for mm in box_mm)
        command += ["-x", str(left), "-y", str(top), "-W", str(width), "-H", str(height)]
    made = subprocess.run(command, input=pdf, capture_output=True, check=True, timeout=60)
    return Image.open(io.BytesIO(made.stdout))


def pages(pdf: bytes) -> int:
    told = subprocess.run(["pdfinfo", "-"], input=pdf, capture_output=True, check=True, timeout=60)
    return int(told.stdout.decode().split("Pages:")[1].split()[0])


def text(pdf: bytes) -> str:
    """Return the words of a PDF."""
    command = ["pdftotext", "-", "-"]
    made = subprocess.run(command, input=pdf, capture_output=True, check=True, timeout=60)
    return made.stdout.decode()


def codes(image: Image.Image) -> list[tuple[str, str]]:
    """Return each code in a picture once: its kind and its text, GS1 identifiers in brackets."""
    return sorted({(found.format.name, found.text) for found in zxingcpp.read_barcodes(image)})


def ink(image: Image.Image) -> tuple[int, int, int, int]:
    """Return the box around all that is darker than middle grey: left, top, right, bottom."""
    box = image.point(lambda grey: 255 if grey < 128 else 0).getbbox()
    assert box is not None
    return box


def letters(image: Image.Image) -> list[tuple[int, int]]:
    """Return the first and last column of each letter of one line of text."""
    black = image.point(lambda grey: 255 if grey < 128 else 0)
    columns = [
        black.crop((x, 0, x + 1, image.height)).getbbox() is not None for x in range(image.width)
    ]
    found, start = [], None
    for x, is_black in enumerate([*columns, False]):
        if is_black and start is None:
            start = x
        elif not is_black and start is not None:
            found.append((start, x))
            start = None
    return found
