"""Small files of each kind that can be attached, made here, and some that can't."""

import io
import struct
import zlib

from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

PDF = b"%PDF-1.7\n1 0 obj\n<< /Type /Catalog >>\nendobj\ntrailer\n<< /Root 1 0 R >>\n%%EOF\n"


def upload(name: str = "report.pdf", content: bytes = PDF, said: str = "") -> SimpleUploadedFile:
    """Return a file as a browser sends it; `said` is what the browser says that it is."""
    return SimpleUploadedFile(name, content, said or "application/octet-stream")


def image(kind: str, width: int = 3, height: int = 2) -> bytes:
    """Return an image of a kind that Pillow knows, all black."""
    made = io.BytesIO()
    Image.new("1" if kind == "PNG" else "RGB", (width, height)).save(made, kind)
    return made.getvalue()


def png_that_says(width: int, height: int) -> bytes:
    """Return a PNG of a few bytes whose header says that it is so large."""
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + _chunk(b"IHDR", header) + _chunk(b"IDAT", zlib.compress(b""))


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
