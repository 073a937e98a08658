"""A logo that is uploaded: what it is by its bytes, and made safe before it is kept.

A photo or drawing in pixels is written anew, which leaves out all that is not picture. Of an SVG
only what draws is kept; one that runs or loads something is refused.
"""

import io
import re
import warnings
from xml.etree import ElementTree

from django.utils.translation import gettext as _

from inventory.shared.errors import BadValue
from inventory.shared.file_contents import one_picture_at_a_time

SIZE_BYTES_MAX = 2_000_000
PIXELS_MAX = 50_000_000
# 30 mm at 600 dots an inch: no paper shows more.
SIDE_PIXELS_MAX = 1_200
# A drawing is drawn on every paper; one of a few lines can say that it repeats itself without end.
LEVELS_MAX = 50
PARTS_MAX = 20_000

SVG = "{http://www.w3.org/2000/svg}"
LINK = "{http://www.w3.org/1999/xlink}href"
DRAWS = frozenset(
    [
        "svg",
        "g",
        "defs",
        "symbol",
        "use",
        "path",
        "rect",
        "circle",
        "ellipse",
        "line",
        "polyline",
        "polygon",
        "clipPath",
        "mask",
        "linearGradient",
        "radialGradient",
        "stop",
        "style",
    ]
)
# What a drawing may do without; anything else that is not drawn with is refused.
LEFT_OUT = frozenset({"title", "desc", "metadata"})
# As most programs write it, without definitions of its own.
DOCTYPE = re.compile(r"<!DOCTYPE[^\[>]*>", re.IGNORECASE)
# An address anywhere but in the drawing itself, and all that hides one.
REACHES_OUT = re.compile(r"url\(\s*['\"]?(?!#)|@|\\|expression|javascript:", re.IGNORECASE)


def accepted() -> str:
    """Say what is accepted, for the form and for every refusal."""
    return _("Accepted are PNG, JPEG and SVG, up to 2 MB.")


def media_type(content: bytes) -> str:
    """Return the type of a logo that was cleaned."""
    if content.startswith(b"\x89PNG"):
        return "image/png"
    return "image/jpeg" if content.startswith(b"\xff\xd8\xff") else "image/svg+xml"


def cleaned(content: bytes) -> bytes:
    """Return a logo as it is kept; raises `BadValue`, parameter "file", for what can't be one."""
    if not content:
        raise _refused(_("The file is empty."))
    if len(content) > SIZE_BYTES_MAX:
        raise _refused(_("The file is larger than 2 MB. Make it smaller."))
    if content.startswith((b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff")):
        return _pixels(content)
    return _drawing(content)


def _pixels(content: bytes) -> bytes:
    from PIL import Image, UnidentifiedImageError

    with one_picture_at_a_time, warnings.catch_warnings():
        # Our own bound is below the one at which Pillow warns.
        warnings.simplefilter("ignore")
        try:
            with Image.open(io.BytesIO(content), formats=["PNG", "JPEG"]) as image:
                if image.width * image.height > PIXELS_MAX:
                    raise _refused(_("The picture has more than 50 million pixels."))
                name = str(image.format)
                # A palette may have a see-through colour; a JPEG for the press has four inks.
                found = image.convert("RGB" if name == "JPEG" else "RGBA")
                found.thumbnail((SIDE_PIXELS_MAX, SIDE_PIXELS_MAX))
                written = io.BytesIO()
                bare = Image.new(found.mode, found.size)
                bare.paste(found)
                bare.save(written, format=name)
                return written.getvalue()
        except (Image.DecompressionBombError, UnidentifiedImageError, OSError, SyntaxError):
            raise _refused(_("The picture can't be opened. Save it again.")) from None
        except (ValueError, EOFError):
            raise _refused(_("The picture can't be opened. Save it again.")) from None


def _drawing(content: bytes) -> bytes:
    try:
        text = DOCTYPE.sub("", content.decode("utf-8-sig"))
        if "<!DOCTYPE" in text.upper() or "<!ENTITY" in text.upper():
            raise _refused(_("The SVG defines entities, which no drawing needs."))
        root = ElementTree.fromstring(text)
    except (UnicodeDecodeError, ElementTree.ParseError, ValueError):
        raise _refused(_("The file is no picture that is accepted here.")) from None
    if root.tag != f"{SVG}svg":
        raise _refused(_("The file is no picture that is accepted here."))
    _check_size(root)
    _keep_what_draws(root)
    ElementTree.register_namespace("", SVG.strip("{}"))
    ElementTree.register_namespace("xlink", LINK[1:].removesuffix("}href"))
    kept: bytes = ElementTree.tostring(root, encoding="utf-8")
    return kept


def _check_size(root: ElementTree.Element) -> None:
    """Refuse a drawing of too many parts, with those that it repeats, or of too many levels."""
    parts: list[ElementTree.Element] = []
    waiting = [(root, 1)]
    while waiting:
        part, level = waiting.pop()
        if level > LEVELS_MAX:
            raise _refused(_("The SVG has groups in groups, more than 50 levels deep."))
        parts.append(part)
        waiting += [(inner, level + 1) for inner in part]
    repeated: dict[str, int] = {}
    for part in parts:
        if name := part.get("id"):
            has_more = any(inner.tag == f"{SVG}use" for inner in part.iter() if inner is not part)
            repeated[f"#{name}"] = PARTS_MAX if has_more else sum(1 for _inner in part.iter())
    count = len(parts)
    for part in parts:
        if part.tag == f"{SVG}use":
            count += repeated.get(part.get("href") or part.get(LINK) or "", 0)
    if count > PARTS_MAX:
        raise _refused(_("The SVG has far too many parts. Draw it more simply."))


def _keep_what_draws(element: ElementTree.Element) -> None:
    for name, value in list(element.attrib.items()):
        local = name.removeprefix(SVG)
        is_link = name == LINK or local == "href"
        if "}" in local and not is_link:
            # What the drawing program wrote down for itself.
            del element.attrib[name]
        elif local.lower().startswith("on"):
            raise _refused(_("The SVG has a script in it."))
        elif REACHES_OUT.search(value) or (is_link and not value.startswith("#")):
            raise _refused(_("The SVG loads something from elsewhere."))
    if REACHES_OUT.search(element.text or ""):
        raise _refused(_("The SVG loads something from elsewhere."))
    for part in list(element):
        local = str(part.tag).removeprefix(SVG)
        if "}" in local or local in LEFT_OUT:
            element.remove(part)
        elif local not in DRAWS:
            raise _refused(
                _("The SVG has “%(part)s” in it; only what draws is accepted.") % {"part": local}
            )
        else:
            _keep_what_draws(part)


def _refused(sentence: str) -> BadValue:
    return BadValue(f"{sentence} {accepted()}", parameter="file")
