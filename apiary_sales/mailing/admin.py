"""E-mails and reminders in the back office: to be looked at, never changed."""

from django.contrib import admin

from apiary_sales.mailing.models import (
    Email,
    EmailPaper,
    EmailText,
    Reminder,
    ReminderPause,
    ReminderPlan,
)
from inventory.shared.admin import ReadOnlyAdmin, ReadOnlyInline


class EmailPaperInline(ReadOnlyInline):
    model = EmailPaper
    exclude = ["copy"]


class ReminderInline(ReadOnlyInline):
    model = Reminder


@admin.register(Email)
class EmailAdmin(ReadOnlyAdmin):
    list_display = ["created_at", "to", "subject", "status"]
    list_filter = ["status"]
    search_fields = ["to", "subject"]
    inlines = [EmailPaperInline, ReminderInline]


@admin.register(EmailText)
class EmailTextAdmin(ReadOnlyAdmin):
    list_display = ["name", "language", "subject"]


@admin.register(ReminderPlan)
class ReminderPlanAdmin(ReadOnlyAdmin):
    list_display = ["first_days", "second_days", "third_days", "minimum_cents"]


@admin.register(ReminderPause)
class ReminderPauseAdmin(ReadOnlyAdmin):
    list_display = ["customer", "invoice", "reason", "until", "ended_at"]
