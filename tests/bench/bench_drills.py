"""The published drills beside the model: `python tests/bench/bench_drills.py drills.csv`.

Prints a table, asserts nothing. A ratio is model over measured: below 1 the model says less than was delivered.
"""

from __future__ import annotations

import sys
from pathlib import Path

from tests.drills import printed_table, read


def main() -> None:
    """Print the table of a file of drills."""
    if len(sys.argv) != 2:
        raise SystemExit("give the file of drills")
    print("\n".join(printed_table(read(Path(sys.argv[1])))))


if __name__ == "__main__":
    main()
