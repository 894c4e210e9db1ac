"""A record of a study as the page sets it: tables, charts with their words, notes, and the files it can be kept as.

Chooses, rounds and gives units; every number is the record's own.
"""

from __future__ import annotations

import json
import math
import re
from html import escape
from typing import Any

import numpy as np

from thinstock import loads
from thinstock.app.pictures import csv_of, rows_as_table, spec_of
from thinstock.app.study_work import SIZE, sweep_folder
from thinstock.app.words import say
from thinstock.drawing.study_charts import PALE_BLUE, map_alt, map_rows, map_spec, map_svg
from thinstock.drawing.svg import COLOURS
from thinstock.errors import Refused, needs
from thinstock.evidence.outputs import label
from thinstock.machine.line import Machine
from thinstock.machine.numbers import number as told_of
from thinstock.machine.provenance import in_words
from thinstock.studies.machine_sweep import MachineMap
from thinstock.tell.blocks import Table, lined
from thinstock.tell.map import Laid
from thinstock.tell.rebuild import Account
from thinstock.tell.record import number
from thinstock.tell.study import MOVERS, Sure, alone, edge_of, firm, matters_table, sure_table
from thinstock.tell.tables import csv_text, plain_text
from thinstock.words import units
from thinstock.words.fault import fault_in
from thinstock.words.figures import figure
from thinstock.words.phrase import phrase

PRINT = {"--ink": "#1c1b19", "--soft": "#5a564e", "--rule": "#d5cfc1", "--paper": "#ffffff", "--faint": "#f1ede2",
         "--water-1": "#d3e4ee", "--water-2": "#86b3cf", "--water-3": "#3f7fa9", "--water": "#1d5f8e"}  # fmt: skip
PRINT_WIDTH = 640
FARTHEST = 150.0
"""A bar that runs farther, %, would leave the others too short to be read."""
DOUBTED, MOST_DOUBTS = ("sure", "rebuild"), 3


class Study:
    """One record, ready to be set."""

    def __init__(self, record: dict[str, Any], unit_set: units.UnitSet, folder: Any) -> None:
        self.record, self.unit_set, self.folder = record, unit_set, folder
        self.kind, self.name, self.found = record["kind"], record["name"], record["found"]
        self.machine: Machine = loads(record["machine"], "machine")
        self.edge = edge_of(self.machine, unit_set)
        self.other = record.get("other_title", "")
        self.lead: list[str] = []
        self.tables: list[Table] = []
        self.figures: list[dict[str, Any]] = []
        self.said: list[tuple[str, str]] = []
        self.notes = [f"{str(note).rstrip('.')}." for note in self.found.get("notes", [])]
        self.unfinished = False
        getattr(self, f"_{self.kind}")()
        if self.kind in DOUBTED:  # what was set aside bears on every number: beside the answer, not in the margin
            self.lead += [f"{note[:1].upper()}{note[1:]}" for note in self.notes[:MOST_DOUBTS]]
            self.notes = self.notes[MOST_DOUBTS:]

    def of(self) -> str:
        """What the study is of."""
        if self.kind == "rebuild":
            return say("study.of_rebuild", a=self.record["title"], b=self.other)
        if self.other:
            return say("study.of_two", a=self.record["title"], b=self.other)
        return say("study.of", machine=self.record["title"])

    def _figure(self, name: str, spec: dict[str, Any], rows: list[dict[str, Any]], caption: str, alt: str) -> None:
        if isinstance(spec.get("height"), dict):
            spec = {**spec, "height": spec["height"]["step"] * len(rows)}
        narrow = json.loads(json.dumps(spec).replace('"labelLimit": 220', '"labelLimit": 118'))
        narrow = json.loads(json.dumps(narrow).replace('"labelLimit": 280', '"labelLimit": 118'))
        self.figures.append(
            {"name": name, "number": len(self.figures) + 1, "spec": spec, "narrow": narrow, "data": {"rows": rows},
             "caption": caption, "alt": alt, "table": rows_as_table(rows), "section": "study", "wide": True,
             "files": False}
        )  # fmt: skip

    # -- how sure --------------------------------------------------------------------------------------------------

    def _sure(self) -> None:
        found, differ = self.found, bool(self.other)
        for row in found["rows"]:
            self.notes = [re.sub(rf"\b{re.escape(row['name'])}\b", label(row["name"]), note) for note in self.notes]
        whole = sure_table(found, self.edge, differ=differ)
        self.tables.append(whole.only("name", "unit", "median", "low", "high", "value", "u", "slopes"))
        self.lead.append(phrase("study.sure.lead", draws=grouped_by_blanks(found["draws"]), inputs=len(found["inputs"]),
                                firm=firm(found), seed=found["seed"]))  # fmt: skip
        if differ:
            self.lead.append(phrase("study.sure.common", common=found["common"]))
            return
        chart = [bars for row in found["rows"] if (bars := _interval(Sure(row, self.edge, differ=False))) is not None]
        if chart:
            widest = max(chart, key=lambda r: r["high"] - r["low"])
            alt = say("study.sure_alt", count=len(chart), widest=widest["number"], low=figure(widest["low"], 2),
                      high=figure(widest["high"], 2))  # fmt: skip
            share = f"{100 * found.get('central', found['share']):.0f}"
            reach = _reach(chart)
            text = (
                json.dumps(spec_of("intervals")).replace('"{reach}"', f"{reach:g}").replace('"{-reach}"', f"{-reach:g}")
            )
            self._figure("intervals", json.loads(text), chart, say("study.sure_chart", share=share), alt)

    # -- what matters ----------------------------------------------------------------------------------------------

    def _matters(self) -> None:
        found = self.found
        for row in found["rows"]:
            name, text = label(row["name"]), str(row["advice"])
            for one in row["movers"]:
                where = one["input"]["address"]
                text = text.replace(where, self._named(where))
            self.said.append((name, f"{text[:1].upper()}{text[1:]}."))
            self._tornado(row, name)
            self.tables.append(matters_table(row, self._named, self.edge))
        self.lead.append(phrase("study.matters.lead", runs=grouped_by_blanks(found["evaluations"]),
                                inputs=found["inputs"], seed=found["seed"]))  # fmt: skip

    def _named(self, where: str) -> str:
        return in_words(self.machine, where)

    def _tornado(self, row: dict[str, Any], name: str) -> None:
        word = told_of(row["name"]).word
        unit = self.edge.unit(word)
        chart: list[dict[str, Any]] = [
            {
                "input": self._named(m["input"]["address"]),
                **{end: self.edge.number(word, number(m[end])) for end in ("low", "high")},
                "value": self.edge.number(word, number(row["value"])),
            }
            for m in alone(row)[:MOVERS]
        ]
        if chart:
            axis = f"{name}, {unit}" if unit else name
            spec = json.loads(json.dumps(spec_of("tornado")).replace("{axis}", json.dumps(axis)[1:-1]))
            low, high = (figure(chart[0][end], 3) for end in ("low", "high"))
            alt = say("study.matters_alt", name=name, first=chart[0]["input"], low=low, high=high, unit=unit)
            self._figure(f"tornado-{row['name']}", spec, chart, say("study.matters_chart", name=name), alt)

    # -- map ---------------------------------------------------------------------------------------------------------

    def machine_map(self) -> MachineMap:
        """The map as it was run."""
        f = self.found
        value = np.array([[number(v) for v in row] for row in f["value"]], dtype=float)
        state = np.array(f["states"], dtype=object)[np.array(f["state"], dtype=int)]
        return MachineMap(
            x=f["x"], y=f["y"], result=f["result"], x_values=np.array(f["x_values"], dtype=float),
            y_values=np.array(f["y_values"], dtype=float), value=value, state=state, beyond=f["beyond"],
        )  # fmt: skip

    def _map(self) -> None:
        made = self.machine_map()
        alt = map_alt(self.machine, made, self.unit_set)
        spec = map_spec(self.machine, made, "page", self.unit_set)
        spec.pop("title", None)
        rows = map_rows(self.machine, made, self.unit_set)
        self._figure("map", spec, rows, say("study.map_chart"), alt)
        narrow = map_spec(self.machine, made, "page", self.unit_set, width=190)
        narrow.pop("title", None)
        for one in (spec, narrow):
            one["layer"][0]["encoding"]["color"]["scale"]["range"] = [
                PALE_BLUE["paper"],
                COLOURS["paper"]["water"],
            ]
        self.figures[-1] |= {"narrow": narrow, "table": f"<p>{escape(say('study.map_below'))}</p>"}
        laid = Laid(self.machine, made, self.unit_set)
        self.lead.append(alt)
        across, body = laid.some(7, 12, {})
        x_unit, y_unit = ("" if unit == "1" else unit for unit in (laid.x_unit, laid.y_unit))
        heads = ((laid.y_said, y_unit), *((head, x_unit) for head in across))
        caption = say("study.map_table", result=laid.result, x=laid.x_said, y=laid.y_said)
        self.tables.append(lined(key="map", heads=heads, rows=body, caption=caption))
        if made.beyond:
            parts = ", ".join(f"{part} ({count})" for part, count in laid.beyond())
            self.lead.append(say("study.beyond", list=parts))
        self.notes.append(phrase("study.not_known"))

    # -- sweep -------------------------------------------------------------------------------------------------------

    def _sweep(self) -> None:
        cases = int(self.found["cases"])
        whole = -(-cases // SIZE)
        place = sweep_folder(self.folder, self.name)
        there = len(list(place.glob("part-*.parquet"))) if place.is_dir() else 0
        self.unfinished = not self.found.get("done") or there < whole
        key = "study.sweep_part" if self.unfinished else "study.sweep_whole"
        self.lead.append(say(key, there=there, whole=whole, cases=grouped_by_blanks(cases)))
        if not self.unfinished:
            self.lead.append(self.found["said"])
            self.lead.append(say("study.sweep_where", folder=f"studies/{self.name}", whole=whole))
        rows = []
        for one in self.found["ranges"]:
            rows.append((in_words(self.machine, one["address"]), one["text"]))
        heads = ((phrase("study.matters.input"), ""), (say("study.range"), ""))
        self.tables.append(lined(key="sweep", heads=heads, rows=tuple(rows), words=2,
                                 caption=say("study.sweep_table")))  # fmt: skip
        self.notes.append(phrase("study.not_known"))

    # -- rebuild -----------------------------------------------------------------------------------------------------

    def _rebuild(self) -> None:
        account = Account(self.found, self.edge)
        ways = self.found["ways"]
        shares = [figure(100.0 * number(way["pays"]), 2) for way in ways]
        self.lead.append(say("study.pays", same=shares[0], more=shares[-1]))
        self.lead += [*account.lead(), *account.answer()]
        self.tables += account.tables()
        rows: list[dict[str, Any]] = [
            {"what": say(f"study.{what}", way=way["name"]),
             **{end: number(way[what].get(of, way[what][end])) / 1e6 for end, of in
                (("low", "low"), ("value", "median"), ("high", "high"))}}
            for what in ("yearly_saving", "net_present_value") for way in ways
        ]  # fmt: skip
        rows = [row for row in rows if all(math.isfinite(row[end]) for end in ("low", "value", "high"))]
        if rows:
            axis = say("study.millions", money=account.money)
            spec = json.loads(json.dumps(spec_of("rebuild")).replace("{axis}", json.dumps(axis)[1:-1]))
            alt = "; ".join(f"{row['what']}: {figure(row['low'], 2)} – {figure(row['high'], 2)}" for row in rows)
            self._figure("rebuild", spec, rows, say("study.rebuild_chart"), alt)

    # -- files -------------------------------------------------------------------------------------------------------

    def _chart(self, name: str) -> dict[str, Any]:
        one = next((f for f in self.figures if f["name"] == name), None)
        if one is None:
            raise Refused(fault_in("app.study_show.chart", "chart", repr(name)))
        return one

    def chart_csv(self, name: str) -> bytes:
        """The numbers of a chart."""
        rows: list[dict[str, Any]] = self._chart(name)["data"]["rows"]
        return csv_of(rows)

    def svg(self, name: str) -> str:
        """A chart as a file of its own, on white."""
        vl_convert = needs("vl_convert", "page")

        one = self._chart(name)
        if name == "map":
            return map_svg(self.machine, self.machine_map(), unit_set=self.unit_set)
        text = json.dumps(one["spec"])
        for variable, colour in PRINT.items():
            text = text.replace(f"var({variable})", colour)
        spec = {**json.loads(text), "width": PRINT_WIDTH, "background": "#ffffff", "datasets": one["data"]}
        return str(vl_convert.vegalite_to_svg(spec, vl_version="5.20", allowed_base_urls=[]))

    def csv(self) -> str:
        """Everything in tables; of a map every case."""
        if self.kind == "map":
            laid = Laid(self.machine, self.machine_map(), self.unit_set)
            rows: list[list[Any]] = list(laid.cases(("{:.9g}".format, "{:.7g}".format)))
        else:
            rows = [row for table in self.tables for row in (*_csv_rows(table), [])]
        return csv_text(rows, "\r\n")


def _csv_rows(table: Table) -> list[list[Any]]:
    heads = [f"{c.head} [{c.unit}]" if c.unit else c.head for c in table.columns]
    words = set(table.left)
    body = [[cell if k in words else plain_text(cell) for k, cell in enumerate(row)] for row in table.rows]
    return [[table.caption], heads, *body]


def _interval(one: Sure) -> dict[str, Any] | None:
    """A bar of the chart in per cent of the value; none where there is no value."""
    now = one.value
    if not (math.isfinite(one.mean) and now and math.isfinite(now)):
        return None
    low, high = (100 * (end / now - 1) for end in (one.low, one.high))
    reach = 100 * 1.96 * (one.slopes if math.isfinite(one.slopes) else one.u) / abs(now)
    return {"number": label(one.name), "low": low, "high": high, "slopes low": -reach, "slopes high": reach}


def _reach(rows: list[dict[str, Any]]) -> float:
    """How far the frame reaches either way, %: as far as the bars, or a bound beyond which they say how far they go."""
    most = max(abs(float(row[end])) for row in rows for end in ("low", "high", "slopes low", "slopes high"))
    reach = min(10.0 * math.ceil(most / 10.0), FARTHEST)
    for row in rows:
        row["over"] = say("study.over", end=figure(row["high"], 2)) if row["high"] > reach else ""
        row["under"] = say("study.under", end=figure(row["low"], 2)) if row["low"] < -reach else ""
    return reach


def grouped_by_blanks(count: int) -> str:
    """A count with its thousands apart."""
    return f"{count:,}".replace(",", " ")
