"""Pure decisions about e-mails and reminders."""
