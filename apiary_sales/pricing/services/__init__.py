"""The only code that writes prices, rates and costs of selling."""
