"""The folder of a sweep: a manifest, one Parquet part per chunk, and beside each part the checksum it was written with.

A part counts as done only while its bytes have that checksum; a damaged or half one is worked out again. Each part says
in itself which sweep it belongs to, so that a lost manifest costs nothing and parts of several folders can be put
together. The checksums are lines as `sha256sum -c` reads them.
"""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from thinstock.errors import Fault, Refused, needs
from thinstock.files.read import content, foreign
from thinstock.files.write import folder_of, put
from thinstock.words.fault import fault_in
from thinstock.words.phrase import phrase

MANIFEST = "sweep.json"
MOST_CHUNKS = 1_000_000
"""Parts of one sweep."""
LARGEST_MANIFEST, LARGEST_PART = 50_000_000, 8_000_000_000
"""Bytes that are read at all."""
MARK = b"thinstock sweep"
"""Of a part: which sweep it belongs to."""
MOST_TOLD = 20
"""Parts that are told one by one."""
_PART = re.compile(r"part-(\d{6,})\.parquet")


@dataclass(frozen=True, kw_only=True)
class Checked:
    """What a folder holds of its sweep, by the numbers of the parts (from 0)."""

    folder: Path
    parts: int
    whole: tuple[int, ...]
    damaged: tuple[int, ...]
    """There, but not as they were written."""
    missing: tuple[int, ...]


def part_of(folder: Path, number: int) -> Path:
    """The place of a part."""
    return folder / f"part-{number:06d}.parquet"


def sum_of(part: Path) -> Path:
    """The place of its checksum."""
    return part.with_suffix(".sha256")


def mark_of(identity: Mapping[str, Any]) -> str:
    """A sweep in one short word."""
    return sha256(json.dumps(identity, sort_keys=True).encode()).hexdigest()[:32]


def keep(part: Path, table: Any, mark: str) -> None:
    """Write a part whole or not at all, then its checksum: a part without one does not count."""
    pq = needs("pyarrow.parquet", "tables")
    held = io.BytesIO()
    marked = table.replace_schema_metadata({MARK: mark.encode()})
    pq.write_table(marked, held, compression="zstd", row_group_size=max(table.num_rows, 1))
    raw = held.getvalue()
    put(part, raw)
    put(sum_of(part), f"{sha256(raw).hexdigest()}  {part.name}\n")


def whole(part: Path) -> bool:
    """Whether a part stands as it was written."""
    return _read(part) is not None


def _read(part: Path) -> bytes | None:
    """The bytes of a part that is as it was written; None for every other."""
    try:
        raw, said = content(part, LARGEST_PART), content(sum_of(part), 1000)
    except Refused:
        return None
    return raw if said == f"{sha256(raw).hexdigest()}  {part.name}\n".encode() else None


def _mark_in(raw: bytes) -> str:
    """The sweep a whole part says it belongs to."""
    pq = needs("pyarrow.parquet", "tables")
    with foreign("part"):
        return ((pq.read_schema(io.BytesIO(raw)).metadata or {}).get(MARK) or b"").decode("ascii", "replace")


# -- the manifest ------------------------------------------------------------------------------------------------------


def manifest_of(folder: Path) -> dict[str, Any] | None:
    """What the folder says it holds: None where it says nothing, or where what it says is damaged."""
    try:
        with foreign(MANIFEST):
            found = json.loads(content(folder / MANIFEST, LARGEST_MANIFEST))
    except Refused:
        return None
    if not isinstance(found, dict):
        return None
    stated, cases, size = found.pop("sha256", None), found.get("cases"), found.get("size")
    counts = isinstance(cases, int) and isinstance(size, int) and size > 0 and 0 <= cases <= size * MOST_CHUNKS
    good = counts and isinstance(found.get("beside", {}), dict)
    return found if good and stated in (None, _digest(found)) else None


def _digest(manifest: Mapping[str, Any]) -> str:
    return sha256(json.dumps(manifest, sort_keys=True).encode()).hexdigest()


def claim(folder: Path, identity: Mapping[str, Any], beside: Mapping[str, str]) -> None:
    """Write what this folder holds, or refuse if it holds something else.

    A manifest that is lost or damaged is written anew where every whole part says that it belongs to this sweep.
    """
    theirs = manifest_of(folder)
    if theirs is not None:
        differ = [name for name in identity if theirs.get(name) != identity[name]]
        if differ:
            raise _other(folder, phrase("studies.sweep.holds_another_sweep_different", differ=", ".join(differ)))
    elif parts := parts_in(folder):
        marks = {_mark_in(raw) for raw in map(_read, parts) if raw is not None}
        if marks != {mark_of(identity)}:
            raise _other(folder, phrase("studies.sweep.holds_parts_without", manifest=MANIFEST))
    said = {**identity, "beside": {name: sha256(text.encode()).hexdigest() for name, text in sorted(beside.items())}}
    if theirs != said:
        put(folder / MANIFEST, json.dumps({**said, "sha256": _digest(said)}, indent=1))
    for name, text in beside.items():
        put(folder / name, text)


def _other(folder: Path, bound: str) -> Refused:
    remedy = phrase("studies.sweep.choose_empty_folder")
    return Refused(Fault(field="folder", value=folder.name, bound=bound, remedy=remedy))


def parts_in(folder: Path) -> list[Path]:
    """The parts that are there, in order."""
    return sorted(place for place in folder.glob("part-*.parquet") if _PART.fullmatch(place.name))


# -- looking after it --------------------------------------------------------------------------------------------------


def check(folder: str | Path) -> Checked:
    """Every part held against its checksum.

    Raises
    ------
    Refused
        A folder without a manifest that can be read.
    """
    place = Path(folder)
    manifest = manifest_of(place)
    if manifest is None:
        raise Refused(fault_in("studies.sweep.no_manifest", "folder", str(place), manifest=MANIFEST))
    count = -(-int(manifest["cases"]) // int(manifest["size"]))
    there = {int(_PART.fullmatch(one.name)[1]): one for one in parts_in(place)}  # type: ignore[index]
    good = {number for number, part in there.items() if whole(part)}
    return Checked(
        folder=place, parts=count, whole=tuple(sorted(n for n in good if n < count)),
        damaged=tuple(sorted(n for n in there if n not in good)),
        missing=tuple(n for n in range(count) if n not in there),
    )  # fmt: skip


def must_be_whole(found: Checked) -> None:
    """Refuse a folder in which a part is damaged or missing, naming them."""
    faults = [
        fault_in(f"studies.sweep.{key}", part_of(found.folder, number).name)
        for key, numbers in (("damaged", found.damaged), ("missing", found.missing))
        for number in numbers
    ]
    if len(faults) > MOST_TOLD:
        told = {"damaged": len(found.damaged), "missing": len(found.missing), "parts": found.parts}
        faults = [*faults[:MOST_TOLD], fault_in("studies.sweep.and_more", str(found.folder), **told)]
    if faults:
        raise Refused(faults)


def merge(folders: Iterable[str | Path], out: str | Path) -> Checked:
    """Put the whole parts of one sweep, worked out in several folders, into one.

    Damaged parts are left out; a part that is whole in any folder is taken. What is still missing in `out` afterwards
    is told by what comes back, and the same sweep into `out` works it out.

    Raises
    ------
    Refused
        Folders of different sweeps, or without a manifest; nothing is written then.
    """
    places = [Path(folder) for folder in folders]
    manifests = [manifest_of(place) for place in places]
    faults = [
        fault_in("studies.sweep.no_manifest", "folder", str(place), manifest=MANIFEST)
        for place, one in zip(places, manifests, strict=True)
        if one is None
    ]
    if faults or not places:
        raise Refused(faults or fault_in("studies.sweep.no_folders", "FOLDER"))
    first = manifests[0]
    assert first is not None
    for place, other in zip(places, manifests, strict=True):
        differ = [name for name in first if (other or {}).get(name) != first[name]]
        if differ:
            raise _other(place, phrase("studies.sweep.holds_another_sweep_different", differ=", ".join(differ)))
    identity = {name: value for name, value in first.items() if name != "beside"}
    target = folder_of(out)
    claim(target, identity, _beside(places, first))
    for place in places:
        for part in parts_in(place):
            aim = target / part.name
            raw = None if whole(aim) else _read(part)
            if raw is not None:
                put(aim, raw)
                put(sum_of(aim), f"{sha256(raw).hexdigest()}  {part.name}\n")
    return check(target)


def _beside(places: Iterable[Path], manifest: Mapping[str, Any]) -> dict[str, str]:
    """The texts beside the manifest, from the first folder that has each as it was written."""
    found: dict[str, str] = {}
    for place in places:
        for name, digest in manifest.get("beside", {}).items():
            if name in found or Path(name).name != name or name == MANIFEST:
                continue
            try:
                raw = content(place / name, LARGEST_MANIFEST)
            except Refused:
                continue
            if sha256(raw).hexdigest() == digest:
                with foreign(name):
                    found[name] = raw.decode("utf-8")
    return found
