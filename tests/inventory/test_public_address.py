"""By which address strangers reach the house, and where there is none."""

import pytest

from inventory.shared import public_address


@pytest.mark.parametrize(
    ("host", "is_public"),
    [
        ("honey.example", True),
        ("stand.honey.example:8443", True),
        ("8.8.8.8", True),
        ("[2606:4700::1111]:8000", True),
        ("localhost", False),
        ("127.0.0.1:8000", False),
        ("192.168.1.20", False),
        ("[fe80::1]", False),
        ("honeyhouse", False),
        ("honeyhouse.local", False),
        ("honey.lan:8000", False),
    ],
)
def test_a_host_is_public_if_other_networks_can_reach_it(host, is_public):
    assert public_address.is_public(host) is is_public


@pytest.mark.parametrize(
    ("hosts", "https", "beginning"),
    [
        (["localhost", "127.0.0.1"], True, ""),
        (["*"], True, ""),
        ([".honey.example"], True, ""),
        (["localhost", "honey.example", "shop.example"], True, "https://honey.example"),
        (["honey.example"], False, "http://honey.example"),
    ],
)
def test_without_a_page_it_is_the_first_public_name_of_the_house(settings, hosts, https, beginning):
    settings.ALLOWED_HOSTS, settings.HTTPS = hosts, https

    assert public_address.beginning() == beginning


def test_a_page_opened_by_a_public_name_gives_that_name(settings, rf):
    settings.ALLOWED_HOSTS = ["honey.example", "shop.example", "localhost"]
    settings.HTTPS = True

    assert public_address.beginning(rf.get("/", headers={"host": "shop.example"})) == (
        "http://shop.example"
    )
    assert public_address.beginning(rf.get("/", headers={"host": "localhost"})) == (
        "https://honey.example"
    )
