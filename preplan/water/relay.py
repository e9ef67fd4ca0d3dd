"""Water by hose all the way: how many engines and how much hose bring a flow from the fill site, and what it beats.

One engine pumps at the source, the others stand at even distances along the lay; each takes in at least the residual
pressure and pumps at one discharge pressure. The engine at the fire only takes in and is not counted. Arrays in,
arrays out: every argument broadcasts, so that all addresses are asked at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from preplan.records import BoolArray, Columns, FloatArray
from preplan.water.hydraulics import Numbers, lay_gpm, lay_psi, line_gal, pump_share

LAY_FT_PER_MIN = 300.0
"""Hose laid from a moving engine, line by line: 300 ft a minute is 3.4 mph (common practice, no source)."""
CONNECT_MIN = 3.0
"""Connecting one pumping engine and bringing it up to pressure, min (common practice, no source)."""
MOST_LINES = 2
"""Equal lines side by side that are considered (this program's choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pumps:
    """What the pumping engines do; numbers or arrays that broadcast with the lengths."""

    pump_psi: Numbers
    """Discharge pressure of each."""
    residual_psi: Numbers
    """Least at each intake and at the far end."""
    pump_gpm: Numbers = np.inf
    """Rating of the weakest pump; it falls off above its rating pressure."""
    source_gpm: Numbers = np.inf
    """What the source and the engine that drafts there give."""

    @property
    def given_psi(self) -> FloatArray:
        """Pressure that one engine gives the lay."""
        return np.asarray(np.asarray(self.pump_psi, dtype=np.float64) - self.residual_psi)

    @property
    def most_gpm(self) -> FloatArray:
        """Most that passes whatever the hose."""
        return np.minimum(np.asarray(self.pump_gpm, dtype=np.float64) * pump_share(self.pump_psi), self.source_gpm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Relay(Columns):
    """The relay chosen for each case, all of one shape."""

    gpm: FloatArray
    """What it carries; 0 where the hose does not reach."""
    engines: FloatArray
    """Pumping, the one at the source among them; NaN where the hose does not reach."""
    lines: FloatArray
    """Equal lines side by side; NaN where the hose does not reach."""
    hose_ft: FloatArray
    """Hose in all; NaN where it does not reach."""
    fill_gal: FloatArray
    """Water that fills the lines before any comes out."""
    ready_min: FloatArray
    """From the first foot laid to water at the far end."""


def relay_engines(
    flow_gpm: Numbers, length_ft: Numbers, hose_in: Numbers, pumps: Pumps, *, lines: Numbers = 1, rise_ft: Numbers = 0.0
) -> FloatArray:
    """Give how many engines pump a flow along a lay, whole, at least one; inf where pumps or source do not give it.

    ::

        engines = all that the lay takes / (pump_psi - residual_psi), rounded up

    which sets them (pump_psi - residual_psi) x 100 / (loss per 100 ft) apart.

    >>> relay_engines(1000, 2000, 5.0, Pumps(pump_psi=150, residual_psi=20)).item()
    2.0
    """
    taken = lay_psi(flow_gpm, length_ft, hose_in, lines=lines, rise_ft=rise_ft)
    with np.errstate(divide="ignore", invalid="ignore"):
        engines = np.maximum(np.ceil(taken / pumps.given_psi - 1e-9), 1.0)
    possible = (pumps.given_psi > 0) & (np.asarray(flow_gpm) <= pumps.most_gpm)
    return np.where(possible, engines, np.inf)


def relay_gpm(
    engines: Numbers, length_ft: Numbers, hose_in: Numbers, pumps: Pumps, *, lines: Numbers = 1, rise_ft: Numbers = 0.0
) -> FloatArray:
    """Give the flow that so many engines, evenly spaced, pump along a lay on an even grade.

    `engines` counts those that pump, the one at the source among them; at least 1.
    """
    count = np.asarray(engines, dtype=np.float64)
    along = lay_gpm(
        np.asarray(length_ft, dtype=np.float64) / count, hose_in, pump_psi=pumps.pump_psi,
        residual_psi=pumps.residual_psi, lines=lines, rise_ft=np.asarray(rise_ft, dtype=np.float64) / count,
    )  # fmt: skip
    return np.minimum(along, pumps.most_gpm)


def best_relay(
    length_ft: Numbers,
    hose_in: Numbers,
    hose_ft: Numbers,
    pumps: Pumps,
    *,
    engines: int,
    needed_gpm: Numbers,
    rise_ft: Numbers = 0.0,
) -> Relay:
    """Choose the relay that carries a flow with the fewest engines, then the least hose; else that which carries most.

    Parameters
    ----------
    length_ft, rise_ft
        From the source to the fire, (...,).
    hose_in, hose_ft
        One size of hose, and how much of it there is in all, (...,).
    pumps
        What each engine gives.
    engines
        Most that can pump.
    needed_gpm
        Flow to carry, (...,).
    """
    asked = (np.asarray(one, dtype=np.float64) for one in (length_ft, hose_ft, needed_gpm, rise_ft))
    length, stock, needed, rise = np.broadcast_arrays(*asked)
    ways = [(count, lines) for count in range(1, engines + 1) for lines in range(1, MOST_LINES + 1)]
    reached = [
        np.where(lines * length <= stock, relay_gpm(n, length, hose_in, pumps, lines=lines, rise_ft=rise), 0.0)
        for n, lines in ways
    ]
    flows = np.stack(reached)
    carries = flows >= needed
    chosen = np.where(carries.any(axis=0), carries.argmax(axis=0), flows.argmax(axis=0))
    gpm = np.take_along_axis(flows, chosen[None], axis=0)[0]
    known = np.where(gpm > 0, 1.0, np.nan)
    count, lines = (np.array(row, dtype=np.float64)[chosen] * known for row in zip(*ways, strict=True))
    fill_gal = line_gal(length, hose_in, lines=lines)
    laying_min = lines * length / LAY_FT_PER_MIN + count * CONNECT_MIN
    with np.errstate(divide="ignore"):
        ready_min = laying_min + fill_gal / gpm
    return Relay(gpm=gpm, engines=count, lines=lines, hose_ft=lines * length, fill_gal=fill_gal, ready_min=ready_min)


def beats(relay_gpm: Numbers, shuttle_gpm: Numbers, needed_gpm: Numbers = np.inf) -> BoolArray:
    """Tell where a hose lay does more for a needed flow than a shuttle; what either gives beyond it does not count."""
    need = np.asarray(needed_gpm, dtype=np.float64)
    lay, haul = (np.minimum(np.asarray(gpm, dtype=np.float64), need) for gpm in (relay_gpm, shuttle_gpm))
    better: BoolArray = np.asarray(lay > haul * (1.0 + 1e-9))
    return better


def farthest_ft(length_ft: FloatArray, better: BoolArray) -> float:
    """Give the greatest of some lengths (n,) at which something is better; 0 where nowhere."""
    return float(np.max(length_ft, initial=0.0, where=better))
