"""Pages and papers about the stand and money."""
