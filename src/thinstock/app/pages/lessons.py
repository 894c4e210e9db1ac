"""Lessons: what can be given, the stage on which it is given, and what leaves the tool of it."""

from __future__ import annotations

from thinstock.app.pages import Page
from thinstock.app.stage import classroom, editing, routes, taken

PAGE = Page(
    name="lessons",
    title="Lessons",
    place=65,
    routes=(*routes.ROUTES, *taken.ROUTES, *classroom.ROUTES, *editing.ROUTES),
)
