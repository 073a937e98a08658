"""The command that serves the site: as a process, and what it refuses to do."""

import json
import os
import signal
import socket
import sqlite3
import stat
import sys
from contextlib import closing
from http.client import HTTPConnection
from pathlib import Path
from threading import Lock
from typing import NamedTuple

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder
from waitress.adjustments import Adjustments
from waitress.parser import HTTPRequestParser

from apiary_sales.web import arrival, serve
from tests import serving
from tests.serving import Visitor

LONGEST_BODY = 2_499_999  # bytes
LONGEST_WITH_FILES = 19_999_999
OWNER = ("robin", "a password of robin's own")


class House(NamedTuple):
    data_dir: Path
    port: int
    https_port: int
    visitor: Visitor


@pytest.fixture(scope="module")
def house(tmp_path_factory, django_db_setup, empty_database):
    """A service behind HTTPS, started with an empty database, with one owner."""
    data_dir = tmp_path_factory.mktemp("served") / "data"
    (data_dir / "documents").mkdir(parents=True, mode=0o755)
    (data_dir / "documents" / "old-quote.pdf").touch(mode=0o644)
    serving.copy_database(empty_database, data_dir / "honey.sqlite3")
    with (
        serving.service(data_dir, HTTPS="true", ALLOWED_HOSTS="localhost") as port,
        serving.https_proxy(port) as (https_port, trust),
    ):
        made = serving.manage(
            data_dir,
            *("createsuperuser", "--noinput", "--username", OWNER[0], "--email", ""),
            DJANGO_SUPERUSER_PASSWORD=OWNER[1],
        )
        assert made.returncode == 0, made.stderr
        yield House(data_dir, port, https_port, Visitor(https_port, trust))


@pytest.fixture
def safe(settings, tmp_path):
    """Settings that may be served, for one test to change."""
    settings.DATA_DIR = tmp_path / "data"
    settings.DEBUG = settings.HTTPS = False
    settings.SECRET_KEY = "0123456789" * 5
    settings.ALLOWED_HOSTS = settings.LOCAL_HOSTS
    settings.CSRF_TRUSTED_ORIGINS = []
    settings.TRUSTED_PROXY = "127.0.0.1"
    before = os.umask(0o022)
    yield settings
    os.umask(before)


@pytest.fixture
def safe_https(safe):
    safe.HTTPS = True
    safe.ALLOWED_HOSTS = ["honey.example"]
    return safe


def asked_directly(port, path="/account/sign-in/", source="127.0.0.1", **headers):
    """Ask the service without a proxy, from this address; return the status and the headers."""
    headers = {name.replace("_", "-"): value for name, value in headers.items()}
    with closing(
        HTTPConnection("127.0.0.1", port, timeout=30, source_address=(source, 0))
    ) as direct:
        direct.request("GET", path, headers={"Host": "localhost", **headers})
        answer = direct.getresponse()
        answer.read()
        return answer.status, dict(answer.headers)


def posted(port, headers, body):
    with closing(HTTPConnection("127.0.0.1", port, timeout=30)) as direct:
        direct.putrequest("POST", "/account/sign-in/", skip_host=True)
        for name, value in headers.items():
            direct.putheader(name, value)
        direct.endheaders(body)
        return direct.getresponse().status


def refusal(address="127.0.0.1:8000"):
    with pytest.raises(serve.CannotServe) as caught:
        serve.refuse_unsafe_settings(serve.Address.parse(address))
    return str(caught.value)


def test_an_empty_database_is_made_ready_at_the_first_start(monkeypatch, db, settings, tmp_path):
    settings.BACKUP_DIR = tmp_path / "none"
    done = []
    monkeypatch.setattr(serve, "call_command", lambda *given, **how: done.append(given))
    monkeypatch.setattr(connection.introspection, "table_names", list)

    serve.make_ready()

    assert done == [("migrate",)]


def test_no_new_house_is_made_beside_the_backups_of_another(monkeypatch, db, settings, tmp_path):
    settings.BACKUP_DIR = tmp_path
    newest = tmp_path / "honey-20261127T073000Z.tar.gz.sealed"
    for name in ("honey-20261126T073000Z.tar.gz", newest.name, "notes.txt"):
        (tmp_path / name).touch()
    done = []
    monkeypatch.setattr(serve, "call_command", lambda *given, **how: done.append(given))
    monkeypatch.setattr(connection.introspection, "table_names", list)

    with pytest.raises(serve.CannotServe) as refused:
        serve.make_ready()

    assert str(refused.value) == (
        f"The database {connection.settings_dict['NAME']} is empty or missing, and BACKUP_DIR has "
        "backups of a house. No new house was made. To bring back the newest backup: "
        f"manage.py restore {newest}\n"
        "To begin a new house, give it another DATA_DIR (and another BACKUP_DIR, if that is set)."
    )
    assert done == []


# As a process.


def test_a_person_signs_in_over_https_without_a_redirect_loop(house):
    visitor = house.visitor

    first = visitor.get("/")
    page = visitor.get("/account/sign-in/")
    own_origin = f"https://localhost:{house.https_port}"
    signed_in = visitor.sign_in(*OWNER, Origin=own_origin)
    today = visitor.get("/")

    assert (first.status, first.headers["Location"]) == (302, "/account/sign-in/?next=/")
    assert page.status == 200
    assert (signed_in.status, signed_in.headers["Location"]) == (302, "/")
    assert today.status == 200
    assert today.headers["Strict-Transport-Security"] == "max-age=31536000"
    secure = {name: bool(cookie["secure"]) for name, cookie in visitor.cookies.items()}
    assert secure == {"__Host-csrftoken": True, "has_signed_in": True, "__Host-sessionid": True}


def test_a_monitor_on_the_machine_needs_no_https(house):
    status, headers = asked_directly(house.port, "/health/")

    assert status == 200
    assert "waitress" not in str(headers)


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux has 127.0.0.2 without set-up")
def test_the_log_has_the_visitors_address_as_the_trusted_proxy_tells_it(house):
    told = {"X_Forwarded_For": "192.0.2.44", "X_Forwarded_Proto": "https"}

    _, by_proxy = asked_directly(house.port, "/help/", **told)
    _, by_another = asked_directly(house.port, "/help/", source="127.0.0.2", **told)

    log = house.data_dir / "logs" / "honey.log"
    lines = [json.loads(line) for line in log.read_text().splitlines()]
    addresses = {line["id"]: line["address"] for line in lines if line["message"] == "request"}
    assert addresses[by_proxy["X-Request-Id"]] == "192.0.2.44"
    assert addresses[by_another["X-Request-Id"]] == "127.0.0.2"
    assert stat.S_IMODE(log.stat().st_mode) == 0o600


def test_nothing_is_restored_while_the_service_runs(house):
    file = house.data_dir / "honey.sqlite3"

    refused = serving.manage(house.data_dir, "restore", str(file))

    assert refused.returncode == 1
    assert "The service is running: stop it first. Nothing was changed." in refused.stderr


def test_a_form_of_another_site_is_refused_over_https(house):
    answer = house.visitor.sign_in(*OWNER, Origin="https://elsewhere.example")

    assert answer.status == 403


def test_a_visitor_without_https_is_sent_to_https(house):
    status, headers = asked_directly(house.port)

    assert (status, headers["Location"]) == (301, "https://localhost/account/sign-in/")


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux has 127.0.0.2 without set-up")
def test_only_the_trusted_proxy_is_believed(house):
    from_proxy, _ = asked_directly(house.port, X_Forwarded_Proto="https")
    from_another, _ = asked_directly(house.port, source="127.0.0.2", X_Forwarded_Proto="https")

    assert (from_proxy, from_another) == (200, 301)


def test_a_name_that_a_visitor_wrote_for_the_proxy_is_ignored(house):
    status, _ = asked_directly(
        house.port, X_Forwarded_Proto="https", X_Forwarded_Host="elsewhere.example"
    )

    assert status == 200


def test_a_body_longer_than_the_bound_is_refused(house, settings):
    assert settings.DATA_UPLOAD_MAX_MEMORY_SIZE == LONGEST_BODY + 1
    https = {"Host": "localhost", "X-Forwarded-Proto": "https"}

    fits = posted(house.port, {**https, "Content-Length": str(LONGEST_BODY)}, b"x" * LONGEST_BODY)
    more = b"x" * (LONGEST_BODY + 1)
    too_long = posted(house.port, {**https, "Content-Length": str(LONGEST_BODY + 1)}, more)
    chunk = b"%x\r\n" % len(more) + more + b"\r\n0\r\n\r\n"
    too_long_in_chunks = posted(house.port, {**https, "Transfer-Encoding": "chunked"}, chunk)

    # 403: it was read, and lacks the token of the form.
    assert (fits, too_long, too_long_in_chunks) == (403, 413, 413)


def sent(port, head):
    """Send bytes as they are; return the first line of the answer, nothing where there is none."""
    with closing(socket.create_connection(("127.0.0.1", port), timeout=30)) as direct:
        direct.sendall(head)
        return direct.makefile("rb").readline().decode().strip()


@pytest.mark.parametrize(
    ("head", "answer"),
    [
        (b"GET /health/ HTTP/1.1\r\nHost: localhost\r\n\r\n", "HTTP/1.1 200 OK"),
        (
            b"GET /health/?a=" + b"a" * 65_536 + b" HTTP/1.1\r\nHost: localhost\r\n\r\n",
            "HTTP/1.0 431 Request Header Fields Too Large",
        ),
        (
            b"GET /health/ HTTP/1.1\r\nHost: localhost\r\n" + b"A: a\r\n" * 11_000 + b"\r\n",
            "HTTP/1.0 431 Request Header Fields Too Large",
        ),
        (
            b"POST /health/ HTTP/1.1\r\nHost: localhost\r\nContent-Length: "
            + b"9" * 5_000
            + b"\r\n\r\n",
            "",
        ),
    ],
    ids=["usual", "a long address", "many headers", "a length of many digits"],
)
def test_what_is_sent_before_a_body_is_bounded(house, head, answer):
    assert sent(house.port, head) == answer
    assert asked_directly(house.port, "/health/")[0] == 200


@pytest.mark.parametrize(("seconds", "goes_on"), [(299, True), (300, True), (301, False)])
def test_a_request_that_does_not_end_is_given_up(monkeypatch, seconds, goes_on):
    """A byte now and then would keep the connection for ever."""
    clock = iter([1000.0, 1000.0 + seconds])
    monkeypatch.setattr(arrival.time, "monotonic", lambda: next(clock))
    channel = object.__new__(arrival.TimedChannel)
    channel.will_close, channel.close_when_flushed = False, False
    channel.requests_lock, channel.requests, channel.sent_continue = Lock(), [], False
    channel.adj, channel.parser_class = Adjustments(), HTTPRequestParser
    channel.request = None

    begun = channel.received(b"POST / HTTP/1.1\r\nContent-Length: 9\r\n\r\na")
    more = channel.received(b"b")

    assert (begun, more, channel.will_close) == (True, goes_on, not goes_on)


def test_a_body_with_files_may_be_longer(house, settings):
    assert settings.BODY_WITH_FILES_MAX_SIZE == LONGEST_WITH_FILES + 1
    https = {
        "Host": "localhost",
        "X-Forwarded-Proto": "https",
        "Content-Type": "multipart/form-data; boundary=between",
    }

    sent = b"x" * LONGEST_WITH_FILES
    fits = posted(house.port, {**https, "Content-Length": str(LONGEST_WITH_FILES)}, sent)
    too_long = posted(house.port, {**https, "Content-Length": str(LONGEST_WITH_FILES + 1)}, b"")

    # 403: it was read, and lacks the token of the form.
    assert (fits, too_long) == (403, 413)


def test_the_data_is_open_to_its_owner_alone(house):
    rights = {
        str(path.relative_to(house.data_dir)): oct(path.stat().st_mode & 0o777)
        for path in [house.data_dir, *house.data_dir.rglob("*")]
        if not path.name.endswith(("-wal", "-shm"))
    }
    written = {name: right for name, right in rights.items() if name.startswith("static")}

    assert set(written.values()) == {"0o700", "0o600"}
    assert {name: right for name, right in rights.items() if name not in written} == {
        ".": "0o700",
        "documents": "0o700",
        "documents/old-quote.pdf": "0o600",
        "honey.sqlite3": "0o600",
        "logs": "0o700",
        "logs/honey.log": "0o600",
        "secret_key": "0o600",
        "serving.lock": "0o600",
    }


def test_plain_http_works_on_this_machine(house, tmp_path):
    serving.copy_database(house.data_dir / "honey.sqlite3", tmp_path / "honey.sqlite3")

    with serving.service(tmp_path, stop=signal.SIGINT) as port:
        visitor = Visitor(port)
        # Over HTTPS Django would ask for an Origin or Referer: nobody is believed who says so.
        signed_in = visitor.sign_in(*OWNER, **{"X-Forwarded-Proto": "https"})
        today = visitor.get("/")

    assert (signed_in.status, signed_in.headers["Location"]) == (302, "/")
    assert today.status == 200
    assert "Strict-Transport-Security" not in today.headers
    assert not any(cookie["secure"] for cookie in visitor.cookies.values())


def test_an_older_database_is_refused_until_it_was_migrated(house, tmp_path):
    database = tmp_path / "honey.sqlite3"
    serving.copy_database(house.data_dir / "honey.sqlite3", database)
    with closing(sqlite3.connect(database)) as older, older:
        older.execute("DELETE FROM django_migrations WHERE app = 'billing'")

    refused = serving.manage(tmp_path, "serve", "--listen", "127.0.0.1:0")

    assert (refused.returncode, refused.stdout) == (1, "")
    assert refused.stderr == (
        "CommandError: The database is from an earlier version of the service: back it up, run "
        "manage.py migrate, and start again.\n"
    )


# What is refused.


def test_a_taken_port_is_one_sentence(safe):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        listen = f"127.0.0.1:{taken.getsockname()[1]}"
        with pytest.raises(CommandError) as refused:
            call_command("serve", listen=listen)

    assert str(refused.value) == (
        f"The service can't listen at {listen} (Address already in use). Stop what is listening "
        "there, or choose another address and port: --listen 127.0.0.1:8001"
    )
    assert not safe.DATA_DIR.exists()


@pytest.mark.parametrize("number", ["0", "9", "-1", "two"])
def test_processes_are_from_one_to_eight(safe, number):
    safe.PROCESSES = number

    with pytest.raises(CommandError) as refused:
        call_command("serve", listen="127.0.0.1:0")

    assert str(refused.value) == (
        f"PROCESSES is {number!r}: give a number from 1 to 8, or leave it out, and there are as "
        "many as this machine has cores."
    )


@pytest.mark.skipif(connection.vendor != "sqlite", reason="about SQLite")
@pytest.mark.parametrize(
    ("number", "told"),
    [
        ("", []),
        ("1", []),
        (
            "3",
            [
                "One process answers, not 3 (PROCESSES): SQLite has one writer at a time. Several "
                "are for PostgreSQL."
            ],
        ),
    ],
)
def test_sqlite_is_served_by_one_process(safe, number, told):
    safe.PROCESSES = number
    said = []

    assert serve.count_processes(said.append) == 1
    assert said == told


@pytest.mark.parametrize(
    "text", ["", "8000", "127.0.0.1", "localhost:8000", "127.0.0.1:http", "127.0.0.1:65536"]
)
def test_where_to_listen_is_an_ip_address_and_a_port(text):
    with pytest.raises(serve.CannotServe, match="is not an address to listen at"):
        serve.Address.parse(text)


@pytest.mark.parametrize("text", ["127.0.0.1:8000", "[::1]:8000", "0.0.0.0:0", "[::]:65535"])
def test_an_address_is_written_as_it_is_read(text):
    assert str(serve.Address.parse(text)) == text


def test_safe_settings_are_served(safe):
    for address in ("127.0.0.1:8000", "[::1]:8000"):
        serve.refuse_unsafe_settings(serve.Address.parse(address))


@pytest.mark.parametrize(
    ("address", "proxy"),
    [
        ("127.0.0.1:8000", "127.0.0.1"),
        ("[::1]:8000", "::1"),
        ("0.0.0.0:8000", "127.0.0.1"),
        ("0.0.0.0:8000", "10.0.0.5"),
        ("10.0.0.6:8000", "10.0.0.5"),
    ],
)
def test_a_proxy_that_can_reach_the_service_is_trusted(safe_https, address, proxy):
    safe_https.TRUSTED_PROXY = proxy

    serve.refuse_unsafe_settings(serve.Address.parse(address))


@pytest.mark.parametrize(
    ("address", "proxy"),
    [
        ("[::1]:8000", "127.0.0.1"),
        ("127.0.0.1:8000", "::1"),
        ("127.0.0.1:8000", "10.0.0.5"),
        ("10.0.0.6:8000", "127.0.0.1"),
    ],
)
def test_a_proxy_that_cannot_reach_the_service_is_refused(safe_https, address, proxy):
    safe_https.TRUSTED_PROXY = proxy

    assert refusal(address) == (
        f"A proxy at {proxy} (TRUSTED_PROXY) can't reach {address}: set TRUSTED_PROXY to the "
        "address that the proxy connects from, or --listen to one that it can reach."
    )


@pytest.mark.parametrize("proxy", ["", "*", "proxy", "10.0.0.0/8"])
def test_a_trusted_proxy_is_one_ip_address(safe_https, proxy):
    safe_https.TRUSTED_PROXY = proxy

    assert refusal().startswith(f"TRUSTED_PROXY is {proxy!r}: give the one IP address")


@pytest.mark.parametrize("listen", ["0.0.0.0:8000", "[::]:8000", "192.168.1.20:8000"])
def test_other_machines_are_served_over_https_only(safe, listen):
    assert refusal(listen) == (
        f"Without HTTPS, passwords would cross the network readable by all at {listen}: "
        "listen on 127.0.0.1, or put a proxy in front and set HTTPS=true."
    )


@pytest.mark.parametrize("name", ["honey.example", "*"])
def test_a_site_with_a_name_is_served_over_https_only(safe, name):
    safe.ALLOWED_HOSTS = ["localhost", name]

    assert refusal() == (
        f"ALLOWED_HOSTS opens the site to other machines ({name}) while HTTPS is off: put a proxy "
        "in front and set HTTPS=true, or leave ALLOWED_HOSTS out."
    )


def test_debug_is_for_this_machine_without_https_only(safe):
    safe.DEBUG = True
    sentence = "DEBUG=true shows the inside of the program to everyone who reaches the site"

    serve.refuse_unsafe_settings(serve.Address.parse("127.0.0.1:8000"))

    assert refusal("0.0.0.0:8000").startswith(sentence)
    safe.HTTPS, safe.ALLOWED_HOSTS = True, ["honey.example"]
    assert refusal().startswith(sentence)


@pytest.mark.parametrize("hosts", [[], ["localhost", "127.0.0.1", "[::1]"]])
def test_https_needs_the_name_of_the_site(safe_https, hosts):
    safe_https.ALLOWED_HOSTS = hosts

    assert refusal() == (
        "HTTPS=true needs the name that people type to reach the site: set ALLOWED_HOSTS, for "
        "example ALLOWED_HOSTS=honey.example."
    )


def test_a_site_does_not_answer_to_every_name(safe_https):
    safe_https.ALLOWED_HOSTS = ["*"]

    assert refusal().startswith("ALLOWED_HOSTS=* answers to every name")


@pytest.mark.parametrize(
    ("origin", "reason"),
    [
        ("http://honey.example", "is not encrypted"),
        ("https://hony.example", "ALLOWED_HOSTS lacks that name"),
    ],
)
def test_an_origin_is_a_name_of_the_site_over_https(safe_https, origin, reason):
    safe_https.CSRF_TRUSTED_ORIGINS = ["https://honey.example", origin]

    assert refusal().startswith(f"CSRF_TRUSTED_ORIGINS has {origin}, ")
    assert reason in refusal()


@pytest.mark.parametrize("key", ["0123456789" * 5, "01234" * 10])
def test_a_key_of_fifty_characters_is_long_enough(safe, key):
    safe.SECRET_KEY = key

    serve.refuse_unsafe_settings(serve.Address.parse("127.0.0.1:8000"))


@pytest.mark.parametrize("key", [("0123456789" * 5)[:49], "0123" * 15])
def test_a_key_that_is_easy_to_guess_is_refused(safe, key):
    safe.SECRET_KEY = key

    assert refusal() == (
        "SECRET_KEY is too easy to guess: give it 50 random characters, or leave it out and the "
        "service makes one."
    )


def test_all_that_is_unsafe_is_told_at_once(safe):
    safe.SECRET_KEY, safe.DEBUG = "short", True

    told = refusal("0.0.0.0:8000").splitlines()

    assert [sentence.split()[0] for sentence in told] == ["SECRET_KEY", "DEBUG=true", "Without"]


def test_data_beside_the_program_keeps_the_rights_of_the_program(safe):
    for directory in (safe.BASE_DIR, safe.BASE_DIR.parent):
        with pytest.raises(serve.CannotServe, match="holds the program too"):
            serve.keep_private(directory)


def test_a_link_in_the_data_leads_nobody_to_change_what_is_elsewhere(safe, tmp_path):
    outside = tmp_path / "outside"
    outside.touch(mode=0o644)
    safe.DATA_DIR.mkdir()
    (safe.DATA_DIR / "link").symlink_to(outside)

    serve.keep_private(safe.DATA_DIR)

    assert oct(outside.stat().st_mode & 0o777) == "0o644"


def test_what_is_made_later_is_the_owners_alone(safe):
    serve.keep_private(safe.DATA_DIR)
    made = safe.DATA_DIR / "paper.pdf"
    made.touch()

    assert oct(made.stat().st_mode & 0o777) == "0o600"


@pytest.mark.django_db
def test_a_database_of_this_version_is_served():
    serve.make_ready()


@pytest.mark.django_db
def test_a_later_database_is_refused(safe):
    MigrationRecorder(connection).record_applied("billing", "9999_of_next_year")

    with pytest.raises(CommandError, match="from a later version of the service"):
        call_command("serve", listen="127.0.0.1:0")


@pytest.mark.django_db
def test_what_an_app_left_that_is_gone_does_no_harm():
    MigrationRecorder(connection).record_applied("an_app_of_old", "0001_initial")

    serve.make_ready()
