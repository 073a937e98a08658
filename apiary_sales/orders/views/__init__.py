"""Pages of selling."""
