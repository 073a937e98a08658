"""The only code that writes bills, payments and the book of money."""
