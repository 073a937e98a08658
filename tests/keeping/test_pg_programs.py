"""A machine that lacks what PostgreSQL is copied with says so, and what to install."""

from pathlib import Path
from subprocess import CompletedProcess

import pytest
from django.db import connection

from apiary_sales.keeping import snapshots
from apiary_sales.keeping.snapshots import PostgreSQL
from inventory.shared.errors import NotAllowedNow


@pytest.fixture
def machine(monkeypatch, tmp_path):
    """A machine beside a server of version 17, whose pg_dump is of the version that is given."""
    monkeypatch.setattr(snapshots, "INSTALLED", tmp_path / "none")
    monkeypatch.setattr(PostgreSQL, "_server_version", lambda _: 17)

    def with_program(version: int | None) -> None:
        program = tmp_path / "pg_dump"
        if version is not None:
            program.write_text(f"#!/bin/sh\necho 'pg_dump (PostgreSQL) {version}.4'\n")
            program.chmod(0o755)
        found = str(program) if version is not None else None
        monkeypatch.setattr(snapshots.shutil, "which", lambda _: found)

    return with_program


def test_a_program_of_the_servers_version_or_a_later_one_is_taken(machine, tmp_path):
    for version in (17, 18):
        machine(version)
        assert PostgreSQL()._program("pg_dump") == str(tmp_path / "pg_dump")


def test_an_older_program_is_refused(machine):
    machine(15)

    with pytest.raises(NotAllowedNow) as refused:
        PostgreSQL()._program("pg_dump")

    assert refused.value.message == (
        "pg_dump on this machine is of version 15, and the server of 17. "
        "Install the client programs of PostgreSQL 17."
    )


def test_a_missing_program_is_named(machine):
    machine(None)

    with pytest.raises(NotAllowedNow) as refused:
        PostgreSQL()._program("pg_dump")

    assert refused.value.message == (
        "pg_dump is not on this machine: install the client programs of PostgreSQL 17 "
        "(Debian: apt-get install postgresql-client)."
    )


def test_the_newest_of_several_programs_is_taken(machine, tmp_path, monkeypatch):
    machine(15)
    newer = tmp_path / "installed" / "17" / "bin" / "pg_dump"
    newer.parent.mkdir(parents=True)
    newer.write_text("#!/bin/sh\necho 'pg_dump (PostgreSQL) 17.1'\n")
    newer.chmod(0o755)
    monkeypatch.setattr(snapshots, "INSTALLED", Path(tmp_path / "installed"))

    assert PostgreSQL()._program("pg_dump") == str(newer)


def test_of_several_servers_a_program_is_told_to_find_the_one_that_takes_writes(
    machine, monkeypatch
):
    machine(17)
    options = {"target_session_attrs": "read-write", "connect_timeout": 3}
    monkeypatch.setitem(connection.settings_dict, "OPTIONS", options)
    told = []

    def run(command, **how):
        told.append(how.get("env", {}))
        return CompletedProcess(command, 0, "pg_dump (PostgreSQL) 17.4", "")

    monkeypatch.setattr(snapshots.subprocess, "run", run)

    PostgreSQL()._run("pg_dump", [], "honey")

    assert told[-1]["PGTARGETSESSIONATTRS"] == "read-write"
    assert told[-1]["PGCONNECT_TIMEOUT"] == "3"
