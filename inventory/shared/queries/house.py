"""The logo of the house, read from where it is kept."""

from inventory.shared.models import House


def read(house: House) -> bytes:
    """Return the picture; empty without a logo, or where a backup was restored without files."""
    if not house.logo:
        return b""
    try:
        with house.logo.open("rb") as kept:
            content: bytes = kept.read()
            return content
    except FileNotFoundError:
        return b""
