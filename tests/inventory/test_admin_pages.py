"""The back office: everything there can be looked at, and nothing changed."""

import pytest
from django.contrib import admin
from django.forms import model_to_dict
from django.test import RequestFactory
from django.urls import reverse

from tests import builders
from tests.inventory.pages import books_unchanged, signed_in

pytestmark = pytest.mark.django_db

MODELS = sorted(admin.site._registry, key=lambda model: model._meta.label)


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model._meta.label)
def test_the_owner_looks_at_every_table_and_changes_none(model):
    builders.lot_in(builders.place("tank-1"))
    owner, options = signed_in("owner"), model._meta
    name = f"admin:{options.app_label}_{options.model_name}"

    assert owner.get(reverse(f"{name}_changelist")).status_code == 200
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
