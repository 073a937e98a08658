"""What is read about money; nothing here writes."""
