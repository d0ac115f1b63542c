"""Papers, measured as they come out."""
