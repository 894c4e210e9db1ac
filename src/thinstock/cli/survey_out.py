"""The files of `thinstock survey --out DIR`: CSV tables, one workbook with all of them, and charts as SVG."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from thinstock.files.write import put_all
from thinstock.survey.change import Change
from thinstock.survey.findings import Findings
from thinstock.tell.survey_record import survey_record, survey_tables
from thinstock.tell.tables import csv_text, workbook


def write_out(rounds: Sequence[Findings], moved: Sequence[Change], folder: Path) -> list[Path]:
    """Write everything, each file whole or not at all; the places written to."""
    from thinstock.drawing.survey_charts import adjustments_svg, water_flow_svg

    tables = survey_tables(rounds, moved)
    made: dict[str, str | bytes] = {f"{name}.csv": csv_text(table) for name, table in tables.items()}
    made["survey.xlsx"] = workbook(tables)
    made["survey.json"] = json.dumps(survey_record(rounds, moved), indent=1, allow_nan=False)
    for findings, name in zip(rounds, ("", "_after"), strict=False):
        made[f"adjustments{name}.svg"] = adjustments_svg(findings)
        made[f"water{name}.svg"] = water_flow_svg(findings)
    return put_all(made, folder)
