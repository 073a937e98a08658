"""The contact sheet: its states can be driven, photographed and laid out."""

import pytest
from django.test import Client
from PIL import Image

from tests import builders
from tests.browser import contact_sheet
from tests.browser.page_states import STATES

TILL = ["basket_unfolded", "too_little", "waiting_sale", "refused"]


def test_every_state_has_a_name_of_its_own_a_group_and_a_caption():
    states = STATES.states

    assert len({state.name for state in states}) == len(states)
    assert len({state.caption for state in states}) == len(states)
    assert all(state.group and state.caption for state in states)


@pytest.fixture
def session(pounds):
    client = Client()
    client.force_login(builders.person("stand"))
    return client.cookies["sessionid"].value


def size_of(path):
    with Image.open(path) as picture:
        return picture.size


def test_states_are_photographed_at_all_sizes_and_laid_on_a_sheet(
    chromium, live_server, session, tmp_path, monkeypatch
):
    monkeypatch.setattr(contact_sheet, "SCHEMES", ("dark",))
    states = [state for state in STATES.states if state.name in TILL]
    taken = []

    for state in states:
        with contact_sheet.phone(chromium, live_server.url, session, "en") as page:
            state.drive(page)
            taken.append((state, "en", contact_sheet.photograph(page, tmp_path, state)))
    contact_sheet.lay_out(tmp_path, taken)

    assert [state.name for state in states] == TILL
    first = taken[0][2]
    assert [size_of(path) for path in first] == list(contact_sheet.SIZES)
    sheets = ["the-sale-en.png", "the-money-en.png", "sales-here-en.png"]
    index = (tmp_path / "index.html").read_text()
    assert [name for name in sheets if name in index and (tmp_path / name).exists()] == sheets
    # Three photographs at half size, and the space between them.
    width = (360 + 390 + 768) // 2 + 4 * contact_sheet.GAP
    assert size_of(tmp_path / sheets[0])[0] == width
