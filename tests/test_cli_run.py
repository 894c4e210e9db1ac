"""`thinstock run`: the screen, the JSON, the tables. A stranger must be able to close every balance from the JSON."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest

import thinstock
from thinstock.cli import status

MACHINE = "facial-roll"
NO_SHEET = ("--set", "stock.resistance_factor=20")
BUNDLED = [m.name for m in thinstock.machines()]


def run(capsys: Any, *args: str) -> tuple[int, str, str]:
    """Exit status, output and error stream of a command."""
    capsys.readouterr()
    code = status(args)
    out, err = capsys.readouterr()
    return code, out, err


def record(capsys: Any, *args: str) -> dict[str, Any]:
    code, out, _ = run(capsys, *args)
    assert code == 0

    def refuse(name: str) -> None:
        raise AssertionError(f"{name} is no JSON")

    found: dict[str, Any] = json.loads(out, parse_constant=refuse)
    return found


# -------------------------------------------- the screen


@pytest.mark.parametrize("name", BUNDLED)
def test_a_run_fits_on_one_screen(capsys: Any, name: str) -> None:
    code, out, err = run(capsys, "run", name)
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert len(lines) <= 64
    assert max(len(line) for line in lines) <= 104
    assert "nan" not in out.replace("tenance", "")


def test_the_headline_comes_in_its_order(capsys: Any) -> None:
    _, out, _ = run(capsys, "run", MACHINE)
    order = ["production", "gives out first", "reel moisture", "consistency", "headbox flow", "end of forming", "press",
             "energy"]  # fmt: skip
    places = [out.index(f"\n  {name}") for name in order]
    assert places == sorted(places)


def test_what_is_uncertain_is_printed_so(capsys: Any) -> None:
    _, out, _ = run(capsys, "run", MACHINE)
    forming = next(line for line in out.splitlines() if line.strip().startswith("end of forming"))
    assert "(not calibrated)" in forming and "of the wrap" in forming
    assert "of the parts computed" in out
    assert "values are assumed; most hangs on" in out and "In brackets 90 % of draws" in out


def test_a_sheet_that_is_not_formed_is_the_headline(capsys: Any) -> None:
    code, out, _ = run(capsys, "run", MACHINE, *NO_SHEET)
    assert code == 0
    first = next(line for line in out.splitlines()[1:] if line.startswith("  "))
    assert first.strip().startswith("NO SHEET") and "not drained" in first
    stations = [line for line in out.splitlines() if "no sheet" in line.split("   ")[0:2] or "no sheet" in line]
    assert len(stations) >= 3
    assert "production" not in out.split("The sheet")[0]


def test_notes_are_folded_until_asked_for(capsys: Any) -> None:
    _, short, _ = run(capsys, "run", MACHINE)
    _, long, _ = run(capsys, "run", MACHINE, "--notes")
    assert "more: --notes" in short and "more: --notes" not in long
    assert sum(line.startswith("* ") for line in short.splitlines()) == 4
    assert sum(line.startswith("* ") for line in long.splitlines()) > 4


def test_cautions_name_the_vessel_when_asked_for(capsys: Any) -> None:
    _, out, _ = run(capsys, "run", MACHINE, "--cautions")
    assert "pressure vessel" in out


@pytest.mark.parametrize(
    ("unit_set", "speed", "temperature"),
    [("si", "30.00 m/s", "313"), ("mill", "1800 m/min", "40"), ("us", "5906 ft/min", "104")],
)
def test_each_set_of_units_is_used_throughout(capsys: Any, unit_set: str, speed: str, temperature: str) -> None:
    _, out, _ = run(capsys, "run", MACHINE, "--units", unit_set)
    assert speed in out
    headbox = next(line for line in out.splitlines() if line.startswith("  headbox  "))
    assert temperature in headbox.split()


def test_a_change_is_made_and_its_machine_is_run(capsys: Any) -> None:
    _, out, _ = run(capsys, "run", MACHINE, "--set", "consistency=0.25 %", "--set", "yankee.speed=1500 m/min")
    assert "0.250 % in the headbox" in out and "1500 m/min" in out


def test_a_gauge_pressure_is_read_with_the_air_of_the_changed_site(capsys: Any) -> None:
    args = ("run", MACHINE, "--json", "--set", "yankee.steam_pressure=6 bar(g)", "--set", "site.altitude=2000 m")
    high = record(capsys, *args)["headline"]["steam_pressure"]
    low = record(capsys, *args[:-1], "site.altitude=0 m")["headline"]["steam_pressure"]
    assert low == pytest.approx(6e5 + 101325, rel=1e-6)
    assert high == pytest.approx(low - 101325 + 79495, rel=1e-3)


# -------------------------------------------- JSON


@pytest.mark.parametrize("args", [(name,) for name in BUNDLED] + [(MACHINE, *NO_SHEET)], ids=str)
def test_every_balance_closes_from_the_json_alone(capsys: Any, args: tuple[str, ...]) -> None:
    streams = record(capsys, "run", *args, "--json")["streams"]
    nodes = {s["from"] for s in streams} | {s["to"] for s in streams}
    assert {"outside", "mixing", "screens", "headbox", "forming", "silo"} <= nodes
    for node in nodes - {"outside"}:
        for quantity in ("fibre", "fines", "water", "air", "heat"):
            into = [s[quantity] for s in streams if s["to"] == node]
            out = [s[quantity] for s in streams if s["from"] == node]
            assert (into and out) or not any([*into, *out]), f"{node} is no node"
            largest = max(abs(v) for v in [*into, *out])
            assert abs(sum(into) - sum(out)) <= 1e-9 * max(largest, 1e-30), f"{quantity} at {node}"


def test_the_hood_has_all_its_water_in_the_json(capsys: Any) -> None:
    streams = {s["name"]: s for s in record(capsys, "run", MACHINE, "--json")["streams"]}
    into = sum(streams[name]["water"] for name in ("vapour", "make_up", "leak", "combustion"))
    assert streams["combustion"]["water"] > 0
    assert streams["exhaust"]["water"] == pytest.approx(into, rel=1e-9)


def test_the_json_says_the_unit_of_every_number(capsys: Any) -> None:
    found = record(capsys, "run", MACHINE, "--json")
    units = found["units"]
    assert set(units["headline"]) == set(found["headline"])
    assert all(units["headline"].values())
    for table in ("stations", "streams", "energy", "water"):
        for row in found[table]:
            numbers = {key for key, value in row.items() if isinstance(value, int | float)}
            assert numbers <= set(units[table]), table


def test_the_json_agrees_with_the_run_itself(capsys: Any) -> None:
    found = record(capsys, "run", MACHINE, "--json")
    result = thinstock.load(MACHINE).run()
    for name, value in result.values.items():
        if isinstance(value, str) or value is None:
            assert found["headline"][name] == value
        else:
            assert found["headline"][name] == pytest.approx(float(value), rel=1e-12), name
    assert [s["name"] for s in found["stations"]] == [s.name for s in result.stations]
    per_tonne = sum(e["per_tonne"] for e in found["energy"] if e["kind"] == "gas")
    assert per_tonne == pytest.approx(1000 * float(result["gas_per_product"]), rel=1e-12)


def test_every_assumed_value_can_be_found_again(capsys: Any) -> None:
    found = record(capsys, "run", MACHINE, "--json")
    machine = thinstock.load(MACHINE)
    assert len(found["assumed"]) > 20
    for row in found["assumed"]:
        assert machine.get(row["address"]) == pytest.approx(row["value"])


def test_no_sheet_is_null_and_never_a_number(capsys: Any) -> None:
    found = record(capsys, "run", MACHINE, "--json", *NO_SHEET)
    assert found["headline"]["formed"] is False
    assert found["headline"]["dryness_press"] is None and found["headline"]["production"] is None
    behind = found["stations"][2:]
    assert all(row[key] is None for row in behind for key in ("dryness", "moisture_ratio", "grammage", "temperature"))
    assert all(row["note"] == "no sheet" for row in behind)
    assert all(row["per_tonne"] is None for row in found["energy"])
    assert "not drained" in [s["name"] for s in found["streams"]]


@pytest.mark.parametrize("name", [MACHINE, "tea-bag-inclined-wire"])
def test_without_a_sheet_the_json_has_the_same_names(capsys: Any, name: str) -> None:
    formed = record(capsys, "run", name, "--json")
    bare = record(capsys, "run", name, "--json", "--set", "headbox.consistency=0.002 %")
    assert formed["headline"]["formed"] is True and bare["headline"]["formed"] is False
    assert set(bare["headline"]) == set(formed["headline"])
    assert {row["name"] for row in bare["stations"]} <= {row["name"] for row in formed["stations"]}


@pytest.mark.parametrize(
    "change", ["headbox.consistency=0.05 %", "stock.resistance_factor=20", "yankee.speed=900 m/min"]
)
def test_no_stream_of_stock_flows_backwards(capsys: Any, change: str) -> None:
    streams = record(capsys, "run", MACHINE, "--json", "--set", change)["streams"]
    stock = {"mixing", "screens", "headbox", "forming", "silo"}
    for stream in streams:
        if not stock & {stream["from"], stream["to"]}:
            continue
        assert min(stream[key] for key in ("fibre", "fines", "water", "air")) >= 0, stream["name"]
    flows = {s["name"]: s["water"] for s in streams}
    assert (flows["overflow"] > 0) != (flows.get("borrowed_white_water", 0.0) > 0)


def test_production_on_average_is_a_flow(capsys: Any) -> None:
    found = record(capsys, "run", MACHINE, "--json")
    assert found["units"]["headline"]["production_average"] == found["units"]["headline"]["production"] == "kg/s"


# -------------------------------------------- CSV


def test_tables_are_written_with_units_in_their_heads(capsys: Any, tmp_path: Path) -> None:
    code, out, err = run(capsys, "run", MACHINE, "--csv", str(tmp_path / "new" / "folder"))
    assert (code, out) == (0, "")
    written = {p.name for p in (tmp_path / "new" / "folder").iterdir()}
    assert written == {"headline.csv", "stations.csv", "streams.csv", "energy.csv", "water.csv", "notes.csv"}
    assert all(name in err for name in written)
    rows = list(csv.DictReader((tmp_path / "new" / "folder" / "stations.csv").open(encoding="utf-8")))
    assert float(rows[0]["dryness (%)"]) == pytest.approx(0.19)
    assert float(rows[0]["temperature (°C)"]) == pytest.approx(40.0)


def test_a_text_that_a_spreadsheet_would_reckon_with_is_escaped() -> None:
    from thinstock.tell.tables import csv_text

    written = csv_text([["=1+1", "+a", "-b", "@c", -1.5, "plain"]])
    assert written == "'=1+1,'+a,'-b,'@c,-1.5,plain\n"


def test_tables_can_be_written_over_older_ones(capsys: Any, tmp_path: Path) -> None:
    for speed in ("1500 m/min", "1900 m/min"):
        assert run(capsys, "run", MACHINE, "--csv", str(tmp_path), "--set", f"yankee.speed={speed}")[0] == 0
    rows = {r["name"]: r for r in csv.DictReader((tmp_path / "headline.csv").open(encoding="utf-8"))}
    assert float(rows["speed"]["value"]) == pytest.approx(1900)
    assert not [p for p in tmp_path.iterdir() if p.suffix == ".part"]
