"""A record of a study as the page sets it: tables, charts with their words, notes, and the files it can be kept as.

Chooses, rounds and gives units; every number is the record's own.
"""

from __future__ import annotations

import csv
import io
import json
import re
from html import escape
from typing import Any

import numpy as np

from thinstock import loads
from thinstock.app.pictures import rows_as_table, spec_of
from thinstock.app.study_work import SIZE, number, sweep_folder
from thinstock.app.words import say
from thinstock.drawing.study_charts import axis_of, map_alt, map_rows, map_spec, map_svg, result_of
from thinstock.drawing.svg import COLOURS
from thinstock.errors import Fault, Refused, needs
from thinstock.machine.line import Machine
from thinstock.machine.numbers import number as told_of
from thinstock.machine.provenance import in_words
from thinstock.studies.machine_sweep import MachineMap
from thinstock.studies.outputs import label
from thinstock.tell.blocks import Table, lined
from thinstock.tell.tables import escaped
from thinstock.words import units
from thinstock.words.figures import NONE, Edge, figure, grouped

MOVERS = 8
"""So many inputs stand in a chart of what matters."""
PRINT = {"--ink": "#1c1b19", "--soft": "#5a564e", "--rule": "#d5cfc1", "--paper": "#ffffff", "--faint": "#f1ede2",
         "--water-1": "#d3e4ee", "--water-2": "#86b3cf", "--water-3": "#3f7fa9", "--water": "#1d5f8e"}  # fmt: skip
PRINT_WIDTH = 640


class Study:
    """One record, ready to be set."""

    def __init__(self, record: dict[str, Any], unit_set: units.UnitSet, folder: Any) -> None:
        self.record, self.unit_set, self.folder = record, unit_set, folder
        self.kind, self.name, self.found = record["kind"], record["name"], record["found"]
        self.machine: Machine = loads(record["machine"], "machine")
        self.edge = Edge(unit_set=unit_set, air=float(self.machine.site.atmospheric_pressure()))
        self.other = record.get("other_title", "")
        self.lead: list[str] = []
        self.tables: list[Table] = []
        self.figures: list[dict[str, Any]] = []
        self.said: list[tuple[str, str]] = []
        self.notes = [f"{str(note).rstrip('.')}." for note in self.found.get("notes", [])]
        self.unfinished = False
        getattr(self, f"_{self.kind}")()

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
        narrow = json.loads(json.dumps(narrow).replace('"labelLimit": 200', '"labelLimit": 118'))
        self.figures.append(
            {"name": name, "number": len(self.figures) + 1, "spec": spec, "narrow": narrow, "data": {"rows": rows},
             "caption": caption, "alt": alt, "table": rows_as_table(rows), "section": "study", "wide": True,
             "files": False}
        )  # fmt: skip

    # -- how sure --------------------------------------------------------------------------------------------------

    def _step(self, word: str, at: float, step: float) -> float:
        """A step in the unit of a word; what is counted from a zero of its own (a temperature) counts from none."""
        return self.edge.number(word, at + step) - self.edge.number(word, at)

    def _sure(self) -> None:
        found, differ = self.found, bool(self.other)
        share = f"{100 * found['share']:.0f}"
        for row in found["rows"]:
            self.notes = [re.sub(rf"\b{re.escape(row['name'])}\b", label(row["name"]), note) for note in self.notes]
        rows: list[tuple[str, ...]] = []
        chart: list[dict[str, Any]] = []
        for row in found["rows"]:
            name, value = row["name"], number(row["value"])
            word, mean = told_of(name).word, number(row["mean"])
            unit = self.edge.unit(word)

            def shown(v: float, word: str = word) -> float:
                return self._step(word, 1.0, v) if differ else self.edge.number(word, v)

            if not np.isfinite(mean):
                rows.append((label(name), unit, figure(shown(value), 4), NONE, NONE, NONE, NONE))
                continue
            ends = [shown(number(v)) for v in row["shortest"]]
            u = abs(self._step(word, mean, number(row["standard_uncertainty"])))
            slopes = abs(self._step(word, mean, number(row["first_order"])))
            now = shown(value)
            rows.append((label(name), unit, figure(now, 4), figure(u, 2), figure(ends[0], 3), figure(ends[1], 3),
                         figure(slopes, 2)))  # fmt: skip
            if not differ and now and np.isfinite(now):
                low, high = (100 * (end / now - 1) for end in ends)
                reach = 100 * 1.96 * slopes / abs(now)
                chart.append({"number": label(name), "low": low, "high": high, "slopes low": -reach,
                              "slopes high": reach})  # fmt: skip
        heads = (
            (say("study.number"), ""), (say("study.unit"), ""), (say("study.value"), ""), (say("study.u"), ""),
            (say("study.from"), say("study.share", share=share)), (say("study.to"), say("study.share", share=share)),
            (say("study.u_slopes"), ""),
        )  # fmt: skip
        self.tables.append(
            lined(key="sure", heads=heads, rows=tuple(rows), words=2,
                  caption=say("study.sure_caption_two" if differ else "study.sure_caption"))
        )  # fmt: skip
        firm = say("study.firm" if found["settled"] else "study.not_firm")
        self.lead.append(say("study.sure_lead", draws=f"{found['draws']:,}".replace(",", " "),
                             inputs=len(found["inputs"]), firm=firm, seed=found["seed"]))  # fmt: skip
        if differ:
            self.lead.append(say("study.common", common=found["common"]))
        if chart:
            widest = max(chart, key=lambda r: r["high"] - r["low"])
            alt = say("study.sure_alt", count=len(chart), widest=widest["number"], low=figure(widest["low"], 2),
                      high=figure(widest["high"], 2))  # fmt: skip
            self._figure("intervals", spec_of("intervals"), chart, say("study.sure_chart", share=share), alt)

    # -- what matters ----------------------------------------------------------------------------------------------

    def _matters(self) -> None:
        found = self.found
        for row in found["rows"]:
            name, value = row["name"], number(row["value"])
            word = told_of(name).word
            unit = self.edge.unit(word)
            text = str(row["advice"])
            for one in row["movers"]:
                where = one["input"]["address"]
                text = text.replace(where, in_words(self.machine, where))
            self.said.append((label(name), f"{text[:1].upper()}{text[1:]}."))
            movers = [m for m in row["movers"] if np.isfinite(number(m["low"])) and np.isfinite(number(m["high"]))]
            movers.sort(key=lambda m: -abs(number(m["high"]) - number(m["low"])))
            chart: list[dict[str, Any]] = [
                {
                    "input": in_words(self.machine, m["input"]["address"]),
                    "low": self.edge.number(word, number(m["low"])),
                    "high": self.edge.number(word, number(m["high"])),
                    "value": self.edge.number(word, value),
                }
                for m in movers[:MOVERS]
            ]
            if chart:
                axis = f"{label(name)}, {unit}" if unit else label(name)
                spec = json.loads(json.dumps(spec_of("tornado")).replace("{axis}", json.dumps(axis)[1:-1]))
                alt = say("study.matters_alt", name=label(name), first=chart[0]["input"],
                          low=figure(chart[0]["low"], 3), high=figure(chart[0]["high"], 3), unit=unit)  # fmt: skip
                self._figure(f"tornado-{name}", spec, chart, say("study.matters_chart", name=label(name)), alt)
            weighed = row["movers"] if row["movers"] and row["movers"][0]["first"] is not None else movers
            rows = tuple(self._mover(m, word) for m in weighed[:MOVERS])
            heads = (
                (say("study.input"), ""),
                (say("study.known"), ""),
                (say("study.own"), "%"),
                (say("study.with_others"), "%"),
                (say("study.at_5"), unit),
                (say("study.at_95"), unit),
            )
            self.tables.append(
                lined(key=name, heads=heads, rows=rows, words=2, caption=say("study.matters_table", name=label(name)))
            )
        self.lead.append(say("study.matters_lead", runs=f"{found['evaluations']:,}".replace(",", " "),
                             inputs=found["inputs"], seed=found["seed"]))  # fmt: skip

    def _mover(self, mover: dict[str, Any], word: str) -> tuple[str, ...]:
        shares = (number(mover["first"]), number(mover["total"]))
        ends = (self.edge.number(word, number(mover[end])) for end in ("low", "high"))
        said = [f"{max(100 * s, 0.0):.0f}" if np.isfinite(s) else NONE for s in shares]
        return (in_words(self.machine, mover["input"]["address"]), mover["input"]["status"], *said,
                *(figure(end, 4) for end in ends))  # fmt: skip

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
                COLOURS["paper"]["tint"],
                COLOURS["paper"]["water"],
            ]
        self.figures[-1] |= {"narrow": narrow, "table": f"<p>{escape(say('study.map_below'))}</p>"}
        self.lead.append(alt)
        x_said, x_unit, x_of = axis_of(self.machine, made.x, self.unit_set)
        y_said, y_unit, y_of = axis_of(self.machine, made.y, self.unit_set)
        said, unit, of = result_of(made.result, self.edge.air, self.unit_set)
        across = np.unique(np.linspace(0, len(made.x_values) - 1, min(7, len(made.x_values))).round().astype(int))
        up = np.unique(np.linspace(0, len(made.y_values) - 1, min(12, len(made.y_values))).round().astype(int))
        body = []
        for j in up[::-1]:
            cells = [
                figure(float(of(made.value[j, i])), 3) if made.state[j, i] == "runs" else str(made.state[j, i])
                for i in across
            ]
            body.append((figure(float(y_of(made.y_values[j])), 4), *cells))
        heads = (
            (y_said, "" if y_unit == "1" else y_unit),
            *((figure(float(x_of(made.x_values[i])), 3), "" if x_unit == "1" else x_unit) for i in across),
        )
        shown = said if unit == "1" else f"{said}, {unit}"
        caption = say("study.map_table", result=shown, x=x_said, y=y_said)
        self.tables.append(lined(key="map", heads=heads, rows=tuple(body), caption=caption))
        if made.beyond:
            parts = sorted(made.beyond.items(), key=lambda item: -item[1])
            self.lead.append(say("study.beyond", list=", ".join(f"{part} ({count})" for part, count in parts)))
        self.notes.append(say("study.not_known"))

    # -- sweep -------------------------------------------------------------------------------------------------------

    def _sweep(self) -> None:
        cases = int(self.found["cases"])
        whole = -(-cases // SIZE)
        place = sweep_folder(self.folder, self.name)
        there = len(list(place.glob("part-*.parquet"))) if place.is_dir() else 0
        self.unfinished = not self.found.get("done") or there < whole
        grouped_cases = f"{cases:,}".replace(",", " ")
        key = "study.sweep_part" if self.unfinished else "study.sweep_whole"
        self.lead.append(say(key, there=there, whole=whole, cases=grouped_cases))
        if not self.unfinished:
            self.lead.append(self.found["said"])
            self.lead.append(say("study.sweep_where", folder=f"studies/{self.name}", whole=whole))
        rows = []
        for one in self.found["ranges"]:
            rows.append((in_words(self.machine, one["address"]), one["text"]))
        heads = ((say("study.input"), ""), (say("study.range"), ""))
        self.tables.append(lined(key="sweep", heads=heads, rows=tuple(rows), words=2,
                                 caption=say("study.sweep_table")))  # fmt: skip
        self.notes.append(say("study.not_known"))

    # -- rebuild -----------------------------------------------------------------------------------------------------

    def _rebuild(self) -> None:
        f = self.found
        prices = f["prices"]
        money = str(prices["currency"])
        before, after = (self._percent(f[key]) for key in ("dryness_before", "dryness_after"))
        self.lead.append(say("study.prices_lead", title=prices["title"] or prices["file"], note=prices["note"]))
        self.lead.append(say("study.dryness", before=before, after=after))
        heat = number(f["heat_per_water"])
        said = say("study.by_water", speed=f"{100 * number(f['speed_by_water']):.1f}")
        if np.isfinite(heat):
            said += say("study.by_heat", heat=f"{heat / 1e6:.2f}")
        self.lead.append(said + say("study.held", held=f["held_speed"]))
        self.tables.append(self._ways(f["ways"], prices, money))
        if f["without_assumed"]:
            old, new = (1e3 * number(r) for r in f["rewet"])
            caption = say("study.spare", old=figure(old, 2), new=figure(new, 2))
            spare = (
                ("yearly_saving", say("study.saving"), money, 1.0, 3),
                ("net_present_value", say("study.npv_short"), money, 1.0, 3),
                ("payback", say("study.payback"), "years", 1.0, 2),
                ("payback_discounted", say("study.payback_interest"), "years", 1.0, 2),
            )
            rows = [self._both(f["without_assumed"], *one) for one in spare]
            self.tables.append(lined(key="spare", heads=self._way_heads(), rows=tuple(rows), words=2, caption=caption))
        self.tables.append(self._even(f["ways"], prices["currency"]))
        rows = [(one["name"], one["text"], self._ends(one, prices), one["source"]) for one in f["factors"]]
        heads = tuple((say(f"study.{key}"), "") for key in ("amount", "likeliest", "range", "source"))
        self.tables.append(lined(key="factors", heads=heads, rows=tuple(rows), words=4, caption=say("study.went_in")))

    def _percent(self, one: dict[str, Any]) -> str:
        return f"{100 * number(one['value']):.1f} % ({100 * number(one['low']):.1f} to {100 * number(one['high']):.1f})"

    def _way_heads(self) -> tuple[tuple[str, str], ...]:
        same, more = say("study.same"), say("study.more")
        return ((say("study.number"), ""), (say("study.unit"), ""), (same, ""), (say("study.interval"), same.lower()),
                (more, ""), (say("study.interval"), more.lower()))  # fmt: skip

    def _ways(self, ways: list[dict[str, Any]], prices: dict[str, Any], money: str) -> Table:
        one = self.edge.number("speed", 1.0)
        rows = [self._both(ways, "speed", say("study.speed"), self.edge.unit("speed"), one, 4)]
        rows.append(self._both(ways, "tonnes", say("study.tonnes"), "t", 1e-3, 3))
        for at, line in enumerate(ways[0]["lines"]):
            unit, scale = {"J": ("MWh", 1 / 3.6e9), "kg": ("t", 1e-3), "money": ("", 1.0)}[line["unit"]]
            both = [way["lines"][at] for way in ways]
            if unit and line["name"] != "tonnes more":
                rows.append(self._both(both, "amount", say("study.saved", name=line["name"]), unit, scale, 3))
            rows.append(self._both(both, "money", say("study.in_money", name=line["name"]), money, 1.0, 3))
        rate = prices["rate"]["text"]
        for key, said, unit, scale, digits in (
            ("yearly_saving", say("study.saving"), money, 1.0, 3),
            ("outlay", say("study.outlay"), money, 1.0, 3),
            ("net_present_value", say("study.npv", years=prices["years"], rate=rate), money, 1.0, 3),
            ("rate_of_return", say("study.irr"), "% a year", 100.0, 3),
            ("payback", say("study.payback"), "years", 1.0, 2),
            ("payback_discounted", say("study.payback_interest"), "years", 1.0, 2),
            ("carbon", say("study.carbon"), "t", 1e-3, 3),
        ):
            rows.append(self._both(ways, key, said, unit, scale, digits))
        pays = [f"{100 * number(way['pays']):.0f}" for way in ways]
        rows.append((say("study.pays"), "%", pays[0], "", pays[1], ""))
        caption = say("study.ways", money=f"{money} of {prices['year']}")
        return lined(key="ways", heads=self._way_heads(), rows=tuple(rows), words=2, caption=caption,
            foot=say("study.ways_foot"),
        )  # fmt: skip

    def _both(self, ways: list[dict[str, Any]], key: str, said: str, unit: str, scale: float, digits: int) -> Any:
        cells: list[str] = []
        for way in ways:
            value, low, high = (number(way[key][end]) * scale for end in ("value", "low", "high"))
            cells.append(grouped(value, digits))
            cells.append("" if low == high else f"{grouped(low, digits)} to {grouped(high, digits)}")
        return (said, unit, *cells)

    def _even(self, ways: list[dict[str, Any]], currency: str) -> Table:
        known = {"rebuild.contribution": (f"{currency}/t", 1e3), "rebuild.investment": (currency, 1.0)}
        names = list(dict.fromkeys(name for way in ways for name in way["break_even"]))
        rows = []
        for name in names:
            unit, scale = known.get(name, (f"{currency}/MWh", 3.6e9))
            cells = []
            for way in ways:
                value = number(way["break_even"].get(name))
                cells.append(NONE if name not in way["break_even"] else
                             say("study.any") if value < 0 else grouped(value * scale, 3))  # fmt: skip
            rows.append((name.rpartition(".")[2].replace("_", " "), unit, *cells))
        heads = ((say("study.amount"), ""), (say("study.unit"), ""), (say("study.same"), ""), (say("study.more"), ""))
        return lined(key="even", heads=heads, rows=tuple(rows), words=2, caption=say("study.even"))

    def _ends(self, one: dict[str, Any], prices: dict[str, Any]) -> str:
        amount = prices["rate"] if one["name"] == "rebuild.rate" else prices["amounts"].get(one["name"])
        if not amount or amount["low"] is None or amount["high"] is None or not amount["value"]:
            return ""
        low, high = (100 * (amount[end] / amount["value"] - 1) for end in ("low", "high"))
        return f"{low:+.0f} / {high:+.0f} %".replace("-", "−")

    # -- files -------------------------------------------------------------------------------------------------------

    def svg(self, name: str) -> str:
        """A chart as a file of its own, on white."""
        vl_convert = needs("vl_convert", "page")

        one = next((f for f in self.figures if f["name"] == name), None)
        if one is None:
            raise Refused(Fault(field="chart", value=repr(name), bound="no chart of this name in this result"))
        if name == "map":
            return map_svg(self.machine, self.machine_map(), unit_set=self.unit_set)
        text = json.dumps(one["spec"])
        for variable, colour in PRINT.items():
            text = text.replace(f"var({variable})", colour)
        spec = {**json.loads(text), "width": PRINT_WIDTH, "background": "#ffffff", "datasets": one["data"]}
        return str(vl_convert.vegalite_to_svg(spec, vl_version="5.20", allowed_base_urls=[]))

    def csv(self) -> str:
        """Everything in tables; of a map every case."""
        stream = io.StringIO()
        writer = csv.writer(stream, lineterminator="\r\n")
        if self.kind == "map":
            self._map_csv(writer)
            return stream.getvalue()
        for table in self.tables:
            writer.writerow([escaped(table.caption)])
            writer.writerow([escaped(f"{c.head} [{c.unit}]" if c.unit else c.head) for c in table.columns])
            words = len(table.left)
            for row in table.texts:
                cells = (
                    *row[:words],
                    *(cell.replace("−", "-").replace("\u202f", "") for cell in row[words:]),
                )
                writer.writerow([_plain_cell(cell) for cell in cells])
            writer.writerow([])
        return stream.getvalue()

    def _map_csv(self, writer: Any) -> None:
        made = self.machine_map()
        _, x_unit, x_of = axis_of(self.machine, made.x, self.unit_set)
        _, y_unit, y_of = axis_of(self.machine, made.y, self.unit_set)
        _, unit, of = result_of(made.result, self.edge.air, self.unit_set)
        writer.writerow([f"{made.x} [{x_unit}]", f"{made.y} [{y_unit}]", f"{made.result} [{unit}]", "state"])
        for j, y in enumerate(made.y_values):
            for i, x in enumerate(made.x_values):
                value = made.value[j, i]
                shown = "" if value != value else f"{float(of(value)):.7g}"
                writer.writerow([f"{float(x_of(x)):.9g}", f"{float(y_of(y)):.9g}", shown, made.state[j, i]])


def _plain_cell(cell: str) -> str:
    try:
        float(cell)
    except ValueError:
        return str(escaped(cell))
    return cell
