"""Keep a dump of this version for both databases, and list what has landed.

    python -m tests.upgrade.make_dumps

Run it when a version is finished (see "Releases" in DEVELOPERS.md). A dump that is there is never
made again: the version it belongs to is in use.
"""

import shutil
import tempfile
from pathlib import Path

from apiary_sales import __version__
from tests import postgresql
from tests.upgrade import databases, landed


def main() -> None:
    for vendor, make in MAKERS.items():
        path = databases.dump_path(__version__, vendor)
        if path.exists():
            print(f"{path.name} is there: left alone")
            continue
        path.write_text(make(), encoding="utf-8")
        print(f"{path.name}: {path.stat().st_size // 1000} kB")
    for name in landed.add_new():
        print(f"listed {name}")


def sqlite(empty: Path | None = None) -> str:
    """Return the house as SQL text; made in a copy of an empty database where there is one."""
    with tempfile.TemporaryDirectory(prefix="honey-dump-") as folder:
        database = Path(folder) / "honey.sqlite3"
        if empty:
            shutil.copyfile(empty, database)
        _make_house(folder, databases.sqlite_url(database))
        return databases.dump_sqlite(database)


def on_postgresql() -> str:
    with tempfile.TemporaryDirectory(prefix="honey-dump-") as folder, postgresql.server() as url:
        _make_house(folder, url)
        return databases.dump_postgresql(url)


MAKERS = {"sqlite": sqlite, "postgresql": on_postgresql}


def _make_house(folder: str, database_url: str) -> None:
    made = databases.run(
        "from tests.upgrade import full_house; full_house.make()",
        data_dir=Path(folder),
        database_url=database_url,
    )
    if made.returncode:
        raise SystemExit(made.stderr)


if __name__ == "__main__":
    main()
