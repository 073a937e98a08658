"""Pages about honey, bottling and stock."""
