"""E-mails with papers, the texts they begin with, and reminders."""

from .emails import Email, EmailPaper, EmailText, PaperCopy
from .reminders import Reminder, ReminderPause, ReminderPlan

__all__ = [
    "Email",
    "EmailPaper",
    "EmailText",
    "PaperCopy",
    "Reminder",
    "ReminderPause",
    "ReminderPlan",
]
