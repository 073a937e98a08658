"""The only code that writes e-mails, their texts and reminders."""
