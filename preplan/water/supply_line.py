"""The supply line from dump site to attack engine: whose hose, how much of it, what it carries. Arrays in, arrays out.

One engine's own hose where that carries what is needed, the largest that reaches; else hose of several in series, the
larger sizes first. The sections of a line carry the same flow, so their losses add up: C Q^2 L of each.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from preplan.records import BoolArray, Columns, FloatArray, IntArray
from preplan.water.hydraulics import Numbers, flow_at_loss_gpm, hose_coefficient
from preplan.water.same import SAME


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyLine(Columns):
    """The line of each case, (cases,); engines that could bring hose on the last axis of `laid_ft`."""

    gpm: FloatArray
    """What it carries; 0 where the hose does not reach, inf where no line is wanted."""
    reached_gpm: FloatArray
    """The same, with the feet that are short as though they were there, of the smallest size carried."""
    short_ft: FloatArray
    """What is short; 0 where the hose reaches."""
    laid_ft: FloatArray
    """(cases, engines): what each gives of its hose."""


def supply_line(
    length_ft: FloatArray, hose_ft: FloatArray, hose_in: FloatArray, *, loss_psi: Numbers, needed_gpm: FloatArray
) -> SupplyLine:
    """Lay a line of each length, (cases,), from the hose of engines, (cases, engines).

    Parameters
    ----------
    length_ft
        From the dump site to the attack engine.
    hose_ft, hose_in
        What each engine carries; of equal sizes the first engine's goes first. One that carries none has 0 ft.
    loss_psi
        Pressure that the line may take.
    needed_gpm
        Flow with which one engine's hose alone is enough, (cases,).

    >>> hose_ft, hose_in = np.array([[200.0, 1000.0]]), np.array([[5.0, 4.0]])
    >>> line = supply_line(np.array([300.0]), hose_ft, hose_in, loss_psi=130, needed_gpm=np.array([9e9]))
    >>> line.laid_ft.tolist()
    [[200.0, 100.0]]
    """
    order = np.argsort(-hose_in, axis=1, kind="stable")
    carried, size = (np.take_along_axis(column, order, axis=1) for column in (hose_ft, hose_in))
    coefficient = hose_coefficient(size)
    before_ft = np.cumsum(carried, axis=1) - carried
    laid = np.clip(length_ft[:, None] - before_ft, 0.0, carried)
    short_ft = np.maximum(length_ft - carried.sum(axis=1), 0.0)
    taken = (coefficient * laid).sum(axis=1)
    several_gpm = np.asarray(flow_at_loss_gpm(loss_psi, taken, 1.0))
    alone, own = _alone(length_ft, carried)
    own_gpm = np.asarray(flow_at_loss_gpm(loss_psi, length_ft, coefficient[np.arange(len(own)), own]))
    alone &= own_gpm >= np.minimum(needed_gpm, several_gpm * (1.0 - SAME))
    laid[alone] = 0.0
    laid[alone, own[alone]] = length_ft[alone]
    reached = flow_at_loss_gpm(loss_psi, taken + short_ft * coefficient.max(axis=1), 1.0)
    laid_ft = np.empty_like(laid)
    np.put_along_axis(laid_ft, order, laid, axis=1)
    gpm = np.where(alone, own_gpm, np.where(short_ft > 0, 0.0, several_gpm))
    return SupplyLine(gpm=gpm, reached_gpm=np.where(short_ft > 0, reached, gpm), short_ft=short_ft, laid_ft=laid_ft)


def _alone(length_ft: FloatArray, carried_ft: FloatArray) -> tuple[BoolArray, IntArray]:
    """Tell where one engine's hose reaches alone, and whose, the first in order of size: both (cases,)."""
    reaches: BoolArray = carried_ft >= length_ft[:, None]
    return np.asarray(reaches.any(axis=1)), reaches.argmax(axis=1).astype(np.int32)
