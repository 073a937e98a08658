"""Machines that serve one database have one key and one folder of attached files."""

import time

import pytest
from django.db import connection

from apiary_sales.keeping.models import SharedKeyAndFiles
from apiary_sales.keeping.services import machines
from apiary_sales.web import serve
from inventory.shared.errors import NotAllowedNow

pytestmark = [pytest.mark.postgresql, pytest.mark.django_db(transaction=True)]

OTHER_KEY = "another key of at least fifty letters, as one asks of it"


@pytest.fixture(autouse=True)
def machine(settings, tmp_path):
    settings.DATA_DIR, settings.FILES_DIR = tmp_path / "data", tmp_path / "files"
    settings.ALLOWED_HOSTS = settings.LOCAL_HOSTS
    return settings


def refusal():
    with pytest.raises(NotAllowedNow) as caught:
        machines.check()
    return str(caught.value)


def locks():
    """Return the server's process of each machine that serves this database.

    The server tells of all its databases, and tests beside this one serve another of them.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT pid FROM pg_locks JOIN pg_database ON pg_database.oid = pg_locks.database "
            "WHERE datname = current_database() AND objid = %s AND mode = 'ShareLock' AND granted",
            [machines.SERVING],
        )
        return [pid for (pid,) in cursor.fetchall()]


def test_a_machine_with_the_same_key_and_files_may_serve_too(machine, tmp_path, caplog):
    with machines.serving():
        # The same files, as another machine sees them.
        machine.FILES_DIR = machine.FILES_DIR.rename(tmp_path / "mounted")
        machines.check()
        with machines.serving():
            assert len(locks()) == 2

    assert locks() == []
    assert caplog.messages == []
    assert machine.SECRET_KEY not in SharedKeyAndFiles.objects.get().hashed_key


def test_a_machine_with_another_key_may_not(machine):
    with machines.serving():
        noted = SharedKeyAndFiles.objects.values().get()
        machine.SECRET_KEY = OTHER_KEY

        assert refusal() == (
            "Another machine serves this database with another SECRET_KEY: who signed in there "
            "would be signed out here. Give all machines the same SECRET_KEY; one that made its "
            "own has it in the file secret_key in its DATA_DIR. To change the key, stop the "
            "service on every machine first."
        )
        with pytest.raises(serve.CannotServe, match="with another SECRET_KEY"):
            serve.prepare(serve.Address.parse("127.0.0.1:0"))
        with pytest.raises(NotAllowedNow), machines.serving():
            pass
        assert SharedKeyAndFiles.objects.values().get() == noted
        assert len(locks()) == 1


@pytest.mark.parametrize("mark", ["", "the mark of another folder"])
def test_a_machine_with_another_folder_may_not(machine, tmp_path, mark):
    with machines.serving():
        machine.FILES_DIR = tmp_path / "others"
        machine.FILES_DIR.mkdir()
        if mark:
            (machine.FILES_DIR / machines.MARK).write_text(mark)

        assert refusal() == (
            "Another machine serves this database with another folder of attached files than "
            f"{tmp_path}/others: what is attached there would be missing here. Set FILES_DIR on "
            "all machines to one folder that they share. To change the folder, stop the service "
            "on every machine first."
        )


def test_where_no_machine_serves_another_key_and_folder_are_taken_and_told(
    machine, tmp_path, caplog
):
    with machines.serving():
        pass
    machine.SECRET_KEY, machine.FILES_DIR = OTHER_KEY, tmp_path / "others"

    machines.check()
    with machines.serving():
        machines.check()

    assert caplog.messages == [
        "SECRET_KEY is another one than before: everybody signs in again, a code app is set up "
        "anew after a recovery code, secrets of programs that are told are renewed.",
        "FILES_DIR is another folder than before: files that were attached are missing unless they "
        f"were copied to {tmp_path}/others.",
    ]


def test_a_machine_says_again_that_it_serves_when_the_database_lost_it(machine, monkeypatch):
    monkeypatch.setattr(machines, "INTERVAL", 0.01)
    with machines.serving():
        [first] = locks()
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_terminate_backend(%s)", [first])
        until = time.monotonic() + 20
        while locks() in ([], [first]) and time.monotonic() < until:
            time.sleep(0.01)
        machine.SECRET_KEY = OTHER_KEY

        assert refusal().startswith("Another machine serves this database with another SECRET_KEY")
