"""What every app is built on: errors, words, money, days, form fields, act views, papers."""
