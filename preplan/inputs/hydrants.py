"""The hydrant table: flows as numbers or as the trade's classes."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from preplan.inputs import bounds, cells
from preplan.inputs.sheet import Sheet
from preplan.inputs.units_written import expected
from preplan.records import FloatArray, HydrantTable
from preplan.rules import HydrantRules

CLASS_GPM: Mapping[str, float] = {"AA": 1500.0, "A": 1000.0, "B": 500.0, "C": 250.0}
"""Flow credited to a class: the least of AA (above 1,500 gpm), A (1,000 to 1,500) and B (500 to 1,000); for C
(below 500), which has no least, half of its most (this program's careful choice)."""
OUT_NAMED = 20
"""Hydrants out of service that the note names."""


def read_hydrants(sheet: Sheet, rules: HydrantRules) -> HydrantTable:
    """Check every cell and take the rows in service without a fault, in code point order of their ids.

    A class may stand in the column of flows; a flow goes before a class.
    """
    lon, lat = sheet.place()
    flow = _flows(sheet)
    assumed = np.isnan(flow)
    out = sheet.in_service() == 0.0
    sheet.left_out = out & sheet.good
    if sheet.left_out.any():
        named = ", ".join(sheet.id[sheet.left_out][:OUT_NAMED])
        further = ", ..." if np.count_nonzero(sheet.left_out) > OUT_NAMED else ""
        sheet.note(f"out of service and not counted: {np.count_nonzero(sheet.left_out):,} ({named}{further}).")
    kept = np.flatnonzero(sheet.good & ~out)
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
    )


def _flows(sheet: Sheet) -> FloatArray:
    """Read flows in gpm, NaN where a row gives neither flow nor class."""
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
    flow = np.where(np.isnan(flow), in_flow, flow)
    return np.where(np.isnan(flow), by_class, flow)


def _class_gpm(words: list[str]) -> FloatArray:
    return np.array([CLASS_GPM.get(word, np.nan) for word in words], dtype=np.float64)
