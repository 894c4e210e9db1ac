"""Builds the documentation: prose with numbers from the library, and reference pages from its own declarations."""
