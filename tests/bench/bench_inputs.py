"""How long 60,000 address rows take to be read and checked: prints processor seconds, asserts nothing.

Run as `python -m tests.bench.bench_inputs`.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from preplan.inputs.addresses import read_addresses
from preplan.inputs.sheet import open_sheet

ROWS = 60_000
REPEATS = 5


def plain_rows() -> str:
    """Write a table under our own headers."""
    lines = (f"A{i},{i % 4000 + 1} Mill Road,-72.{i:05},44.{i:05},50 ft,7,V\n" for i in range(ROWS))
    return "address_id,label,lon,lat,length_ft,occupancy_hazard,construction\n" + "".join(lines)


def county_rows() -> str:
    """Write a table as a county exports it: street names in parts, no label, one row in a thousand at fault."""
    lines = (
        f"u{i},{i % 4000 + 1},,N,Mill {i % 300},Road,{'Residence' if i % 7 else 'Barn'},"
        f"{'' if i % 1000 == 0 else f'-72.{i:05}'},44.{i:05}\n"
        for i in range(ROWS)
    )
    return "NGUID,Add_Number,AddNum_Suf,St_PreDir,St_Name,St_PosTyp,Place_Type,Longitude,Latitude\n" + "".join(lines)


def processor_seconds(job: Callable[[], object]) -> float:
    """Take the least processor time of a few runs."""
    seconds = []
    for _ in range(REPEATS):
        begin = time.process_time()
        job()
        seconds.append(time.process_time() - begin)
    return min(seconds)


def main() -> None:
    """Print the time of each table."""
    with tempfile.TemporaryDirectory() as folder:
        for name, text in (("plain", plain_rows()), ("county", county_rows())):
            path = Path(folder) / f"{name}.csv"
            path.write_text(text, encoding="utf-8")

            def job(path: Path = path) -> None:
                sheet, _ = open_sheet(path, "addresses", path.name, {})
                read_addresses(sheet)

            print(f"{name}: {ROWS:,} rows read and checked in {processor_seconds(job):.2f} s")


if __name__ == "__main__":
    main()
