"""The house of the billing tests, with an e-mail address, and e-mails that are sent at once."""

import pytest

from tests import builders
from tests.billing.conftest import (  # noqa: F401
    _today,
    house,
    invoice_of,
    jars,
    pounds,
    shelf,
    stand,
)

AT_ONCE = {"default": {"BACKEND": "django_tasks.backends.immediate.ImmediateBackend"}}


@pytest.fixture
def sender(house):  # noqa: F811
    house.email = "office@hollow-oak.example"
    house.save()
    return house


@pytest.fixture
def at_once(settings):
    """Do tasks as they are queued, without a worker."""
    settings.TASKS = AT_ONCE


@pytest.fixture
def shop(sender):
    return builders.customer(
        "Corner Grocery", contact="Ada Lind", email="ada@corner.example", terms_days=30
    )


@pytest.fixture
def invoice(shop, pounds):  # noqa: F811
    return invoice_of(shop, jars(pounds, 12))
