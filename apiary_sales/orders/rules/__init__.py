"""Pure decisions on orders and their lines; none reads or writes the database."""
