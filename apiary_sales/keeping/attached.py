"""The attached files of a backup, compared with the rows that name them."""

from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.keeping import archive, beside
from apiary_sales.keeping.archive import Manifest

NAMED_MAX = 10


@dataclass(frozen=True)
class Lacking:
    """An attached file that a backup does not hold as it was attached: its name, and on disk."""

    name: str
    file: str


def lacking(database: str, manifest: Manifest) -> list[Lacking]:
    """Return the files that rows of an unpacked backup name, and that it lacks or has otherwise.

    `database` is the name of its database, loaded beside the house's own.
    """
    held = {member.name: member for member in manifest.members}
    with beside.opened(database) as copy, copy.cursor() as cursor:
        # A row whose file was erased names none.
        cursor.execute(
            "SELECT name, file, size_bytes, sha256 FROM inventory_attachment "
            "WHERE file <> '' ORDER BY id"
        )
        attached = cursor.fetchall()
        cursor.execute("SELECT logo FROM accounts_house WHERE logo <> ''")
        logos = cursor.fetchall()
    found = []
    for name, file, size, sha256 in attached:
        member = held.get(f"{archive.FILES}/{file}")
        if member is None or (member.size, member.sha256) != (size, sha256):
            found.append(Lacking(name, file))
    found += [
        Lacking(_("logo"), logo) for (logo,) in logos if f"{archive.FILES}/{logo}" not in held
    ]
    return found


def words(files: list[Lacking]) -> str:
    """Say which files a backup lacks; nothing where it has all."""
    if not files:
        return ""
    named = [f"{lacking.name} ({lacking.file})" for lacking in files[:NAMED_MAX]]
    if len(files) > NAMED_MAX:
        named.append("…")
    return ngettext(
        "The books are right, and %(count)s attached file is missing in FILES_DIR or was changed "
        "there: %(names)s. Bring it back from an earlier backup.",
        "The books are right, and %(count)s attached files are missing in FILES_DIR or were "
        "changed there: %(names)s. Bring them back from an earlier backup.",
        len(files),
    ) % {"count": f"{len(files):,}", "names": "; ".join(named)}
