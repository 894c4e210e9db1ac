"""Lessons: files that name machines and shows, the scenes played from them, and what leaves the tool of them."""
