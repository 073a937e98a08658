"""What every back office page is built on: rows to look at, rows to correct."""

from django.contrib import admin


class ReadOnlyAdmin(admin.ModelAdmin):
    """Rows that are looked at and never changed here."""

    def has_add_permission(self, request) -> bool:
        return False

    def has_change_permission(self, request, obj=None) -> bool:
        return False

    def has_delete_permission(self, request, obj=None) -> bool:
        return False


class ReadOnlyInline(admin.TabularInline):
    extra = 0
    can_delete = False

    def has_add_permission(self, request, obj=None) -> bool:
        return False

    def has_change_permission(self, request, obj=None) -> bool:
        return False


class NoDeleteAdmin(admin.ModelAdmin):
    """Reference rows: corrected here, taken out of use rather than deleted."""

    def has_delete_permission(self, request, obj=None) -> bool:
        return False
