"""What people type about sales and money."""
