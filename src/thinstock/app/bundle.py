"""The chart library of the page: the Vega bundle that vl-convert carries, built once, kept in the user's cache folder.

Nothing of it is in this package and nothing is fetched. A kept bundle is keyed to the version it was built from.
"""

from __future__ import annotations

import contextlib
import os
import sys
from functools import lru_cache
from importlib.metadata import version
from pathlib import Path

from thinstock.errors import Refused, needs
from thinstock.files.write import folder_of, put
from thinstock.words.phrase import phrase

SNIPPET = phrase("app.bundle.export_const_embed_vegaembed")


def cache_folder() -> Path:
    """Where the user's system keeps what can be made again."""
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA") or str(Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = str(Path.home() / "Library" / "Caches")
    else:
        base = os.environ.get("XDG_CACHE_HOME") or str(Path.home() / ".cache")
    return Path(base) / "thinstock"


def version_key() -> str:
    """What the bundle is made from; part of its address."""
    return version("vl-convert-python")


@lru_cache(maxsize=1)
def charts_script() -> bytes:
    """The script, UTF-8, as a module that exports `embed`."""
    place = cache_folder() / f"charts-{version_key()}-3.js"
    try:
        kept = place.read_bytes()
        if kept.endswith(b"\n// complete\n"):
            return kept
    except OSError:
        pass
    vl_convert = needs("vl_convert", "page")

    made = f"{vl_convert.javascript_bundle(SNIPPET)}\n// complete\n".encode()
    _keep(place, made)
    return made


def _keep(place: Path, content: bytes) -> None:
    """Put it in the cache in one step; a cache that cannot be written is done without."""
    with contextlib.suppress(Refused):
        folder_of(place.parent)
        put(place, content)
