"""Pure decisions on prices, tax and costs; none reads or writes the database."""
