"""What tests of pages share: who is signed in, what was said, and that the books stayed."""

import html
import re
from collections.abc import Iterator
from contextlib import contextmanager

from django.contrib.messages import get_messages
from django.test import Client

from inventory.stock.models import Balance, DipReading, Lot, Place, Posting, PostingLine
from inventory.stock.queries import books
from tests import builders


def signed_in(role: str = "bottling") -> Client:
    client = Client()
    client.force_login(builders.person(role))
    return client


@contextmanager
def books_unchanged() -> Iterator[None]:
    """Assert that what happens inside leaves every row of the books as it was."""
    before = _books()
    yield
    assert _books() == before
    assert list(books.faults()) == []


def _books() -> list[list[tuple]]:
    return [
        list(model.objects.order_by("pk").values_list())
        for model in (Posting, PostingLine, Balance, Lot, DipReading, Place)
    ]


def errors(response) -> dict[str, list[str]]:
    """Return the sentences shown, field by field, of a form that was refused."""
    assert response.status_code == 422
    return {name: list(said) for name, said in response.context["form"].errors.items()}


def said(response) -> list[str]:
    """Return the messages of the act a response follows."""
    return [str(message) for message in get_messages(response.wsgi_request)]


def text(response) -> str:
    """Return a page's words: a space for each tag, and single spaces."""
    words = re.sub(r"<[^>]+>", " ", response.content.decode())
    return re.sub(r" ([.,:;)])", r"\1", " ".join(html.unescape(words).split()))
