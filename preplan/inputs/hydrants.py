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
_NO_MAIN = re.compile(r"\bdry(?:\b|hyd)(?!\W*barrel)|\bd\W?h\b|\b(?:draft|suction|cistern|pond|static)", re.IGNORECASE)
"""Kinds without a main behind them (common practice, no source): a dry barrel drains itself, and is on one."""
_ON_MAIN = re.compile(
    r"hyd|barrel|\b(?:fh|fire|wet|mains?|municipal|city|public|pressur\w+|pillar|underground|wall|pipe|post)\b",
    re.IGNORECASE,
)
"""Words for a hydrant of a main: those of OpenStreetMap's tag and of common tables."""


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
    kinds = {kind: kind.replace("_", " ") for kind in sheet.text("kind").tolist()}
    known = {*cells.NOT_KNOWN, ""}
    no_main = {kind for kind, words in kinds.items() if _NO_MAIN.search(words)}
    on_main = {kind for kind, words in kinds.items() if _ON_MAIN.search(words) or words.casefold() in known}
    if strange := sorted(kinds.keys() - no_main - on_main):
        named = ", ".join(strange[:OUT_NAMED]) + ", ..." * (len(strange) > OUT_NAMED)
        sheet.note(
            f"{sheet.header('kind')} has codes or words not known here ({named}): does one mean a dry hydrant? Take "
            "those rows out; all are counted."
        )
    return np.isin(sheet.text("kind"), list(no_main))


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
