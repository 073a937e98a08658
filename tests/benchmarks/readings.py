"""What is read of a house: its pages and the readings of its API, as each role, and busy things."""

import re
from collections.abc import Iterator

from tests.benchmarks.visitor import Visitor

ROLES = ("owner", "office", "bottling", "stand")
# What works a plan out takes as long as its own benchmarks say, whatever is in the books.
PLANNING = re.compile(r"^(planning|plan|season|blending):|bottling-plan|season-plan|price-trial")
# What may be asked of a list: far back, and for a word that much or nothing has.
FAR = "?page=last"
SEARCHES = {
    "search: a code": "/find/?q=K26-0001",
    "search: what much has": "/find/?q=26-",
    "search: nothing has it": "/find/?q=xylophone",
}


def of(house: Visitor) -> dict[str, str]:
    """Return the address of each reading by a name; the houses have the same things of today."""
    found = house.ask(act="walk", role="owner")
    kept = {name: path for name, path in found.items() if not PLANNING.search(name)}
    return kept | dict(_far(kept)) | SEARCHES


def _far(found: dict[str, str]) -> Iterator[tuple[str, str]]:
    for name, path in found.items():
        is_list = name.endswith(("_list", ":list", "-list", "s")) and not name.startswith("admin:")
        if is_list and not name.startswith("api:"):
            yield f"{name}, last page", path + FAR
