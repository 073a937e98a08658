"""Two machines serve one database that has a replica, and are lost one by one while people work."""

import tempfile
import time
from collections.abc import Callable
from http.cookies import SimpleCookie
from pathlib import Path

import psycopg

from tests import postgresql, serving
from tests.storms import programs, storm
from tests.storms.programs import House
from tests.storms.storm import Fault, Service
from tests.upgrade import databases

PROGRAMS = 6
# Seconds of work after each loss.
CALM = 2.0
SECRET_KEY = "the one key that all machines of this house share, invented"


def lose_one_by_one(seed: int, say: Callable[[str], None] = print) -> None:
    """Stop a machine, kill the other and the database; raise `Fault` where anything is lost.

    The replica is synchronous until it takes the place of its primary. No machine is told of that:
    DATABASE_URL names both servers.
    """
    with (
        tempfile.TemporaryDirectory(prefix="honey-machines-") as name,
        postgresql.killable_server() as primary,
    ):
        folder = Path(name)
        newest = databases.versions("postgresql")[-1]
        dump = databases.dump_path(newest, "postgresql").read_text("utf-8")
        databases.load_postgresql(dump, primary.url)
        known = storm.asked_of_the_house("make", folder, primary.url)
        with postgresql.killable_server(primary) as replica:
            _wait_for_each_commit(primary)
            url = postgresql.url_of_both(primary, replica)
            here, there = services = [_machine(folder / each, url) for each in ("here", "there")]
            house = House((here.port, there.port), **known)
            for service in services:
                service.start()
            try:
                for service in services:
                    storm.wait_for(house, service)
                _sign_in_at_one_and_work_at_the_other(here, there)
                at_work = list(programs.start(house, seed, PROGRAMS))
                with storm.working(at_work, services):
                    _lose(house, here, there, primary, replica)
                say(f"two machines: {storm.told(at_work)}")
                house.ports = (here.port,)
                storm.repeat(house, at_work)
            finally:
                here.stop()
                there.stop()
            storm.compare(house, at_work, folder, replica.url)


def _machine(folder: Path, url: str) -> Service:
    folder.mkdir()
    files = str(folder.parent / "files")
    return Service(folder, url, SECRET_KEY=SECRET_KEY, FILES_DIR=files)


def _wait_for_each_commit(primary: postgresql.Server) -> None:
    """Let the primary answer a commit only once its replica has it."""
    with psycopg.connect(primary.url, autocommit=True) as connection:
        connection.execute("ALTER SYSTEM SET synchronous_standby_names = '*'")
        connection.execute("SELECT pg_reload_conf()")
        until = time.monotonic() + 30
        while time.monotonic() < until:
            found = connection.execute("SELECT sync_state FROM pg_stat_replication").fetchall()
            if found == [("sync",)]:
                return
            time.sleep(0.05)
    raise Fault("The replica does not follow its primary.")


def _sign_in_at_one_and_work_at_the_other(here: Service, there: Service) -> None:
    """Sign in at one machine, use the other, sign out there: the first has to know."""
    person = serving.Visitor(here.port)
    person.sign_in("owner", "owner")
    person.port = there.port
    today = person.get("/")
    if today.status != 200:
        raise Fault(f"Signed in at one machine, the other answers {today.status}")
    before = SimpleCookie(person.cookies.output(header="", sep=";"))
    fields = {"csrfmiddlewaretoken": person.cookies["csrftoken"].value}
    person.post("/account/sign-out/", fields)
    person.port, person.cookies = here.port, before
    if (after := person.get("/")).status != 302:
        raise Fault(f"Signed out at one machine, the other answers {after.status}")


def _lose(
    house: House,
    here: Service,
    there: Service,
    primary: postgresql.Server,
    replica: postgresql.Server,
) -> None:
    """Stop a machine and start it again, lose the other one for good, and then the database."""
    time.sleep(CALM)
    here.stop()
    time.sleep(CALM)
    here.start()
    storm.wait_for(house, here)
    there.kill()
    time.sleep(CALM)
    primary.kill()
    replica.promote()
    storm.wait_for(house, here)
    time.sleep(CALM)
