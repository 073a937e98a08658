"""The back office: everything there can be looked at, and nothing changed."""

import html
import re
from datetime import date

import pytest
from django.contrib import admin
from django.db import connection
from django.forms import model_to_dict
from django.test import RequestFactory
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory.shared import admin as back_office
from inventory.stock.models import Place
from tests import builders
from tests.inventory.pages import books_unchanged, signed_in, text

pytestmark = pytest.mark.django_db

MODELS = sorted(admin.site._registry, key=lambda model: model._meta.label)


def _texts(asked):
    return [query["sql"] for query in asked.captured_queries]


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model._meta.label)
def test_the_owner_looks_at_every_table_and_changes_none(model):
    builders.lot_in(builders.place("tank-1"))
    owner, options = signed_in("owner"), model._meta
    name = f"admin:{options.app_label}_{options.model_name}"

    with CaptureQueriesContext(connection) as asked:
        assert owner.get(reverse(f"{name}_changelist")).status_code == 200
    if isinstance(admin.site._registry[model], back_office.ReadOnlyAdmin):
        # Neither all rows are counted, nor the first and last day of all looked for.
        of_all = [sql for sql in _texts(asked) if re.search(r"(COUNT|MIN)\(", sql)]
        assert [sql for sql in of_all if "LIMIT" not in sql] == []
    assert owner.get(reverse(f"{name}_add")).status_code == 403
    row = model._default_manager.first()
    if row is None:
        return
    change = reverse(f"{name}_change", args=[row.pk])
    before = model_to_dict(row)
    with books_unchanged():
        assert owner.get(change).status_code == 200
        assert owner.post(change, {"note": "x", "name": "x"}).status_code == 403
        removed = owner.post(reverse(f"{name}_delete", args=[row.pk]), {"post": "yes"})
        assert removed.status_code == 403
        owner.post(
            reverse(f"{name}_changelist"),
            {"action": "delete_selected", "_selected_action": [row.pk], "post": "yes"},
        )
    assert model_to_dict(model._default_manager.get(pk=row.pk)) == before


def test_every_inline_of_the_back_office_is_only_looked_at():
    request = RequestFactory().get("/admin/")
    request.user = builders.person("owner")

    can_be_written = [
        inline
        for pages in admin.site._registry.values()
        for inline in pages.get_inline_instances(request)
        if inline.has_add_permission(request, None)
        or inline.has_change_permission(request)
        or inline.has_delete_permission(request)
    ]

    assert can_be_written == []


def test_a_password_is_changed_and_a_person_signed_out_at_the_pages_for_everybody():
    owner = signed_in("owner")

    changing = owner.get("/admin/password_change/")
    leaving = owner.post("/admin/logout/")

    assert changing.url == reverse("accounts:password")
    assert leaving.headers["Clear-Site-Data"] == '"cache"'
    assert owner.get("/admin/").status_code == 302


def test_others_do_not_enter_the_back_office():
    response = signed_in("bottling").get(reverse("admin:inventory_posting_changelist"))

    assert response.status_code == 302
    assert "login" in response.url or "sign-in" in response.url


def test_a_long_list_of_the_back_office_pages_through_its_first_rows(monkeypatch):
    for number in range(4):
        builders.place(f"tank-{number}")
    owner, address = signed_in("owner"), reverse("admin:inventory_place_changelist")
    there = Place.objects.count()

    whole = text(owner.get(address))
    monkeypatch.setattr(back_office, "ROWS_COUNTED", 3)
    cut = text(owner.get(address))
    narrowed = text(owner.get(address, {"q": "tank-2"}))

    assert f"{there} places" in whole
    assert "The first 3 of the list. Choose in the filter to see the others." in cut
    assert "1 place" in narrowed


def test_postings_are_narrowed_to_a_year_or_a_month():
    for year in (2024, 2025):
        tank = builders.place(f"tank-{year}")
        builders.lot_in(tank, season=year, extracted_on=date(year, 7, 31))
    owner, address = signed_in("owner"), reverse("admin:inventory_posting_changelist")

    def found(page):
        return [timezone.localdate(row.occurred_at) for row in page.context["cl"].result_list]

    def follow(page, name):
        query = re.search(rf'href="(\?[^"]*)">{name}</a>', page.text)[1]
        return owner.get(address + html.unescape(query))

    whole = owner.get(address)
    year = follow(whole, "2024")
    july, august = follow(year, "July 2024"), follow(year, "August 2024")

    assert found(whole) == [date(2025, 7, 31), date(2024, 7, 31)]
    assert "July 2024" not in whole.text
    assert found(year) == found(july) == [date(2024, 7, 31)]
    assert found(august) == []
    assert "2023</a>" not in whole.text
