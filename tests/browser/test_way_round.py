"""The frame of every page: sign-in, the doors, and reading it without eyes."""

import re

import pytest
from playwright.sync_api import expect

from tests import builders

from .conftest import DESKTOP, PHONE


@pytest.mark.parametrize("viewport", [DESKTOP, PHONE])
def test_the_first_page_can_be_read_by_everyone(sign_in, axe, viewport):
    page = sign_in("owner", viewport)

    page.goto("/")

    expect(page.get_by_role("navigation", name="Main")).to_be_visible()
    axe(page)


def test_a_person_signs_in_with_name_and_password(chromium, live_server, transactional_db):
    builders.person("bottling")
    context = chromium.new_context(base_url=live_server.url)
    page = context.new_page()

    page.goto("/honey/")
    page.locator("input[name=username]").fill("bottling")
    page.locator("input[name=password]").fill("bottling")
    page.locator("input[name=password]").press("Enter")

    expect(page).to_have_url(re.compile("/honey/$"))
    context.close()
