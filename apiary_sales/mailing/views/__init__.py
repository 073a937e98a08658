"""Pages of e-mails and reminders."""
