"""The list of what has landed and is never changed again: migrations, and dumps of databases.

`landed.sha256` has one line a file, as `sha256sum` writes it. New files are added to it by

    python -m tests.upgrade.landed

which leaves the lines that are there alone.
"""

import hashlib
from collections.abc import Iterator
from pathlib import Path

from tests.upgrade import databases

LIST = databases.FOLDER / "landed.sha256"
WAY_OUT = {
    ".py": "add a new migration instead",
    ".sql": "a dump is made once, when its version is finished",
}


def add_new(list_path: Path = LIST, root: Path = databases.ROOT) -> list[str]:
    """List the files that are not listed yet, and return their names."""
    listed = read(list_path)
    new = {name: _sha256(root / name) for name in files(root) if name not in listed}
    lines = [f"{sha256}  {name}\n" for name, sha256 in sorted((listed | new).items())]
    list_path.write_text("".join(lines), encoding="utf-8")
    return list(new)


def faults(list_path: Path = LIST, root: Path = databases.ROOT) -> Iterator[str]:
    """Yield a sentence for each file that was changed, removed or not listed."""
    listed = read(list_path)
    there = files(root)
    for name, sha256 in listed.items():
        way_out = WAY_OUT[Path(name).suffix]
        if name not in there:
            yield f"{name} has landed and was removed: put it back; {way_out}."
        elif _sha256(root / name) != sha256:
            yield f"{name} has landed and was changed: change it back; {way_out}."
    for name in there:
        if name not in listed:
            yield f"{name} is new: run python -m tests.upgrade.landed and commit the list."


def read(list_path: Path = LIST) -> dict[str, str]:
    """Return the digest of each listed file, by its path from the root of the checkout."""
    rows = (line.split(maxsplit=1) for line in list_path.read_text(encoding="utf-8").splitlines())
    return {name: sha256 for sha256, name in rows}


def files(root: Path = databases.ROOT) -> list[str]:
    """Return the path of every migration and every dump of the checkout."""
    migrations = [
        path
        for package in ("apiary_sales", "inventory")
        for path in (root / package).rglob("migrations/*.py")
        if path.name != "__init__.py"
    ]
    dumps = (root / "tests" / "upgrade").glob("*.sql")
    return sorted(path.relative_to(root).as_posix() for path in [*migrations, *dumps])


def _sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


if __name__ == "__main__":
    for added in add_new():
        print(f"listed {added}")
