"""Several processes answer at one port where the database is PostgreSQL."""

import json
import os
import signal
import socket
import time
from contextlib import closing, suppress
from http.client import HTTPConnection, HTTPException

import pytest
from django.db import connection

from tests import serving

pytestmark = [pytest.mark.postgresql, pytest.mark.django_db(transaction=True)]

WAIT_SECONDS = 60


def url_of_the_database():
    values = connection.get_connection_params()
    server = f"{values.get('user', '')}@{values.get('host', '')}:{values.get('port', 5432)}"
    return f"postgres://{server}/{connection.settings_dict['NAME']}"


def until(found):
    """Return what `found` does as soon as that is true."""
    end = time.monotonic() + WAIT_SECONDS
    while not (value := found()):
        assert time.monotonic() < end, "It took too long."
        time.sleep(0.02)
    return value


def health(port):
    """Return the status of an answer, or nothing where the connection was lost."""
    asked = HTTPConnection("127.0.0.1", port, timeout=WAIT_SECONDS)
    with closing(asked), suppress(OSError, HTTPException):
        asked.request("GET", "/health/")
        return asked.getresponse().status


def two_that_answer(pid):
    found = serving.started_by(pid)
    return found if len(found) == 2 else None


def is_gone(pid):
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    return False


@pytest.fixture
def service(tmp_path):
    with serving.start(tmp_path, DATABASE_URL=url_of_the_database(), PROCESSES="2") as process:
        try:
            yield process
        finally:
            process.kill()


def test_one_that_dies_is_replaced_and_all_end_in_order(service, tmp_path):
    port = serving.port_of(service)
    first, second = until(lambda: two_that_answer(service.pid))
    assert until(lambda: health(port)) == 200

    os.kill(first, signal.SIGKILL)
    until(lambda: is_gone(first))
    assert until(lambda: health(port)) == 200
    os.kill(second, signal.SIGKILL)
    until(lambda: is_gone(second))
    assert until(lambda: health(port)) == 200

    replaced = until(lambda: two_that_answer(service.pid))
    # A page, so that one of them writes a line of the log.
    person = serving.Visitor(port)
    answer = person.get("/account/sign-in/")
    service.terminate()
    assert service.wait(WAIT_SECONDS) == 0
    assert service.stdout.read().splitlines()[-1] == "Stopped"
    assert all(is_gone(pid) for pid in replaced)
    log = (tmp_path / "logs" / "honey.log").read_text().splitlines()
    lines = [json.loads(line) for line in log]
    told = [line["message"] for line in lines if "takes its place" in line["message"]]
    assert {f"Process {pid}," in " ".join(told) for pid in (first, second)} == {True}
    [asked] = [line for line in lines if line["message"] == "request"]
    assert (asked["path"], asked["id"]) == ("/account/sign-in/", answer.headers["X-Request-Id"])


def test_none_is_left_where_the_first_one_is_killed(service):
    port = serving.port_of(service)
    answering = until(lambda: two_that_answer(service.pid))
    assert until(lambda: health(port)) == 200

    service.kill()
    service.wait()

    until(lambda: all(is_gone(pid) for pid in answering))
    # A connection would be taken by one that was left.
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", port), timeout=1).close()
