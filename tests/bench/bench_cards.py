"""Cards and pages a second with one process and with two, as a ratio to bare pages of text of the library; and memory.

A card has one page, and behind it those that found no room on it and the sheets of its backup and of other months.

    python -m tests.bench.bench_cards [DISTRICT.toml]

Prints; asserts nothing.
"""

from __future__ import annotations

import io
import sys
import tracemalloc
from collections import deque
from dataclasses import replace
from pathlib import Path
from time import perf_counter

from pypdf import PdfReader
from reportlab.lib.pagesizes import letter
from reportlab.pdfgen.canvas import Canvas

from preplan.plan import Plan
from preplan.render import card_pdf
from tests.plan_checks import SAMPLE, plan_of

LINES, WORDS = 75, "Left on a road of middling length, 0.25 mi"
"""About what a card holds, all in the library's own font."""


def bare(pages: int) -> float:
    """Time pages of plain text, drawn by the library alone; seconds."""
    begun = perf_counter()
    canvas = Canvas(io.BytesIO(), pagesize=letter, pageCompression=1)
    for _ in range(pages):
        for line in range(LINES):
            canvas.drawString(36.0, 740.0 - 9.0 * line, WORDS)
        canvas.showPage()
    canvas.save()
    return perf_counter() - begun


def times(plan: Plan, name: str) -> None:
    """Print cards a second beside the bare pages."""
    count = len(plan.groups)
    print(f"{name}: {count:,} cards; bare pages: {count / bare(count):,.0f} a second")
    for processes in (1, 2):
        begun = perf_counter()
        files = [content for _, content in card_pdf.cards(plan, processes)]
        taken = perf_counter() - begun
        pages = sum(len(PdfReader(io.BytesIO(content)).pages) for content in files)
        print(
            f"  {processes} process(es): {taken:.2f} s, {count / taken:,.0f} cards and {pages / taken:,.0f} pages a "
            f"second, ratio to as many bare pages {taken / bare(pages):.2f}"
        )


def memory(plan: Plan) -> None:
    """Print the most memory that drawing takes for this set and for one three times as large."""
    for times_as_many in (1, 3):
        many = replace(plan, groups=plan.groups * times_as_many)
        tracemalloc.start()
        deque(card_pdf.cards(many), maxlen=0)
        _, peak = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        print(f"  {len(many.groups):,} cards: at most {peak / 1e6:,.0f} MB beyond the plan")


def main() -> None:
    """Bench the district named, else the sample repeated into a set of several files."""
    plan = plan_of(Path(sys.argv[1]) if len(sys.argv) > 1 else SAMPLE / "district.toml")
    if len(sys.argv) == 1:
        plan = replace(plan, groups=plan.groups * 6)
    times(plan, plan.district.name)
    memory(plan)


if __name__ == "__main__":
    main()
