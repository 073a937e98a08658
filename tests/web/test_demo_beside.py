"""The demo beside a real house: told apart, kept apart, and removed without touching the house."""

import sqlite3
from contextlib import closing

import pytest
from django.contrib.auth.hashers import PBKDF2PasswordHasher
from django.core.management import CommandError, call_command

from apiary_sales.web.demo import beside, removal
from apiary_sales.web.demo.fixtures import read
from inventory.shared.models import House
from tests import serving
from tests.upgrade import databases

DEMO = read("house")
NEW_BACKUP = "UPDATE keeping_backup SET file = '{file}'"


@pytest.fixture(autouse=True)
def _real_passwords(_fast_passwords, settings):
    """Read passwords as they are stored in real life."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.PBKDF2PasswordHasher"]


@pytest.fixture
def data_dir(settings, tmp_path):
    settings.DATA_DIR = tmp_path
    return tmp_path


def make_demo(folder, *, is_beside, changed=""):
    """Put the database of a demo into a folder, as an earlier version left it."""
    folder.mkdir(exist_ok=True)
    database = folder / "honey.sqlite3"
    newest = databases.versions("sqlite")[-1]
    databases.load_sqlite(databases.dump_path(newest, "sqlite").read_text("utf-8"), database)
    # Once around is enough here, and quick.
    password = PBKDF2PasswordHasher().encode(DEMO["sign_in"]["password"], "salt", iterations=1)
    with closing(sqlite3.connect(database)) as opened:
        opened.execute("UPDATE accounts_user SET password = ?", [password])
        opened.executescript(changed)
    if is_beside:
        (folder / "this-is-the-demo.txt").touch()
    return database


def real_house():
    House(name="Somebody's own house").save()


def test_beside_a_house_the_demo_starts_in_a_folder_of_its_own(db, data_dir, monkeypatch):
    real_house()
    started = []
    monkeypatch.setattr(beside, "start", lambda *arguments: started.append(arguments))
    monkeypatch.setattr(beside, "free_port", lambda: 8003)

    call_command("demo", no_serve=True)

    assert started == [("--port", "8003", "--no-serve")]
    assert House.current().name == "Somebody's own house"


def test_the_demo_beside_a_house_has_none_of_its_data_and_sends_no_e_mail(data_dir, monkeypatch):
    of_the_house = (
        *("DATABASE_URL", "FILES_DIR", "SECRET_KEY", "EMAIL_URL", "HTTPS"),
        *("BACKUP_DIR", "BACKUP_PASSPHRASE", "LOG_DIR"),
    )
    for name in of_the_house:
        monkeypatch.setenv(name, "of the house")
    monkeypatch.setenv("TIME_ZONE", "Europe/Lisbon")
    run = []
    monkeypatch.setattr("os.execve", lambda *call: run.append(call))

    beside.start("--port", "8001")

    ((_program, command, environment),) = run
    assert command[2:] == ["demo", "--port", "8001"]
    assert "of the house" not in environment.values()
    assert environment["DATA_DIR"] == str(data_dir / "demo")
    assert environment["TIME_ZONE"] == "Europe/Lisbon"
    assert (data_dir / "demo" / "this-is-the-demo.txt").exists()


def test_a_demo_that_became_a_house_has_no_demo_beside_it(db, data_dir):
    real_house()
    (data_dir / "this-is-the-demo.txt").touch()

    with pytest.raises(CommandError, match="The demo there was changed into another house"):
        call_command("demo", no_serve=True)


def test_a_demo_beside_a_house_is_removed_and_the_house_stays(db, data_dir):
    real_house()
    make_demo(data_dir / "demo", is_beside=True)
    (data_dir / "kept.txt").touch()

    assert removal.remove() == [f"Removed {data_dir / 'demo'}"]

    assert [path.name for path in data_dir.iterdir()] == ["kept.txt"]
    assert House.current().name == "Somebody's own house"


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        (
            "UPDATE accounts_house SET name = 'Fern Bank'",
            "its business details are not those of the demo",
        ),
        (
            "UPDATE accounts_user SET username = 'ruth' WHERE username = 'bram'",
            "ruth signs in there, and is not of the demo",
        ),
        (
            "UPDATE accounts_user SET password = '!' WHERE username = 'ines'",
            "ines has another password than in the demo",
        ),
        (
            "UPDATE inventory_posting SET idempotency_key = 'own:' || id",
            "its entries are not those of the demo",
        ),
    ],
)
def test_what_may_be_a_real_house_is_never_removed(db, data_dir, changed, why):
    database = make_demo(data_dir / "demo", is_beside=True, changed=changed)

    with pytest.raises(CommandError) as refused:
        call_command("demo", remove=True)

    assert str(refused.value) == (
        f"{data_dir / 'demo'} may be a real house: {why}. It is left alone. If it is only the "
        "demo, delete it yourself."
    )
    assert database.exists()


def test_a_folder_called_demo_that_the_demo_did_not_make_is_left_alone(db, data_dir):
    real_house()
    database = make_demo(data_dir / "demo", is_beside=False)

    with pytest.raises(CommandError, match="There is no demo, neither in"):
        call_command("demo", remove=True)

    assert database.exists()


def test_a_demo_that_is_in_use_is_not_removed(db, data_dir):
    database = make_demo(data_dir / "demo", is_beside=True)

    with closing(sqlite3.connect(database)) as opened:
        opened.execute("PRAGMA journal_mode=WAL").fetchall()
        opened.execute("SELECT 1 FROM accounts_house").fetchall()
        with pytest.raises(CommandError, match="is in use: stop it first"):
            call_command("demo", remove=True)

    assert database.exists()


def test_a_demo_in_the_database_of_the_settings_is_removed(tmp_path):
    database = make_demo(tmp_path, is_beside=False)
    for name in (f"{1:032x}", f"{7:032x}"):
        (tmp_path / "files").mkdir(exist_ok=True)
        (tmp_path / "files" / name).touch()

    removed = serving.manage(tmp_path, "demo", "--remove")

    assert removed.returncode == 0, removed.stderr
    assert removed.stdout == f"Removed {database}\nRemoved 2 attached files and 0 papers\n"
    assert not database.exists()
    assert [path.name for path in (tmp_path / "files").iterdir()] == [f"{7:032x}"]


def test_the_backups_and_the_log_of_a_removed_demo_go_with_it(tmp_path):
    folder = tmp_path / "backups"
    made, of_another = (folder / f"honey-2026112{day}T073000Z.tar.gz" for day in (7, 1))
    folder.mkdir()
    (tmp_path / "logs").mkdir()
    kept = tmp_path / "logs" / "notes.txt"
    logs = [tmp_path / "logs" / name for name in ("honey.log", "honey.log.1")]
    for path in (made, of_another, kept, *logs):
        path.touch()
    make_demo(
        tmp_path,
        is_beside=False,
        changed=NEW_BACKUP.format(file=made),
    )

    removed = serving.manage(tmp_path, "demo", "--remove")

    assert removed.returncode == 0, removed.stderr
    assert removed.stdout.splitlines()[-1] == "Removed 1 backups and 2 files of the log"
    assert [path for path in (made, of_another, kept, *logs) if path.exists()] == [of_another, kept]


def test_a_real_house_in_the_database_of_the_settings_is_never_removed(tmp_path):
    database = make_demo(
        tmp_path, is_beside=False, changed="UPDATE accounts_house SET name = 'Fern Bank'"
    )

    removed = serving.manage(tmp_path, "demo", "--remove")

    assert removed.returncode == 1
    assert "There is no demo" in removed.stderr
    assert database.exists()
