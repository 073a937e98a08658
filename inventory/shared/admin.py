"""What every page of the back office is built on: rows to look at.

Whoever changes a row does so on its own page, whose service keeps the rules; a change here would
leave out what has to go along with it.
"""

from typing import TYPE_CHECKING, Any

from django.contrib import admin
from django.db.models import Model
from django.http import HttpRequest

# Django's classes take the type of their rows for the type checker only.
if TYPE_CHECKING:
    ModelAdmin = admin.ModelAdmin[Model]
    TabularInline = admin.TabularInline[Model, Model]
else:
    ModelAdmin = admin.ModelAdmin
    TabularInline = admin.TabularInline


class ReadOnlyAdmin(ModelAdmin):
    """Rows that are looked at and never changed here."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


class ReadOnlyInline(TabularInline):
    extra = 0
    can_delete = False

    def has_add_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False
