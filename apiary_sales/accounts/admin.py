"""People in the back office: to be looked at, never changed.

A person's role, password and access are changed on the People page, which ends what has to end.
"""

from django.contrib import admin
from django.contrib.auth.models import Group

from apiary_sales.accounts.models import User
from inventory.shared.admin import ReadOnlyAdmin

# What a role may do follows from the table of roles, and no group is made by hand.
admin.site.unregister(Group)


@admin.register(User)
class PersonAdmin(ReadOnlyAdmin):
    list_display = ["username", "first_name", "role", "is_active", "last_login"]
    list_filter = ["role", "is_active"]
    fields = [
        "username",
        "first_name",
        "last_name",
        "email",
        "role",
        "is_active",
        "last_login",
        "date_joined",
    ]
