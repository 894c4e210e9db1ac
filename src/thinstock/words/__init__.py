"""Words, units, sources, constants and bands: what the rest of the program may say, once."""
