"""The only code that reads e-mails and reminders for display."""
