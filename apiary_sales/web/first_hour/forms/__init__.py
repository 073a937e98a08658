"""The forms of the guided set-up, and the tables of rows on its pages."""
