"""Pure decisions about lists that are brought in: reading a file, its columns and its cells."""
