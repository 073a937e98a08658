import pytest

from apiary_sales.webhooks.services import endpoints
from tests import builders
from tests.webhooks import receiver


@pytest.fixture
def program():
    """A program that listens on this machine."""
    with receiver.running() as running:
        yield running


@pytest.fixture
def told(program, owner):
    """Return a maker of rows of that program, with their secrets."""

    def make(*kinds: str, name: str = "Web shop", url: str = ""):
        return endpoints.add(
            name=name,
            url=url or program.url,
            kinds=kinds or ["customer.changed"],
            is_in_own_network=True,
            made_by=owner,
        )

    return make


@pytest.fixture
def endpoint(told):
    return told()[0]


@pytest.fixture
def delivery(endpoint):
    """Something that happened and waits to be told."""
    builders.customer()
    return endpoint.deliveries.get()
