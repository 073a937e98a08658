"""What people type about e-mails and reminders."""
