"""The only code that reads quotes, orders and stock for sale for display."""
