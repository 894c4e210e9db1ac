"""Phrases, a folder per language and a file per subject."""
