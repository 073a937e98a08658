"""What a file is, found out from its bytes: neither its name nor the browser is believed."""

import io
import re
import threading
import unicodedata
import warnings
from dataclasses import dataclass

from django.utils.translation import gettext as _

from inventory.shared.errors import BadValue
from inventory.shared.models.files import NAME_LENGTH_MAX

SIZE_BYTES_MAX = 10_000_000
# The photos of today's telephones have up to 50 million pixels. A few kilobytes can say that they
# unpack to far more, and would take all the memory of the machine.
PIXELS_MAX = 50_000_000
# What an image is called by Pillow, and by everybody else.
IMAGES = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}
# The endings that a name may have; the first one is given to a name with another.
SUFFIXES = {
    "application/pdf": (".pdf",),
    "image/jpeg": (".jpg", ".jpeg"),
    "image/png": (".png",),
    "image/webp": (".webp",),
    "text/plain": (".txt",),
    "text/csv": (".csv",),
}
# What says of a name what kind of file it is: letters first, so that "report 3.2026" has none.
ENDING = re.compile(r"\.[A-Za-z][A-Za-z0-9]{0,4}$")
# What a browser shows by itself without running anything of it.
SHOWN_INLINE = frozenset({"application/pdf", *IMAGES.values()})

# What no text has in it, apart from tabs and the ends of lines.
CONTROL_CHARACTERS = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]")

# A photo takes up to 200 MB while it is opened, so they are opened one at a time.
one_picture_at_a_time = threading.Lock()


@dataclass(frozen=True)
class FileFound:
    """A file that is accepted: its type by its bytes, and a name that fits the type."""

    media_type: str
    name: str


def accepted() -> str:
    """Say what is accepted, for a form and for every refusal."""
    return _("Accepted are PDF, JPEG, PNG, WebP, CSV and plain text, up to 10 MB.")


def examine(content: bytes, name: str) -> FileFound:
    """Return what a file is; raises `BadValue`, parameter "file", for what is not accepted."""
    name = plain_name(name)
    if not content:
        raise _refused(_("%(name)s is empty.") % {"name": name})
    if len(content) > SIZE_BYTES_MAX:
        raise _refused(
            _("%(name)s is larger than 10 MB. Make it smaller, or scan it again more coarsely.")
            % {"name": name}
        )
    media_type = _media_type(content, name)
    suffixes = SUFFIXES[media_type]
    if not name.lower().endswith(suffixes):
        if ending := ENDING.search(name):
            raise _refused(
                _("%(name)s ends in %(ending)s, but what is in it is %(found)s.")
                % {"name": name, "ending": ending[0], "found": in_words(media_type)}
            )
        name = name[: NAME_LENGTH_MAX - len(suffixes[0])] + suffixes[0]
    return FileFound(media_type=media_type, name=name)


def in_words(media_type: str) -> str:
    """Say what a file of an accepted type is."""
    if media_type == "application/pdf":
        return _("a PDF")
    if media_type in IMAGES.values():
        return _("a picture")
    return _("plain text")


def plain_name(typed: str) -> str:
    """Return a name without its path, and without characters that are not seen.

    A mark of writing direction can make "cod.exe" look like "exe.doc".
    """
    last = typed.replace("\\", "/").rsplit("/", 1)[-1]
    seen = "".join(
        letter
        for letter in unicodedata.normalize("NFC", last)
        if letter == " " or unicodedata.category(letter)[0] not in "CZ"
    )
    name = " ".join(seen.split()).strip(". ")
    if len(name) > NAME_LENGTH_MAX:
        stem, dot, suffix = name.rpartition(".")
        keep = dot + suffix if stem and len(suffix) <= 5 else ""
        name = name[: NAME_LENGTH_MAX - len(keep)] + keep
    return name or "file"


def _media_type(content: bytes, name: str) -> str:
    if content.startswith(b"%PDF-"):
        # The end of a PDF says where its parts are: without it, the rest of the file is missing.
        if b"%%EOF" not in content[-2048:]:
            raise _refused(_("%(name)s is a PDF whose end is missing.") % {"name": name})
        return "application/pdf"
    if _begins_as_image(content):
        return _image_type(content, name)
    if _is_text(content):
        return "text/csv" if name.lower().endswith(".csv") else "text/plain"
    raise _refused(
        _("%(name)s is neither a document nor a photo of a kind that is accepted here.")
        % {"name": name}
    )


def _begins_as_image(content: bytes) -> bool:
    return content.startswith((b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n")) or (
        content[:4] == b"RIFF" and content[8:12] == b"WEBP"
    )


def _image_type(content: bytes, name: str) -> str:
    """Open an image all the way, and return its type."""
    from PIL import Image, UnidentifiedImageError

    broken = _("%(name)s can't be opened as a photo. Save or scan it again.") % {"name": name}
    too_large = _("%(name)s has too many pixels: more than 50 million.") % {"name": name}
    with one_picture_at_a_time, warnings.catch_warnings():
        # Our own bound is below the one at which Pillow warns.
        warnings.simplefilter("ignore")
        try:
            with Image.open(io.BytesIO(content), formats=list(IMAGES)) as image:
                if image.width * image.height > PIXELS_MAX:
                    raise _refused(too_large)
                # A JPEG can be read at an eighth of its size, in a fraction of the memory.
                image.draft("RGB", (max(1, image.width // 8), max(1, image.height // 8)))
                image.load()
                return IMAGES[str(image.format)]
        except Image.DecompressionBombError:
            raise _refused(too_large) from None
        except (UnidentifiedImageError, OSError, SyntaxError, ValueError, EOFError):
            raise _refused(broken) from None


def _is_text(content: bytes) -> bool:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return False
    return not CONTROL_CHARACTERS.search(text)


def _refused(sentence: str) -> BadValue:
    return BadValue(f"{sentence} {accepted()}", parameter="file")
