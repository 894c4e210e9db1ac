"""Answers of the server: pages from templates that always escape, pieces of pages, JSON, refusals in words."""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from thinstock.app.state import fault_rows
from thinstock.app.words import catalogue, say
from thinstock.errors import Refused, steers, visible, visible_in
from thinstock.tell.page import blocks, table
from thinstock.tell.record import plain

TEMPLATES = Path(__file__).parent / "templates"


@lru_cache(maxsize=1)
def environment() -> Environment:
    """The templates; every value is escaped, whatever the file's ending."""
    made = Environment(
        loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, auto_reload=False,
    )  # fmt: skip
    made.policies["json.dumps_function"] = lambda content, **how: json.dumps(visible_in(content), **how)
    made.globals["say"] = say
    made.globals["words"] = catalogue()
    made.globals["set_table"] = table
    made.globals["set_blocks"] = blocks
    return made


def piece(template: str, **values: Any) -> str:
    """A piece of a page."""
    return environment().get_template(template).render(**values)


def page_reply(request: Request, template: str, *, status: int = 200, **values: Any) -> Response:
    """A whole page, with the list of pages and the address it stands for."""
    from thinstock.app.bundle import version_key
    from thinstock.app.pages import all_pages

    known = {
        "pages": all_pages(),
        "here": values.pop("here", ""),
        "query": request.url.query,
        "asked_for": request.url.query,
        "charts": f"/charts/{version_key()}.js",
    }
    return HTMLResponse(visible(piece(template, **{**known, **values})), status)


def json_reply(content: Any, *, status: int = 200, packed: bool = False) -> Response:
    """JSON, without NaN; `packed`: nearly all of it is pictures, which do not shrink further."""
    try:
        body = _dumped(content)
    except (ValueError, TypeError):
        body = _dumped(plain(content))
    headers = {"content-encoding": "identity"} if packed else None
    return Response(body.encode("utf-8"), status, headers, media_type="application/json")


def _dumped(content: Any) -> str:
    said = json.dumps(content, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    if "\\u0" in said or "\\b" in said or "\\f" in said or steers(said):
        said = json.dumps(visible_in(content), ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return said


def refused_reply(refused: Refused, *, status: int = 422) -> Response:
    """All faults of a refusal, by field."""
    return json_reply({"faults": fault_rows(refused.faults)}, status=status)


def failed() -> Response:
    """A fault of the program, without a word of its inside."""
    return json_reply({"failed": True}, status=500)


async def body_of(request: Request) -> dict[str, Any]:
    """The JSON object of a request."""
    from starlette.exceptions import HTTPException

    raw = await request.body()
    try:
        found = json.loads(raw)
        if b"\\ud" in raw.lower():  # half a letter's code can be in no name and no file
            json.dumps(found, ensure_ascii=False).encode("utf-8")
    except (ValueError, RecursionError):
        raise HTTPException(400) from None
    if not isinstance(found, dict):
        raise HTTPException(400)
    return found


def text_in(body: dict[str, Any], name: str, default: str | None = None) -> str:
    """A text of a request's object."""
    from starlette.exceptions import HTTPException

    value = body.get(name, default)
    if not isinstance(value, str):
        raise HTTPException(400)
    return value


def attachment(content: bytes, kind: str, name: str) -> Response:
    """A file to be kept."""
    from urllib.parse import quote

    plain_name = "".join(c if c.isascii() and (c.isalnum() or c in "-_. ") else "-" for c in name)
    told = f"attachment; filename=\"{plain_name}\"; filename*=UTF-8''{quote(name)}"
    return Response(content, media_type=kind, headers={"content-disposition": told})
