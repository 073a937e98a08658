from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.utils.translation import gettext_lazy as _

from apiary_sales.accounts import roles
from apiary_sales.accounts.models import User


@admin.register(User)
class PersonAdmin(UserAdmin):
    list_display = ["username", "first_name", "role", "is_active", "last_login"]
    list_filter = ["role", "is_active"]
    # Groups and single permissions follow from the role and are not set by hand.
    fieldsets = [
        (None, {"fields": ["username", "password"]}),
        (_("Person"), {"fields": ["first_name", "last_name", "email"]}),
        (_("What they do"), {"fields": ["role", "is_active"]}),
        (_("Dates"), {"fields": ["last_login", "date_joined"]}),
    ]
    add_fieldsets = [
        (
            None,
            {
                "classes": ["wide"],
                "fields": [
                    "username",
                    "first_name",
                    "role",
                    "usable_password",
                    "password1",
                    "password2",
                ],
            },
        )
    ]
    filter_horizontal = []

    def get_readonly_fields(self, request, obj=None):
        """Role and access are changed on the People page, which makes sure that an owner remains"""
        return ["role", "is_active"] if obj else []

    def has_delete_permission(self, request, obj=None):
        # What a person wrote down stays under their name.
        return False

    def save_related(self, request, form, formsets, change):
        super().save_related(request, form, formsets, change)
        roles.put_in_step(form.instance)
