"""The only code that writes quotes, orders, reservations and fulfilments."""
