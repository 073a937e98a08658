"""What `manage.py serve` sends is small: pages and files compressed, files kept for a year."""

import gzip
import hashlib
import posixpath
import re
from contextlib import closing
from http.client import HTTPConnection, HTTPMessage
from typing import NamedTuple

import brotli
import pytest

from apiary_sales.web import serve
from inventory.shared import static_files
from tests import serving
from tests.serving import Visitor

BROWSER = "gzip, deflate, br"
OWNER = ("robin", "a password of robin's own")
YEAR = "max-age=31536000, public, immutable"
# Bytes over the wire, headers included.
FIRST_VISIT_MAX = 60_000
FONTS_MAX = 45_000
PAGE_MAX = 25_000
HASHED = re.compile(r"/static/[\w/-]+(?:\.min)?\.[0-9a-f]{12}\.\w+")


class Sent(NamedTuple):
    status: int
    headers: HTTPMessage
    size: int
    content: bytes

    @property
    def text(self) -> str:
        return self.content.decode()


class Browser(Visitor):
    """A visitor who takes compressed answers, and tells how much came over the wire."""

    def open(self, path: str, takes: str = BROWSER) -> Sent:
        cookies = "; ".join(f"{name}={entry.value}" for name, entry in self.cookies.items())
        with closing(HTTPConnection("127.0.0.1", self.port, timeout=30)) as connection:
            connection.request("GET", path, headers={"Cookie": cookies, "Accept-Encoding": takes})
            answer = connection.getresponse()
            body = answer.read()
        unpack = {"br": brotli.decompress, "gzip": gzip.decompress, None: bytes}
        content = unpack[answer.headers["Content-Encoding"]](body)
        size = len(body) + len(answer.headers.as_bytes())
        return Sent(answer.status, answer.headers, size, content)

    def files_of(self, page: Sent) -> dict[str, Sent]:
        """Return what a browser asks for to show a page: what it names, and what that imports."""
        waiting = re.findall(r'(?:src|href)="(/static/[^"]+)"', page.text)
        files: dict[str, Sent] = {}
        while waiting:
            address = waiting.pop()
            if address in files:
                continue
            files[address] = self.open(address)
            if address.endswith(".js"):
                named = re.findall(r'from "(\.[^"]+)"', files[address].text)
                folder = posixpath.dirname(address)
                waiting += [posixpath.normpath(f"{folder}/{name}") for name in named]
        return files


@pytest.fixture(scope="module")
def port(tmp_path_factory, django_db_setup, empty_database):
    """The port of a served house with one owner."""
    data_dir = tmp_path_factory.mktemp("light")
    serving.copy_database(empty_database, data_dir / "honey.sqlite3")
    with serving.service(data_dir) as port:
        made = serving.manage(
            data_dir,
            *("createsuperuser", "--noinput", "--username", OWNER[0], "--email", ""),
            DJANGO_SUPERUSER_PASSWORD=OWNER[1],
        )
        assert made.returncode == 0, made.stderr
        yield port


@pytest.fixture
def browser(port):
    """A browser that was never here before."""
    return Browser(port)


def test_the_first_visit_is_light_and_its_files_are_kept_for_a_year(browser):
    page = browser.open("/account/sign-in/")
    files = browser.files_of(page)
    style = next(
        text for address, text in files.items() if "/app." in address and ".css" in address
    )
    fonts = {
        address: browser.open(posixpath.normpath(f"/static/web/{address}"))
        for address in re.findall(r'url\("([^"]+-latin-[47]00-normal[^"]+)"\)', style.text)
    }

    assert {answer.status for answer in [page, *files.values(), *fonts.values()]} == {200}
    assert page.size + sum(answer.size for answer in files.values()) <= FIRST_VISIT_MAX
    assert len(fonts) == 2
    assert sum(answer.size for answer in fonts.values()) <= FONTS_MAX
    assert [address for address in files if not HASHED.fullmatch(address)] == []
    kept = [*files.values(), *fonts.values()]
    assert {answer.headers["Cache-Control"] for answer in kept} == {YEAR}
    packed = {
        answer.headers["Content-Encoding"] for name, answer in files.items() if "png" not in name
    }
    assert packed == {"br"}


def test_a_page_is_light(browser):
    browser.sign_in(*OWNER)
    for path in ("/", "/stand/", "/reports/", "/settings/"):
        page = browser.open(path)

        assert (page.status, page.headers["Content-Encoding"]) == (200, "gzip"), path
        assert page.size <= PAGE_MAX, path
        assert "Accept-Encoding" in page.headers["Vary"]


def test_who_takes_no_brotli_or_nothing_packed_gets_the_same_file(browser):
    address = next(
        name for name in browser.files_of(browser.open("/account/sign-in/")) if "/app." in name
    )
    by_way = {takes: browser.open(address, takes) for takes in (BROWSER, "gzip", "identity")}

    assert [answer.headers["Content-Encoding"] for answer in by_way.values()] == [
        "br",
        "gzip",
        None,
    ]
    assert len({answer.content for answer in by_way.values()}) == 1
    assert {answer.headers["Vary"] for answer in by_way.values()} == {"Accept-Encoding"}


def test_a_file_under_its_plain_name_is_not_kept_for_long(browser):
    plain = browser.open("/static/web/app.css")

    assert plain.status == 200
    assert plain.headers["Cache-Control"] == "max-age=60, public"


def test_the_stand_is_told_the_digests_of_what_is_sent(browser):
    browser.sign_in(*OWNER)
    worker = browser.open("/stand/worker.js").text
    told = dict(re.findall(r'"(/static/[^"]+)": "([0-9a-f]{64})"', worker))
    loaded = browser.files_of(browser.open("/stand/"))

    sent = {address: hashlib.sha256(browser.open(address).content).hexdigest() for address in told}
    assert told == sent
    assert any("/stand/store." in address for address in told)
    assert {name for name in loaded if name.endswith((".js", ".css"))} <= set(told)


def test_files_are_written_once_for_one_state_of_the_sources(settings, tmp_path):
    settings.DATA_DIR = tmp_path
    folder = static_files.written()
    before = {path: path.stat().st_mtime_ns for path in folder.rglob("*")}

    assert static_files.written() == folder
    assert before
    assert {path: path.stat().st_mtime_ns for path in folder.rglob("*")} == before
    assert list((tmp_path / "static").iterdir()) == [folder]


def test_without_room_for_them_files_keep_their_plain_names(settings, tmp_path, caplog):
    settings.DATA_DIR = tmp_path
    # Where a folder should be is a file.
    (tmp_path / "static").touch()

    serve.make_application()

    assert "pages take longer to load" in caplog.text
    assert static_files.storage().url("web/app.css") == "/static/web/app.css"


def test_what_the_api_answers_keeps_its_exact_version(browser):
    """A weak ETag would be refused in If-Match."""
    browser.sign_in(*OWNER)
    house = browser.open("/api/v1/house/")

    assert (house.status, house.headers["Content-Encoding"]) == (200, None)
    assert house.headers["ETag"].startswith('"')
