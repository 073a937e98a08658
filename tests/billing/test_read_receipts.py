"""The public page of a receipt: what its buyer reads, and that nothing else gets out."""

import pytest
from django.core.cache import cache
from django.urls import reverse

from apiary_sales.billing.models import StandSale
from apiary_sales.billing.services import stand as stand_sales
from inventory.shared.public_pages import VISITS_MAX
from tests import builders
from tests.billing.conftest import words_of
from tests.billing.receipt_room import sale_of

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _nothing_kept():
    """Keep neither pages nor counts of visits from one test to the next."""
    cache.clear()
    yield
    cache.clear()


@pytest.fixture
def sale(pounds, stand) -> StandSale:
    return sale_of(pounds, stand, pieces=2, device="phone-7")


def path_of(sale):
    return f"/r/{sale.read_code}/"


def test_whoever_has_the_code_reads_what_the_paper_says(client, sale):
    answer = client.get(path_of(sale))

    assert answer.status_code == 200
    page = words_of(answer.content.decode())
    for said in (
        "Hollow Oak Honey House 418 Ridge Road Millbrook, IA 50001",
        f"Receipt {sale}",
        "Date Sep 10, 2026 Time 12:00 p.m. Place Stand Sold by Stand",
        "One pound 2 pc × $8.00 lot P26-002 $16.00",
        "Total $16.00 Cash given $100.00 Change given $84.00",
        "Do not feed honey to infants under one year of age.",
    ):
        assert said in page


def test_nothing_of_the_house_itself_gets_out(client, sale, owner, key):
    stand_sales.take_back(receipt=sale.receipt, taken_by=owner, key=key(), reason="Bad buyer")

    text = client.get(path_of(sale)).content.decode()

    assert "Cancelled on Sep 10, 2026 by credit note C26-00001." in words_of(text)
    assert "Bad buyer" not in text
    for secret in ("phone-7", sale.key, sale.order.number, "/stand/", "/money/", "csrf", "<script"):
        assert secret not in text


def test_everybody_gets_the_same_page_and_no_cookie(client, sale):
    stranger = client.get(path_of(sale))
    client.force_login(builders.person("owner"))
    cache.clear()

    own = client.get(path_of(sale))

    assert own.content == stranger.content
    for answer in (stranger, own):
        assert not answer.cookies
        assert answer["Vary"] == "Accept-Language, Accept-Encoding"
        assert answer["X-Robots-Tag"] == "noindex"
        # No machine between keeps what one buyer bought.
        assert answer["Cache-Control"] == "private, max-age=60"


def test_a_page_that_the_browser_has_is_not_sent_again(client, sale):
    tag = client.get(path_of(sale))["ETag"]

    again = client.get(path_of(sale), headers={"if-none-match": tag})

    assert (again.status_code, again.content) == (304, b"")


def test_the_page_is_made_once_a_minute(client, sale, django_assert_num_queries):
    client.get(path_of(sale))

    with django_assert_num_queries(0):
        assert client.get(path_of(sale)).status_code == 200


@pytest.mark.parametrize("code", ["", "R26-00001/", "a/b/", "x" * 300 + "/", "%00/"])
def test_a_wrong_code_is_told_in_plain_words(client, sale, code):
    answer = client.get(f"/r/{code}")

    assert answer.status_code == 404
    page = answer.content.decode()
    assert "There is no such receipt" in page
    assert "Scan the code on the paper again, or ask at the stand." in page
    assert "/stand/" not in page


def test_a_code_cannot_be_guessed_in_many_tries(client, sale):
    tries = [client.get("/r/guess/").status_code for _number in range(VISITS_MAX)]

    answer = client.get(path_of(sale))

    assert set(tries) == {404}
    assert answer.status_code == 429
    assert int(answer["Retry-After"]) <= 60
    # As many bits as 16 random bytes have.
    assert len(sale.read_code) == 22


def test_the_page_is_in_the_language_of_its_reader(client, sale):
    english = client.get(path_of(sale), headers={"accept-language": "de, en;q=0.5"})
    spanish = client.get(path_of(sale), headers={"accept-language": "es-MX, es;q=0.9"})

    assert '<html lang="en">' in english.content.decode()
    assert '<html lang="es">' in spanish.content.decode()
    assert "10 sep 2026" in spanish.content.decode()


@pytest.mark.parametrize("method", ["post", "put", "delete"])
def test_the_page_takes_nothing(client, sale, method):
    assert getattr(client, method)(path_of(sale)).status_code == 405


def test_the_address_is_the_one_that_is_printed_for_good():
    # Papers with it are in the hands of buyers.
    assert reverse("billing:read_receipt", args=["abc"]) == "/r/abc/"
