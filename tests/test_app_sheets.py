"""Sheets of a page are laid side by side, told in their order, and are the same however many cores there are."""

from __future__ import annotations

import os
import threading
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from app_client import Client
from thinstock.app import work
from thinstock.app.pages import sheet as page
from thinstock.app.work import SheetMade, SheetsWanted
from thinstock.errors import Fault, Refused

WANTED = SheetsWanted(
    name="one fibre", share=(1.0,), fibre_length=(1e-3,), fibre_width=(20e-6,), coarseness=(8e-8,), grammage=0.012,
    consistencies=(0.001, 0.002, 0.004), suspension_variation=0.2, size=8e-3, pixel=1e-4, orientation=0.0, seed=1,
    retention=0.7, density=1000.0, hole_diameter=1e-4, zones=(1e-3,),
)  # fmt: skip


def made(monkeypatch: pytest.MonkeyPatch, cores: int, wanted: SheetsWanted = WANTED) -> tuple[list[Any], list[float]]:
    monkeypatch.setattr(os, "cpu_count", lambda: cores)
    parts: list[Any] = []
    shares: list[float] = []

    def tell(share: float, said: str = "", part: Any = None) -> None:
        shares.append(share)
        if part is not None:
            parts.append(part)

    assert work.sheets(wanted, tell) == len(wanted.consistencies)
    return parts, shares


def test_sheets_are_the_same_and_in_order_however_many_cores_lay_them(monkeypatch: pytest.MonkeyPatch) -> None:
    alone, _ = made(monkeypatch, 1)
    together, shares = made(monkeypatch, 4)
    assert isinstance(alone[0], bytes)
    assert [part.number for part in together[1:] if isinstance(part, SheetMade)] == [0, 1, 2]
    assert alone == together
    assert shares == sorted(shares), "the bar of progress never goes back"


def test_a_sheet_is_laid_while_another_is_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    both = threading.Barrier(2, timeout=20.0)
    count = work._count

    def met(wanted: SheetsWanted, furnish: Any, number: int, step: Any) -> Any:
        if number < 2:
            both.wait()  # breaks where sheets come one after the other
        return count(wanted, furnish, number, step)

    monkeypatch.setattr(work, "_count", met)
    parts, _ = made(monkeypatch, 4)
    assert len(parts) == 1 + len(WANTED.consistencies)


def test_where_one_cannot_be_laid_the_rest_is_not_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    begun: list[int] = []

    def refuse(wanted: SheetsWanted, furnish: Any, number: int, step: Any) -> None:
        begun.append(number)
        if number == 0:
            raise Refused(Fault(field="size", value="9 m", bound="is too large"))
        time.sleep(0.02)

    monkeypatch.setattr(work, "_map", refuse)
    monkeypatch.setattr(work, "_count", lambda *given: time.sleep(0.02))
    many = SheetsWanted(**{**vars(WANTED), "consistencies": (0.002,) * 200})
    with pytest.raises(Refused):
        made(monkeypatch, 1, many)
    assert len(begun) < 100


def test_a_visit_works_out_the_theory_of_its_sheets_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    client = Client(tmp_path)
    runs: list[float] = []
    theory = page.Sheets._theory

    def counted(self: Any, consistency: float, zone: Any, end: str = "base") -> Any:
        if np.ndim(zone) == 0:  # of a sheet; those of many zones are the curves of a chart
            runs.append(consistency)
        return theory(self, consistency, zone, end)

    monkeypatch.setattr(page.Sheets, "_theory", counted)
    try:
        query = "machine=facial-roll&w=13.3"
        assert client.get(f"/sheet?{query}").status_code == 200
        first = len(runs)
        body = {"query": query, "light": "diffuse", "have": [], "eye": False, "wait": 30.0}
        began = client.post("/sheet/answer", {**body, "job": "", "start": True}).json()
        told = client.post("/sheet/answer", {**body, "job": began["job"], "mine": began["job"]})
        assert told.json()["pictures"] and "gzip" not in told.headers.get("content-encoding", "")
        assert len(runs) == first > 0
        assert client.get("/sheet?machine=facial-roll&w=13.4").status_code == 200
        assert len(runs) == 2 * first, "another address is worked out anew"
    finally:
        client.close()
