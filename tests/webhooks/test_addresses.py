"""Where nothing may be sent: into our own network unasked, or in the clear; and no name moves."""

import socket
import ssl
import threading
from ipaddress import ip_address

import pytest
import trustme

from apiary_sales.webhooks import connecting
from apiary_sales.webhooks.rules import addresses
from apiary_sales.webhooks.rules.addresses import AddressRefused
from apiary_sales.webhooks.services import endpoints
from inventory.shared.errors import BadValue

OUTSIDE = ["8.8.8.8", "2606:4700::1111", "64:ff9b::808:808"]
INSIDE = [
    *("127.0.0.1", "10.1.2.3", "172.16.0.1", "192.168.1.9", "169.254.169.254", "100.64.0.1"),
    *("fec0::1", "::127.0.0.1", "::ffff:0:7f00:1", "64:ff9b:1::7f00:1"),
    *("::1", "fd00::1", "fe80::1", "::ffff:10.1.2.3", "64:ff9b::a01:203", "2002:a01:203::1"),
]
NOWHERE = ["0.0.0.0", "::", "224.0.0.1", "ff02::1"]


@pytest.mark.parametrize("ip", OUTSIDE)
def test_the_open_network_is_allowed(ip):
    addresses.check(ip_address(ip), scheme="https", is_in_own_network=False)


@pytest.mark.parametrize("ip", INSIDE)
def test_our_own_network_is_allowed_only_where_a_person_says_so(ip):
    with pytest.raises(AddressRefused):
        addresses.check(ip_address(ip), scheme="https", is_in_own_network=False)
    addresses.check(ip_address(ip), scheme="https", is_in_own_network=True)


@pytest.mark.parametrize("ip", NOWHERE)
def test_what_is_no_address_of_a_machine_is_never_allowed(ip):
    with pytest.raises(AddressRefused):
        addresses.check(ip_address(ip), scheme="https", is_in_own_network=True)


@pytest.mark.parametrize("ip", ["192.168.1.9", "8.8.8.8"])
def test_without_https_only_this_machine_is_told(ip):
    with pytest.raises(AddressRefused, match="Without https only a program on this machine"):
        addresses.check(ip_address(ip), scheme="http", is_in_own_network=True)


@pytest.mark.django_db
@pytest.mark.parametrize(
    "url",
    [
        *("", "shop.example", "ftp://shop.example/", "https://", "https:///path", "file:///etc"),
        *("http://shop.example/", "http://192.168.1.9/", "http://2130706433/"),
        *("https://ada:pw@shop.example/", "https://shop.example/#part", "https://shop.example:0/"),
        *("https://shop.example:99999/", "https://shop.example/a b", "https://[::1/"),
        *("https://shop.example/\r\nX: y", "https://señora.example/"),
    ],
)
def test_an_address_that_can_not_be_is_refused_when_it_is_entered(owner, url):
    with pytest.raises(BadValue) as refused:
        endpoints.add(
            name="Shop",
            url=url,
            kinds=["order.placed"],
            is_in_own_network=True,
            made_by=owner,
        )
    assert refused.value.parameter == "url"


@pytest.mark.parametrize(
    "url", ["https://shop.example", "https://shop.example:8443/a?b=c", "http://[::1]:9/"]
)
def test_an_address_that_can_be_is_taken(url):
    assert addresses.parts_of(url).geturl() == url


def looks_up(monkeypatch, *ips):
    """Let each name have these addresses, one after the other; return what was looked up."""
    asked = []

    def answer(host, port, **_how):
        asked.append(host)
        ip = ips[min(len(asked), len(ips)) - 1]
        return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (each, port)) for each in ip.split()]

    monkeypatch.setattr(connecting.socket, "getaddrinfo", answer)
    return asked


@pytest.mark.parametrize("ips", ["10.0.0.7", "8.8.8.8 10.0.0.7"])
def test_a_name_that_leads_into_our_own_network_gets_nothing(monkeypatch, ips):
    looks_up(monkeypatch, ips)
    monkeypatch.setattr(connecting, "_connected", lambda *_told: pytest.fail("It connected."))

    sent = connecting.post("https://shop.example/", "{}", {}, is_in_own_network=False)

    assert not sent.is_taken
    assert sent.error.startswith("10.0.0.7 is in our own network.")


def test_it_connects_to_the_address_that_was_looked_at_with_the_name_of_the_program(monkeypatch):
    """The second look-up would lead elsewhere: there is none."""
    house = trustme.CA()
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    house.issue_cert("shop.example").configure_cert(context)
    usual = ssl.create_default_context
    names = []
    context.sni_callback = lambda _socket, name, _context: names.append(name)

    def trusting():
        made = usual()
        house.configure_trust(made)
        return made

    monkeypatch.setattr(connecting.ssl, "create_default_context", trusting)
    to = []
    ours, theirs = socket.socketpair()
    monkeypatch.setattr(
        connecting.socket,
        "create_connection",
        lambda address, timeout: to.append(address) or ours,
    )
    asked = looks_up(monkeypatch, "8.8.8.8", "10.0.0.7")

    got = []

    def serve():
        with context.wrap_socket(theirs, server_side=True) as shop:
            asked_for = b""
            while not asked_for.endswith(b"{}"):
                asked_for += shop.recv(65_536)
            got.append(asked_for)
            shop.sendall(b"HTTP/1.1 200 OK\r\nContent-Length: 2\r\n\r\nok")

    server = threading.Thread(target=serve)
    server.start()
    sent = connecting.post("https://shop.example/told", "{}", {}, is_in_own_network=False)
    server.join()

    assert (sent.status, sent.answer, sent.error) == (200, "ok", "")
    assert asked == ["shop.example"]
    assert to == [("8.8.8.8", 443)]
    assert names == ["shop.example"]
    assert b"POST /told HTTP/1.1\r\nHost: shop.example\r\n" in got[0]


def test_a_certificate_of_another_name_is_refused(monkeypatch):
    house = trustme.CA()
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    house.issue_cert("other.example").configure_cert(context)
    usual = ssl.create_default_context

    def trusting():
        made = usual()
        house.configure_trust(made)
        return made

    monkeypatch.setattr(connecting.ssl, "create_default_context", trusting)
    ours, theirs = socket.socketpair()
    monkeypatch.setattr(connecting.socket, "create_connection", lambda *_a, **_n: ours)
    looks_up(monkeypatch, "8.8.8.8")

    def serve():
        try:
            context.wrap_socket(theirs, server_side=True).close()
        except OSError:
            theirs.close()

    server = threading.Thread(target=serve)
    server.start()
    sent = connecting.post("https://shop.example/told", "{}", {}, is_in_own_network=False)
    server.join()

    assert sent.status is None
    assert "certificate" in sent.error


def test_a_program_that_answers_byte_by_byte_is_left_after_its_time(monkeypatch):
    monkeypatch.setattr(connecting, "EXCHANGE_MAX", 0.3)
    ours, theirs = socket.socketpair()
    monkeypatch.setattr(connecting.socket, "create_connection", lambda *_a, **_n: ours)

    stop = threading.Event()

    def drip():
        try:
            theirs.recv(65_536)
            while not stop.wait(0.05):
                theirs.sendall(b"H")
        except OSError:
            pass

    server = threading.Thread(target=drip)
    server.start()
    sent = connecting.post("http://127.0.0.1:9/", "{}", {}, is_in_own_network=True)
    stop.set()
    server.join()
    theirs.close()

    assert sent.status is None
    assert sent.error == "There was no whole answer within 10 seconds."
