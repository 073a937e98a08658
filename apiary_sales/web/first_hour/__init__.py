"""The guided set-up: from an empty database to a house at work, a page a question."""
