"""What planning decides and works out, without reading or writing the database."""
