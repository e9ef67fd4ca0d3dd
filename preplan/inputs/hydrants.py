"""The hydrant table: flows as numbers or as the trade's classes."""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np

from preplan.inputs import bounds, cells
from preplan.inputs.sheet import Sheet
from preplan.inputs.units_written import expected
from preplan.records import BoolArray, FloatArray, HydrantTable
from preplan.rules import HydrantRules

CLASS_GPM: Mapping[str, float] = {"AA": 1500.0, "A": 1000.0, "B": 500.0, "C": 250.0}
"""Flow credited to a class: the least of AA (above 1,500 gpm), A (1,000 to 1,500) and B (500 to 1,000); for C
(below 500), which has no least, half of its most (this program's careful choice)."""
OUT_NAMED = 20
"""Hydrants that a note names of those that are not counted."""
_NO_MAIN = re.compile(r"\bdry\b(?!\W*barrel)|\b(?:draft|suction|cistern|pond|static)", re.IGNORECASE)
"""Kinds without a main behind them (common practice, no source): a dry barrel drains itself, and is on one."""


def read_hydrants(sheet: Sheet, rules: HydrantRules) -> HydrantTable:
    """Check every cell and take the rows in service on a main without a fault, in code point order of their ids.

    A class may stand in the column of flows; a flow goes before a class.
    """
    lon, lat = sheet.place()
    flow, class_c = _flows(sheet)
    assumed = np.isnan(flow)
    out = sheet.in_service() == 0.0
    dry = _without_main(sheet) & ~out
    sheet.left_out = (out | dry) & sheet.good
    _note_left_out(sheet, out & sheet.good, "out of service and not counted: {}.")
    _note_left_out(
        sheet, dry & sheet.good,
        "without a main by kind and not counted: {}. Where tankers fill there, give fill_sites a row for each.",
    )  # fmt: skip
    kept = np.flatnonzero(sheet.good & ~sheet.left_out)
    if assumed[kept].any():
        many, gpm = np.count_nonzero(assumed[kept]), f"{rules.default_gpm:,.0f} gpm"
        sheet.note(f"{many:,} hydrant{'s have' if many > 1 else ' has'} no flow: {gpm} is assumed for each.")
    kept = kept[np.argsort(sheet.id[kept], kind="stable")]
    return HydrantTable(
        hydrant_id=sheet.id[kept],
        lon=lon[kept],
        lat=lat[kept],
        flow_gpm=np.where(assumed, rules.default_gpm, flow)[kept],
        assumed=assumed[kept],
        class_c=class_c[kept],
    )


def _without_main(sheet: Sheet) -> BoolArray:
    """Mark the rows (rows,) whose kind has no pressure: beside one of them an address still needs tankers."""
    kinds = sheet.text("kind").tolist()
    if codes := sorted({kind for kind in kinds if kind.isdecimal()}):
        named = ", ".join(codes[:OUT_NAMED])
        header = sheet.header("kind")
        sheet.note(f"{header} has codes ({named}): does one mean a dry hydrant? Take those rows out; all are counted.")
    return np.array([_NO_MAIN.search(kind) is not None for kind in kinds], dtype=np.bool_)


def _note_left_out(sheet: Sheet, which: BoolArray, said: str) -> None:
    """Note which rows (rows,) are not counted."""
    if which.any():
        further = ", ..." if np.count_nonzero(which) > OUT_NAMED else ""
        sheet.note(said.format(f"{np.count_nonzero(which):,} ({', '.join(sheet.id[which][:OUT_NAMED])}{further})"))


def _flows(sheet: Sheet) -> tuple[FloatArray, BoolArray]:
    """Read flows in gpm, NaN where a row gives neither flow nor class; and which are those of class C."""
    sheet.doubt_zeros("flow_gpm")
    flow, wrong = cells.numbers(sheet.cells("flow_gpm"), "gpm")
    flow = np.where(sheet.point_in_doubt("flow_gpm", "gpm"), np.nan, flow)
    classes = {word.casefold(): word for word in CLASS_GPM}
    by_class = _class_gpm(sheet.word("class", classes).tolist())
    in_flow = _class_gpm([cell.upper() for cell in sheet.cells("flow_gpm")])
    for i in np.flatnonzero(wrong & np.isnan(in_flow)).tolist():
        said = expected(sheet.cells("flow_gpm")[i], "gpm").partition(": ")[2]
        rule = "is neither a number of gpm nor a class AA, A, B, C" + (f": {said}" if said else "")
        cell = sheet.cells("flow_gpm")[i]
        sheet.fault_at(i, "flow_gpm", cell, cells.with_remedy(rule, cell))
    sheet.fault(flow < 0.0, "flow_gpm", "must be at least 0")
    sheet.outside("flow_gpm", flow, bounds.HYDRANTS["flow_gpm"], "gpm")
    given, in_cell = ~np.isnan(flow), ~np.isnan(in_flow)
    class_c = ~given & (np.where(in_cell, in_flow, by_class) == CLASS_GPM["C"])
    return np.where(given, flow, np.where(in_cell, in_flow, by_class)), class_c


def _class_gpm(words: list[str]) -> FloatArray:
    return np.array([CLASS_GPM.get(word, np.nan) for word in words], dtype=np.float64)
