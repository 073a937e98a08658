"""Two machines serve one database that has a replica, and are lost one by one while people work.

Where the test may make them, each machine has a network of its own, which is cut too.
"""

import tempfile
import time
from collections.abc import Callable
from http.client import HTTPConnection
from http.cookies import SimpleCookie
from pathlib import Path

import psycopg

from tests import postgresql, serving
from tests.storms import networks, programs, storm
from tests.storms.programs import House
from tests.storms.storm import Fault, Service
from tests.upgrade import databases

PROGRAMS = 6
# Seconds of work after each loss.
CALM = 2.0
# Seconds after which database and machine give each other up, and more in which that is noticed.
LOST_AFTER, NOTICED = 6, 10
SECRET_KEY = "the one key that all machines of this house share, invented"


def lose_one_by_one(seed: int, say: Callable[[str], None] = print) -> None:
    """Stop a machine, kill the other and the database; raise `Fault` where anything is lost.

    The replica is synchronous until it takes the place of its primary. No machine is told of that:
    DATABASE_URL names both servers.
    """
    with (
        tempfile.TemporaryDirectory(prefix="honey-machines-") as name,
        networks.of_machines(2) as made,
        postgresql.killable_server(address=made.address) as primary,
    ):
        folder = Path(name)
        if not made.can_be_cut:
            say(f"No network is cut, and the machines share one: {networks.why_not()}.")
        newest = databases.versions("postgresql")[-1]
        dump = databases.dump_path(newest, "postgresql").read_text("utf-8")
        databases.load_postgresql(dump, primary.url)
        known = storm.asked_of_the_house("make", folder, primary.url)
        with postgresql.killable_server(primary, made.address) as replica:
            _wait_for_each_commit(primary)
            url = postgresql.url_of_both(primary, replica)
            here, there = services = [
                _machine(folder / each, url, network)
                for each, network in zip(("here", "there"), made.machines, strict=True)
            ]
            ports = {service.port: service.machine for service in services}
            house = House(tuple(ports), machines=ports, **known)
            for service in services:
                service.start()
            try:
                for service in services:
                    storm.wait_for(house, service)
                _sign_in_at_one_and_work_at_the_other(house)
                at_work = list(programs.start(house, seed, PROGRAMS))
                with storm.working(at_work, services):
                    if made.can_be_cut:
                        _cut(house, there, primary, at_work)
                    _lose(house, here, there, primary, replica)
                say(f"two machines: {storm.told(at_work)}")
                house.ports = (here.port,)
                storm.repeat(house, at_work)
            finally:
                here.stop()
                there.stop()
            storm.compare(house, at_work, folder, replica.url)


def _machine(folder: Path, url: str, network: networks.Machine) -> Service:
    folder.mkdir()
    return Service(
        folder,
        url,
        network,
        SECRET_KEY=SECRET_KEY,
        FILES_DIR=str(folder.parent / "files"),
        LOST_AFTER_SECONDS=str(LOST_AFTER),
    )


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


class _Visitor(serving.Visitor):
    """Somebody who asks one machine or the other."""

    def __init__(self, house: House) -> None:
        super().__init__(house.ports[0])
        self.house = house

    def _connection(self) -> HTTPConnection:
        return self.house.connection(self.port)


def _sign_in_at_one_and_work_at_the_other(house: House) -> None:
    """Sign in at one machine, use the other, sign out there: the first has to know."""
    here, there = house.ports
    person = _Visitor(house)
    person.sign_in("owner", "owner")
    person.port = there
    today = person.get("/")
    if today.status != 200:
        raise Fault(f"Signed in at one machine, the other answers {today.status}")
    before = SimpleCookie(person.cookies.output(header="", sep=";"))
    fields = {"csrfmiddlewaretoken": person.cookies["csrftoken"].value}
    person.post("/account/sign-out/", fields)
    person.port, person.cookies = here, before
    if (after := person.get("/")).status != 302:
        raise Fault(f"Signed out at one machine, the other answers {after.status}")


def _cut(
    house: House, cut: Service, primary: postgresql.Server, at_work: list[programs.Program]
) -> None:
    """Cut a machine off the database in the middle of a transaction, and join it again.

    The database has to end what that machine left open, in the time that is set; the other machine
    works on; and the one that was cut serves again by itself.
    """
    with psycopg.connect(primary.url, autocommit=True) as server:
        began = _cut_within_a_transaction(server, cut.machine)
        # A backup that was being made locks nothing that a sale needs, and ends by itself later. So
        # does a connection that was being opened, and was not told yet how long to wait for a
        # machine: it has begun nothing.
        left = (
            "SELECT application_name, state, query FROM pg_stat_activity "
            "WHERE client_addr = %s AND application_name <> 'pg_dump' "
            "AND NOT (state = 'idle' AND (query = '' OR query LIKE '%%set_config%%'))"
        )
        while sessions := server.execute(left, [cut.machine.address]).fetchall():
            if time.monotonic() > began + LOST_AFTER + NOTICED:
                raise Fault(f"{LOST_AFTER} seconds after a machine was cut off there is {sessions}")
            time.sleep(0.05)
    done = len(storm.done_by(at_work))
    until = time.monotonic() + programs.PATIENCE
    while len(storm.done_by(at_work)) < done + PROGRAMS:
        if time.monotonic() > until:
            raise Fault("The other machine did not work on")
        time.sleep(0.05)
    cut.machine.join()
    storm.wait_for(house, cut)


def _cut_within_a_transaction(server: psycopg.Connection, machine: networks.Machine) -> float:
    """Cut the machine while it has begun something; return when."""
    begun = (
        "SELECT count(*) FROM pg_stat_activity WHERE client_addr = %s AND xact_start < now() "
        "AND application_name <> 'pg_dump'"
    )
    until = time.monotonic() + programs.PATIENCE
    while time.monotonic() < until:
        machine.cut()
        began = time.monotonic()
        # What was on its way has arrived by then.
        time.sleep(0.1)
        if server.execute(begun, [machine.address]).fetchone() != (0,):
            return began
        machine.join()
        time.sleep(0.1)
    raise Fault("The machine never had a transaction open")


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
