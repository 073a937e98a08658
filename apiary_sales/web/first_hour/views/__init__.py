"""The pages of the guided set-up."""
