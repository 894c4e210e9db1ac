"""Files kept for a person, and long work."""
