"""The only code that reads prices, costs and margins for display."""
