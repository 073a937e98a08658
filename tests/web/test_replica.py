"""Readings of a streaming replica: what goes there, how late it may be, and for whom not yet."""

import json
import re
import time
from collections import Counter
from contextlib import contextmanager, suppress
from urllib.parse import urlencode

import psycopg
import pytest
from django.db import OperationalError
from django.urls import NoReverseMatch, get_resolver, reverse

from apiary_sales.web import replica_readings
from inventory.shared import replica
from tests import postgresql, serving, skips
from tests.storms import storm
from tests.storms.programs import House
from tests.upgrade import databases

BOUND = 2
# Seconds that what has to come by itself may take on a busy machine.
PATIENCE = 60
SERVER = 7


@pytest.fixture
def both(monkeypatch, settings):
    """Return a replica whose server and primary answer as the test says, and a clock."""
    settings.REPLICA_LAG_SECONDS = 5
    both = BothServers()
    monkeypatch.setattr(replica, "_ask", both.ask)
    monkeypatch.setattr(replica, "connections", both.connections())
    monkeypatch.setattr(replica.time, "monotonic", lambda: both.now)
    return both


class BothServers:
    """A primary and its replica, as far as they say how far their logs are."""

    def __init__(self):
        self.now, self.primary, self.replica = 1_000.0, 500, 500
        self.server_of_the_replica, self.follows, self.is_there = SERVER, True, True
        self.looks = 0

    def ask(self, alias, question):
        self.looks += alias == replica.ALIAS
        if alias != replica.ALIAS:
            return SERVER, self.primary
        if not self.is_there:
            raise OperationalError("connection refused")
        return self.server_of_the_replica, self.follows, "honey", self.replica

    def connections(self):
        class Connection:
            settings_dict = {"NAME": "honey"}

            def close(self):
                pass

        return {"default": Connection(), replica.ALIAS: Connection()}


def test_a_replica_that_has_all_is_in_time_also_where_nothing_is_recorded_for_long(both):
    read = replica.Replica()

    assert read.is_in_time()
    both.now += 3_600
    assert read.is_in_time()
    assert read.has(500)
    assert not read.has(501)


def test_a_replica_is_late_once_it_lacks_what_is_older_than_the_bound(both):
    read = replica.Replica()
    assert read.is_in_time()

    both.primary = 600
    answers = []
    for both.now in (1_001, 1_005, 1_005.5):
        answers.append(read.is_in_time())

    assert answers == [True, True, False]


def test_a_replica_that_is_always_a_little_behind_is_in_time(both):
    read = replica.Replica()
    answers = []
    for both.now in range(1_000, 1_020):
        both.primary += 100
        both.replica = both.primary - 150
        answers.append(read.is_in_time())

    # The first note was not reached yet.
    assert answers == [False, False, *[True] * 18]


def test_it_is_looked_at_once_a_second_and_not_at_each_reading(both):
    read = replica.Replica()
    for both.now in (1_000.0, 1_000.1, 1_000.9, 1_001.0, 1_001.5):
        read.is_in_time()

    assert both.looks == 2


def test_a_replica_that_was_lost_is_looked_for_again_after_a_while(both):
    read = replica.Replica()
    both.is_there = False
    answers = []
    for both.now in (1_000, 1_001, 1_005, 1_009.9):
        answers.append(read.is_in_time())
    assert (answers, both.looks) == ([False] * 4, 1)

    both.is_there = True
    both.now = 1_010

    assert read.is_in_time()
    assert both.looks == 2


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        ({"server_of_the_replica": SERVER + 1}, "names another database"),
        ({"follows": False}, "takes writes itself now"),
    ],
)
def test_a_server_that_is_no_replica_of_the_primary_is_not_read(both, caplog, fault, said):
    vars(both).update(fault)

    assert not replica.Replica().is_in_time()
    assert said in caplog.text


def test_each_page_that_is_a_reading_is_there_and_takes_no_form(client, owner):
    client.force_login(owner)
    names = {
        f"{namespace}:{name}"
        for namespace, (_prefix, resolver) in get_resolver().namespace_dict.items()
        for name in resolver.reverse_dict
        if isinstance(name, str)
    }
    lists = {
        name
        for name in names
        if name.endswith(replica_readings.LISTS)
        and name.partition(":")[0] not in (*replica_readings.NOT_LISTS, "api")
    }

    assert names >= replica_readings.PAGES
    assert {f"api:{name}" for name in replica_readings.API_NOW} <= names
    statuses = {}
    for name in sorted(lists | replica_readings.PAGES):
        # Those about one thing need its key.
        with suppress(NoReverseMatch):
            statuses[name] = client.post(reverse(name)).status_code
    # A form that is sent empty is refused with 422; a reading takes none, or only shows the page.
    assert set(statuses.values()) <= {200, 405}
    assert len(statuses) > 40


# ---- two servers


class Machine:
    """A machine that serves a house on a primary with a replica, and who asks it."""

    def __init__(self, folder):
        self.folder = folder

    @contextmanager
    def serving(self):
        with postgresql.killable_server() as self.primary:
            dump = databases.dump_path(databases.versions("postgresql")[-1], "postgresql")
            databases.load_postgresql(dump.read_text("utf-8"), self.primary.url)
            known = storm.asked_of_the_house("make", self.folder, self.primary.url)
            # The replica takes it over.
            self.ask_server(self.primary, "ALTER SYSTEM SET log_statement = 'all'")
            self.ask_server(self.primary, "SELECT pg_reload_conf()")
            with postgresql.killable_server(self.primary) as self.replica:
                service = storm.Service(
                    self.folder,
                    postgresql.url_of_both(self.primary, self.replica),
                    DATABASE_REPLICA_URL=self.replica.url,
                    REPLICA_LAG_SECONDS=str(BOUND),
                    PROCESSES="1",
                )
                self.house = House((service.port,), **known)
                service.start()
                try:
                    storm.wait_for(self.house, service)
                    self.office, self.owner = (serving.Visitor(service.port) for _each in range(2))
                    for visitor in (self.office, self.owner):
                        visitor.sign_in("owner", "owner")
                    yield self
                finally:
                    service.stop()

    def ask_server(self, server, statement):
        with psycopg.connect(server.url, autocommit=True) as connection:
            cursor = connection.execute(statement)
            return cursor.fetchone() if cursor.description else None

    def add_customer(self, name):
        fields = {"name": name, "kind": "shop", "tier": "shop", "terms_days": "14"}
        token = self.office.cookies["csrftoken"].value
        fields |= {"invoice_format": "pdf", "is_active": "on", "csrfmiddlewaretoken": token}
        assert self.office.post("/customers/new/", fields).status == 302

    def add_customer_by_key(self, name):
        body = json.dumps({"name": name}).encode()
        assert self.house.ask("POST", "customers-added/", body, key=name)[0] == 201

    def listed(self, visitor, name):
        """Return whether a visitor's list of customers has this name, and who was asked for it."""
        asked = self.asked()
        answer = visitor.get("/customers/")
        assert answer.status == 200
        return name in answer.text, self.asked_since(asked)

    def listed_by_key(self, name):
        asked = self.asked()
        status, answer = self.house.ask("GET", f"customers/?{urlencode({'name': name})}")
        assert status == 200
        return bool(answer["results"]), self.asked_since(asked)

    def asked(self):
        """Return how often each server was asked for customers."""
        servers = {"primary": self.primary, "replica": self.replica}
        return Counter(
            {
                name: server.log().count('FROM "customers_customer"')
                for name, server in servers.items()
            }
        )

    def asked_since(self, before):
        return set(self.asked() - before)


def until(found, wanted):
    end = time.monotonic() + PATIENCE
    while found() != wanted:
        assert time.monotonic() < end, f"It never was {wanted}."
        time.sleep(0.1)


def test_readings_are_of_a_replica_that_is_in_time(tmp_path):
    if postgresql.programs() is None:
        skips.skip("PostgreSQL is not installed (Debian: apt-get install postgresql)")

    with Machine(tmp_path).serving() as machine:
        _what_is_read_where(machine)
        _who_recorded_reads_it(machine)
        _work_goes_on_without_the_replica(machine)
        _work_goes_on_on_the_replica(machine)


def _what_is_read_where(machine):
    until(lambda: machine.listed(machine.owner, "Storm Shop"), (True, {"replica"}))
    assert machine.listed_by_key("Storm Shop") == (True, {"replica"})
    report = machine.owner.get("/reports/")
    found = machine.owner.get("/find/?q=storm")
    streamed = machine.owner.get("/reports/money-by-month.csv")
    assert (report.status, found.status, streamed.status) == (200, 200, 200)
    assert "Storm Shop" in found.text
    read = tables_asked_for(machine.replica)
    assert {"customers_customer", "finding_searchentry"} <= read

    # Forms, Today, selling and what is about who asks are of the primary; so is who asks.
    asked = machine.replica.log().count(' FROM "')
    for path in ("/customers/new/", "/", "/account/", "/stand/", "/selling/orders/new/"):
        assert machine.owner.get(path).status == 200
    for path in ("me/", "today/", "stock-for-sale/"):
        assert machine.house.ask("GET", path)[0] == 200
    assert machine.replica.log().count(' FROM "') == asked
    assert not read & {"accounts_housesession", "accounts_apitoken"}


def _who_recorded_reads_it(machine):
    machine.ask_server(machine.replica, "SELECT pg_wal_replay_pause()")
    machine.add_customer("By Page Bakery")
    machine.add_customer_by_key("By Key Bakery")

    assert machine.listed(machine.office, "By Page Bakery") == (True, {"primary"})
    assert machine.listed_by_key("By Key Bakery") == (True, {"primary"})
    # The bound is over: who has recorded nothing reads the primary too.
    until(lambda: machine.listed(machine.owner, "By Key Bakery"), (True, {"primary"}))
    assert machine.ask_server(machine.replica, "SELECT pg_is_wal_replay_paused()") == (True,)

    machine.ask_server(machine.replica, "SELECT pg_wal_replay_resume()")
    until(lambda: machine.listed(machine.office, "By Page Bakery"), (True, {"replica"}))
    until(lambda: machine.listed_by_key("By Key Bakery"), (True, {"replica"}))


def _work_goes_on_without_the_replica(machine):
    machine.replica.kill()

    for _time in range(3):
        assert machine.listed(machine.office, "By Page Bakery") == (True, {"primary"})
        assert machine.listed_by_key("By Key Bakery") == (True, {"primary"})
    machine.replica.start()


def _work_goes_on_on_the_replica(machine):
    until(lambda: is_in_step(machine), True)
    machine.primary.kill()
    machine.replica.promote()

    until(lambda: machine.office.get("/customers/").status, 200)
    machine.add_customer("Later Bakery")
    assert machine.listed(machine.office, "Later Bakery") == (True, {"replica"})
    assert machine.listed_by_key("By Page Bakery") == (True, {"replica"})
    assert {"accounts_housesession", "accounts_apitoken"} <= tables_asked_for(machine.replica)


def is_in_step(machine):
    query = "SELECT pg_wal_lsn_diff(pg_current_wal_lsn(), replay_lsn) = 0 FROM pg_stat_replication"
    return machine.ask_server(machine.primary, query) == (True,)


def tables_asked_for(server):
    return set(re.findall(r'(?:FROM|JOIN|UPDATE) "(\w+)"', server.log()))
