"""A backup is one whole file, and a restore proves it before anything is replaced."""

import os
import re
import sqlite3
import stat
from contextlib import closing
from datetime import UTC, date, datetime
from io import StringIO
from pathlib import Path
from subprocess import CompletedProcess
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest
from django.core.management import CommandError, call_command
from django.db import OperationalError, connection

from apiary_sales.keeping import archive, beside, in_use, marks, proving, sealing, snapshots
from apiary_sales.keeping.models import Backup
from apiary_sales.keeping.queries import backup_state
from apiary_sales.keeping.services import backups, nightly, restoring
from inventory.shared.errors import BadValue, NotAllowedNow
from inventory.shared.services import files
from inventory.shared.services.long_work import Stopped
from inventory.stock.models import Lot, Place, Seal
from tests import builders
from tests.uploads import upload

pytestmark = pytest.mark.data_layer

PASSPHRASE = "wild thyme and bell heather"


@pytest.fixture(autouse=True)
def _fast_keys(monkeypatch):
    """Make keys fast: how long a guess takes is scrypt's to test."""
    monkeypatch.setattr(sealing, "COST", 2**4)


@pytest.fixture
def house(own_database, settings):
    """A house with honey in a tank and one attached file."""
    builders.person("owner")
    builders.lot_in(builders.place("tank-1"), 500_000)
    (settings.FILES_DIR / "a1b2").write_bytes(b"a photo")
    return own_database


def grams() -> list[int]:
    return sorted(Lot.objects.filter(product=None).values_list("pk", flat=True))


def test_a_restore_brings_back_the_books_and_the_files_of_the_moment(house, settings):
    made = backups.make()
    lots = grams()
    builders.lot_in(builders.place("tank-2"), 100_000)
    (settings.FILES_DIR / "a1b2").unlink()

    done = restoring.restore(file=Path(made.file), over_newer=True)

    assert grams() == lots
    assert (settings.FILES_DIR / "a1b2").read_bytes() == b"a photo"
    assert (done.files, done.key) == (1, "left out")
    # The old database is kept, with what was newer.
    connection.close()
    connection.settings_dict["NAME"] = done.old_database
    assert len(grams()) == len(lots) + 1


def test_a_restored_database_knows_the_backup_that_it_came_from(house, proved_at_once):
    made = backups.make()

    restoring.restore(file=Path(made.file), over_newer=True)

    [known] = Backup.objects.all()
    assert (known.pk, known.file, known.sha256) == (made.pk, made.file, made.sha256)
    assert (known.size_bytes, known.is_encrypted) == (made.size_bytes, False)
    assert known.seal == made.seal == str(Seal.objects.get())
    assert (known.is_good, known.rehearsal_ok) == (True, True)
    assert backup_state.of_house().warns is False


def test_a_restore_is_refused_over_newer_entries(house):
    made = backups.make()
    builders.lot_in(builders.place("tank-2"), 100_000)
    lots = grams()

    with pytest.raises(NotAllowedNow) as refused:
        restoring.restore(file=Path(made.file))

    assert "places: 1" in refused.value.message
    assert "--over-newer" in refused.value.message
    assert grams() == lots


def test_a_restore_is_refused_where_both_went_on_apart(house, proved_at_once):
    first = backups.make()
    builders.lot_in(builders.place("tank-2"), 100_000)
    builders.lot_in(builders.place("tank-3"), 100_000)
    second = backups.make()
    restoring.restore(file=Path(first.file), over_newer=True)
    builders.lot_in(builders.place("tank-4"), 300_000)
    lots = grams()

    with pytest.raises(NotAllowedNow) as refused:
        restoring.restore(file=Path(second.file))

    assert refused.value.message.startswith(
        "The last entries of the database here are not in this backup: it is of another house, or "
        "the two went on apart."
    )
    assert grams() == lots
    assert Place.objects.filter(code="tank-4").exists()


def test_a_restore_brings_a_house_from_an_earlier_to_a_later_backup(house, proved_at_once):
    first = backups.make()
    builders.lot_in(builders.place("tank-2"), 100_000)
    later = grams()
    second = backups.make()
    restoring.restore(file=Path(first.file), over_newer=True)

    restoring.restore(file=Path(second.file))

    assert grams() == later


def test_two_restores_within_a_second_each_keep_what_they_replaced(tmp_path):
    now = datetime(2026, 11, 27, 12, 54, 7, tzinfo=UTC)
    first = snapshots.kept_beside(tmp_path / "honey.sqlite3", now)
    first.touch()

    second = snapshots.kept_beside(tmp_path / "honey.sqlite3", now)

    assert first.name == "honey.sqlite3.before-restore-20261127T125407"
    assert second.name == "honey.sqlite3.before-restore-20261127T125407-2"


def test_nothing_is_replaced_by_a_backup_whose_books_are_wrong(house):
    with connection.cursor() as cursor:
        cursor.execute("UPDATE inventory_balance SET quantity = quantity + 1")
    made = backups.make()
    lots = grams()

    with pytest.raises(BadValue) as refused:
        restoring.restore(file=Path(made.file))

    assert refused.value.message.startswith("The books in this backup could not be proved:")
    assert grams() == lots


def test_a_backup_that_fails_its_rehearsal_is_no_good_one(house, monkeypatch):
    wrong = CompletedProcess([], 1, stdout="", stderr="3 faults.")
    monkeypatch.setattr(beside, "run", lambda *_: wrong)
    made = backups.make()

    backups.rehearse(backup=made)

    assert made.rehearsal_ok is False
    assert made.message == "The books in this backup could not be proved: 3 faults."
    assert not Backup.objects.good().exists()


def test_a_database_that_takes_no_row_is_one_sentence(house, monkeypatch):
    def full(**_):
        raise OperationalError("database or disk is full")

    monkeypatch.setattr(Backup.objects, "create", full)

    with pytest.raises(CommandError) as refused:
        call_command("backup")

    assert str(refused.value) == (
        "The database can't be read or written (database or disk is full). No backup was made. Is "
        "the disk of DATA_DIR full? Then make room first."
    )


@pytest.mark.skipif("postgres" in os.environ.get("DATABASE_URL", ""), reason="of SQLite alone")
def test_a_damaged_page_fails_the_rehearsal_also_outside_the_books(house, proved_at_once):
    with connection.cursor() as cursor:
        cursor.execute("SELECT rootpage FROM sqlite_master WHERE name = 'auth_permission'")
        [page] = cursor.fetchone()
        cursor.execute("PRAGMA page_size")
        [size] = cursor.fetchone()
        cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    connection.close()
    with Path(house).open("r+b") as opened:
        # Where the first of its rows begins.
        opened.seek((page - 1) * size + 12)
        opened.write(b"\xff\xff")
    made = backups.make()

    backups.rehearse(backup=made)

    assert made.rehearsal_ok is False
    assert made.message.startswith("The database in this backup is damaged (")


@pytest.mark.skipif("postgres" in os.environ.get("DATABASE_URL", ""), reason="of SQLite alone")
def test_a_restore_that_fails_at_its_last_step_leaves_the_database_in_its_place(
    house, proved_at_once, monkeypatch
):
    made = backups.make()
    lots = grams()
    rename = Path.rename

    def fails(path, target):
        if ".beside-" in path.name:
            raise OSError(5, "Input/output error")
        return rename(path, target)

    monkeypatch.setattr(Path, "rename", fails)

    with pytest.raises(OSError, match="Input/output error"):
        restoring.restore(file=Path(made.file))

    assert grams() == lots


def test_a_sealed_backup_holds_the_secret_key_and_an_open_one_does_not(house, settings, tmp_path):
    sealed = backups.make(passphrase=PASSPHRASE)
    plain = backups.make()

    archive.extract(Path(sealed.file), tmp_path / "sealed", PASSPHRASE)
    archive.extract(Path(plain.file), tmp_path / "plain")

    assert (tmp_path / "sealed" / "secret_key").read_text() == settings.SECRET_KEY
    assert not (tmp_path / "plain" / "secret_key").exists()
    assert settings.SECRET_KEY.encode() not in Path(sealed.file).read_bytes()
    assert stat.S_IMODE(Path(plain.file).stat().st_mode) == 0o600


def test_a_file_that_is_no_backup_is_refused(house, tmp_path):
    other = tmp_path / "notes.txt"
    other.write_text("no backup")

    with pytest.raises(BadValue) as refused:
        restoring.restore(file=other)

    assert refused.value.message == "notes.txt is no backup of this service, or is damaged."


def test_a_backup_of_a_later_version_is_refused(house, monkeypatch):
    monkeypatch.setattr(backups, "__version__", "99.0.0")
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO django_migrations (app, name, applied) "
            "VALUES ('inventory', '9999_later', CURRENT_TIMESTAMP)"
        )
    made = backups.make()

    with pytest.raises(BadValue) as refused:
        restoring.restore(file=Path(made.file))

    assert refused.value.message == (
        "This backup was made by a later version of the service: 99.0.0. Install that version, "
        "and restore it there."
    )


@pytest.mark.parametrize(
    ("ours", "theirs", "ways"),
    [
        ("sqlite", "postgresql", ["manage.py export_house", "manage.py import_house"]),
        ("postgresql", "sqlite", ["manage.py move_database"]),
    ],
)
def test_a_backup_of_another_kind_of_database_is_refused_with_the_way_that_works(
    house, monkeypatch, ours, theirs, ways
):
    monkeypatch.setattr(proving, "connection", SimpleNamespace(vendor=ours))
    manifest = archive.Manifest("1.0", "2026-11-27T08:00:00+00:00", theirs, [], {})

    with pytest.raises(BadValue) as refused:
        proving.check_version(manifest)

    commands = re.findall(r"manage\.py \w+", refused.value.message)
    assert commands == ways


def test_a_backup_that_fails_says_why_and_leaves_no_file(house, tmp_path):
    folder = tmp_path / "locked"
    folder.write_text("a file in the place of the folder")

    with pytest.raises(OSError, match="File exists"):
        backups.make(folder=folder)

    [failed] = Backup.objects.all()
    assert (failed.ok, failed.file, failed.has_failed) == (False, "", True)
    assert failed.message.startswith("The file could not be written or read:")


def test_the_commands_say_what_they_did(house, proved_at_once, tmp_path):
    said = StringIO()
    phrase = tmp_path / "passphrase"
    phrase.write_text(f"{PASSPHRASE}\n")

    call_command(
        *("backup", "--to", str(tmp_path), "--encrypt", "--passphrase-file", str(phrase)),
        stdout=said,
    )
    [file] = tmp_path.glob("honey-*.tar.gz.sealed")
    call_command("restore", str(file), "--passphrase-file", str(phrase), stdout=said)

    lines = said.getvalue().splitlines()
    assert lines[0].startswith(f"Backed up to {file} (")
    assert "Restored the database and 1 files." in lines
    assert "The secret key is the same." in lines


def test_the_backup_of_a_night_is_made_once_and_rehearsed(house, proved_at_once, settings):
    now = datetime(2026, 11, 27, 1, 31, tzinfo=ZoneInfo("America/Chicago"))
    before = sorted(path.name for path in settings.DATA_DIR.iterdir())

    first = nightly.make_nightly(now=now)
    second = nightly.make_nightly(now=now)

    assert (first, second) == ("made and rehearsed", "made already")
    [made] = Backup.objects.all()
    assert (made.night, made.rehearsal_ok) == (date(2026, 11, 27), True)
    after = sorted(path.name for path in settings.DATA_DIR.iterdir())
    assert after == sorted([*before, "backups"])


@pytest.mark.skipif("postgres" in os.environ.get("DATABASE_URL", ""), reason="of SQLite alone")
def test_a_backup_holds_what_was_committed_and_waits_for_no_writer(house, tmp_path):
    with closing(sqlite3.connect(house, isolation_level=None)) as writer:
        writer.execute("BEGIN IMMEDIATE")
        writer.execute("UPDATE inventory_place SET name = 'half written'")

        snapshots.database().copy_to(tmp_path / "copy")

        writer.execute("COMMIT")
    with closing(sqlite3.connect(tmp_path / "copy")) as copy:
        names = {name for (name,) in copy.execute("SELECT name FROM inventory_place")}
    assert names
    assert "half written" not in names


@pytest.mark.skipif("postgres" in os.environ.get("DATABASE_URL", ""), reason="of SQLite alone")
def test_a_damaged_database_is_replaced_where_that_is_asked_for(house, proved_at_once):
    made = backups.make()
    lots = grams()
    connection.close()
    Path(house).write_bytes(b"no database any more" * 500)

    with pytest.raises(NotAllowedNow) as refused:
        restoring.restore(file=Path(made.file))
    done = restoring.restore(file=Path(made.file), over_newer=True)

    assert "add --over-newer" in refused.value.message
    assert grams() == lots
    assert Path(done.old_database).read_bytes().startswith(b"no database any more")


def test_a_backup_that_this_machine_can_not_rehearse_may_be_good(house, monkeypatch):
    def no_room(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(archive, "extract", no_room)
    made = backups.make()

    backups.rehearse(backup=made)

    assert (made.rehearsal_ok, made.rehearsed_at) == (None, None)
    assert "No space left on device" in made.message
    assert backup_state.of_house().unrehearsed == made
    assert Backup.objects.good().get() == made


def test_newer_entries_are_named_in_plain_words():
    labels = [model._meta.db_table for model in marks.marked()]

    said = marks.words(dict.fromkeys(labels, 2))

    assert "entries of the books: 2" in said
    wrong = re.compile(r"([^aeiou]ys|ss|shs|taxs|mades|relationships): 2$")
    assert [words for words in said if wrong.search(words)] == []


@pytest.mark.skipif("postgres" in os.environ.get("DATABASE_URL", ""), reason="of SQLite alone")
def test_where_there_was_no_database_a_restore_says_of_none_that_it_is_kept(
    house, proved_at_once, settings
):
    made = backups.make()
    lots = grams()
    connection.close()
    for path in settings.DATA_DIR.glob("honey.sqlite3*"):
        path.unlink()
    said = StringIO()

    call_command("restore", made.file, stdout=said)

    assert "is kept as" not in said.getvalue()
    assert list(settings.DATA_DIR.glob("*.before-restore-*")) == []
    assert grams() == lots


def test_the_time_of_a_restored_backup_is_that_of_the_house(house, proved_at_once):
    begun = Backup.objects.create(made_at=datetime(2026, 11, 27, 7, 31, tzinfo=ZoneInfo("UTC")))
    made = backups.make(begun=begun)
    said = StringIO()

    call_command("restore", made.file, stdout=said)

    assert "backup of 2026-11-27 01:31" in said.getvalue()


def test_a_rehearsal_names_the_attached_files_that_are_missing(house, proved_at_once, settings):
    there, gone, changed, erased = (
        files.attach(
            thing=Lot.objects.get(),
            file=upload(f"{name}.txt", name.encode()),
            kind="other",
            added_by=builders.person("owner"),
            key=builders.new_key(),
        )
        for name in ("there", "gone", "changed", "erased")
    )
    files.erase(erased)
    Path(gone.file.path).unlink()
    Path(changed.file.path).write_bytes(b"CHANGED")
    made = backups.make()

    backups.rehearse(backup=made)

    assert made.message == (
        "The books are right, and 2 attached files are missing in FILES_DIR or were changed there: "
        f"gone.txt ({gone.file.name}); changed.txt ({changed.file.name}). Bring them back from an "
        "earlier backup."
    )
    assert made.is_good
    assert backup_state.of_house().lacks_files == made
    assert backup_state.of_house().warns
    assert Path(there.file.path).is_file()
    assert not Path(settings.FILES_DIR, erased.file.name).exists()


def test_what_a_killed_backup_has_left_goes_at_the_next_one(house, settings):
    killed = settings.BACKUP_DIR / ".honey-20261127T073000Z.tar.gz.4711.unfinished"
    going_on = settings.BACKUP_DIR / ".honey-20261127T074500Z.tar.gz.4712.unfinished"
    unpacked = settings.DATA_DIR / ".unpacked-killed"
    beside_it = settings.DATA_DIR / "honey.sqlite3.beside-4712"
    settings.BACKUP_DIR.mkdir()
    unpacked.mkdir()
    for path in (killed, going_on, unpacked / "database", beside_it):
        path.touch()

    with in_use.marked(going_on):
        backups.make()

    left = [path for path in (killed, going_on, unpacked, beside_it) if path.exists()]
    # Nobody can tell whether the database beside the house's own is being proved.
    assert left == [going_on, beside_it]


def test_a_backup_that_was_stopped_leaves_neither_a_file_nor_a_warning(house, settings):
    def stop(step):
        raise Stopped

    with pytest.raises(Stopped):
        backups.make(tell=stop)

    assert not Backup.objects.exists()
    assert list(settings.BACKUP_DIR.iterdir()) == []
