"""Ten million invented rows of a historian: how long reading and finding windows takes, and how much memory.

    python benchmarks/history.py [--rows 10000000] [--folder DIR]

The file is made first (twenty tags a minute for most of a year, decimal commas, quality flags, a zone with its double
hour), then a new process reads it and finds steady windows. Nothing was measured in a mill.
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

TAGS = 20
ZONE = "Europe/Berlin"


def write(path: Path, rows: int, seed: int = 5) -> None:
    """A long CSV file of invented signals: steady stretches of related noise, steps between them."""
    from scipy.signal import lfilter

    generator = np.random.default_rng(seed)
    minutes = rows // TAGS
    start = int(datetime(2026, 1, 1, tzinfo=UTC).timestamp())
    zone = ZoneInfo(ZONE)
    levels = np.repeat(generator.normal(0.0, 5.0, (TAGS, minutes // 720 + 1)), 720, axis=1)[:, :minutes]
    noise = lfilter([1.0], [1.0, -0.8], generator.normal(0.0, 0.6, (TAGS, minutes)), axis=1)
    value = 100.0 + levels + noise
    bad = generator.random((TAGS, minutes)) < 0.002
    with path.open("w", encoding="utf-8") as file:
        file.write("time;tag;value;quality\n;;m3/h;\n")
        for i in range(minutes):
            stamp = datetime.fromtimestamp(start + 60 * i, zone).strftime("%Y-%m-%d %H:%M:%S")
            file.write(
                "".join(
                    f"{stamp};flow {k:02d};---;Bad\n"
                    if bad[k, i]
                    else f"{stamp};flow {k:02d};{value[k, i]:.4f};Good\n".replace(".", ",")
                    for k in range(TAGS)
                )
            )


def read(path: Path) -> None:
    """Read the file in this process and say what it took."""
    begun = time.perf_counter()
    from thinstock.survey import read_series
    from thinstock.survey.windows import find_windows

    found = read_series(path, zone=ZONE)
    read_in = time.perf_counter() - begun
    windows = find_windows(found)
    took, busy = time.perf_counter() - begun, time.process_time()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    kept, gone = sum(s.value.size for s in found.values()), sum(sum(s.dropped.values()) for s in found.values())
    print(f"{kept} values of {len(found)} tags, {gone} rows dropped, read in {read_in:.2f} s")
    hours = windows.length / 3600.0
    print(f"{len(windows.steady)} of {len(windows.windows)} windows of {hours:g} h steady")
    print(f"{took:.2f} s in all, {busy:.2f} s of processor, {peak:.0f} MiB at most")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=10_000_000)
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--read", type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.read is not None:
        read(asked.read)
        return
    folder = asked.folder or Path(tempfile.mkdtemp())
    file = folder / f"history-{asked.rows}.csv"
    if not file.is_file():
        write(file, asked.rows)
    print(f"{file.stat().st_size / 1e6:.0f} MB in {file.name}")
    subprocess.run([sys.executable, __file__, "--read", str(file)], check=True)


if __name__ == "__main__":
    main()
