"""The uninterrupted flow: the largest constant flow over [F, F + required_min] with no dry instant.

With F the minute of full flow, S the water on scene at F and in(t) what came in after it under a draw of q,
a flow q holds if it never exceeds

::

    phi(q) = min over t in (F, F + required_min] of (S + in(t)) / (t - F)

While no portable tank is full, in(t) does not depend on the draw and phi is the answer in closed form. Where
tanks run full a smaller draw delays the tankers, so the answer is the largest q = phi(q): from a draw
without bound downward, q is replaced by phi(q) until the account at q itself shows no dry instant. Where
that creeps, a straight line through the last two accounts leaps ahead, and what it leaps over is halved.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from preplan.records import BoolArray, FloatArray
from preplan.water.same import SAME
from preplan.water.timeline_case import NEVER, Case
from preplan.water.timeline_events import INSTANT_MIN, Piece, Run

NO_BOUND_GPM = 1e6
"""A draw that no fireground sustains: every drop is used as it comes."""
NOTHING_GPM = 1e-3
"""A flow below this is none."""
MOST_RUNS = 100
"""Accounts at which the search would be broken: halving alone needs some forty."""


@dataclass(frozen=True, slots=True)
class HeldFlow:
    """What a case holds without a dry instant."""

    gpm: float
    tight_min: float
    """The minute at which it is tightest, F where nothing flows; NaN where draft or supply line hold it."""
    limited_by: str
    """A word of `shuttle.LIMITS`; '' where it is what limits the sustained flow."""


def arrived_by(piece: Piece, minute: float) -> float:
    """Give the water arrived by a minute of a piece, gal."""
    return piece.arrived_gal + (piece.flow.nursed + piece.flow.inflow) * (minute - piece.start_min)


def largest_ratio(run: Run) -> tuple[float, float]:
    """Give phi of an account, and its minute, of equal ones the last: the least ratio of water come to minutes past F.

    Between two events water comes in at a constant rate, so the ratio is least at an event.
    """
    full_min = run.case.full_flow_min
    after = [piece for piece in run.pieces if piece.end_min > full_min + INSTANT_MIN]
    gone_gal = after[0].arrived_gal - after[0].on_scene_gal
    edges = [(piece.arrived_gal, piece.start_min) for piece in after]
    edges.append((arrived_by(after[-1], after[-1].end_min), after[-1].end_min))
    ratios = [((gal - gone_gal) / (at - full_min), at) for gal, at in edges if at - full_min > INSTANT_MIN]
    least = min(ratios)[0]
    return least, max(at for ratio, at in ratios if ratio <= least * (1.0 + SAME))


IntpArray = npt.NDArray[np.intp]


class Search:
    """The search for the largest q = phi(q) in many cases at once; arrays of shape (cases,)."""

    def __init__(self, most_gpm: FloatArray) -> None:
        """Begin with the most that could be drawn."""
        shape = most_gpm.shape
        self.try_gpm = most_gpm.copy()
        """The flow to draw next."""
        self.gpm = np.zeros(shape)
        """The answer, where `done`; until then the largest flow known to hold."""
        self.tight_min = np.full(shape, np.nan)
        self.unbound_gpm = np.full(shape, np.inf)
        """phi of a draw without bound."""
        self.done = np.zeros(shape, dtype=np.bool_)
        self._high = np.full(shape, np.inf)  # least flow known not to hold, and its phi
        self._phi = np.full(shape, np.inf)
        self._before = np.full((2, *shape), np.nan)  # the same one account earlier
        self._leapt = np.zeros(shape, dtype=np.bool_)
        self._low_phi = np.full(shape, np.inf)  # phi of the largest flow known to hold
        self._halves = np.zeros(shape, dtype=np.bool_)

    def learn(self, rows: IntpArray, phi: FloatArray, at_min: FloatArray) -> None:
        """Take in the accounts of some open rows, each drawn at its `try_gpm`, and choose what to draw next."""
        holds = self.holds(self.try_gpm[rows], phi)
        self._hold(rows[holds], phi[holds], at_min[holds])
        self._fail(rows[~holds], phi[~holds], at_min[~holds])
        self._choose(rows[~self.done[rows]])

    @staticmethod
    def holds(drawn_gpm: FloatArray, phi: FloatArray) -> BoolArray:
        """Tell which flows drawn had no dry instant."""
        held: BoolArray = phi >= drawn_gpm * (1.0 - SAME)
        return held

    def _hold(self, rows: IntpArray, phi: FloatArray, at_min: FloatArray) -> None:
        """Take in flows that hold: the answer if none above can hold, or if tight themselves."""
        drawn = self.try_gpm[rows]
        self.gpm[rows], self._low_phi[rows] = drawn, phi
        exact = np.isfinite(self._high[rows]) & (phi <= drawn * (1.0 + SAME))
        self.tight_min[rows] = np.where(exact, at_min, self.tight_min[rows])
        self.done[rows] = (drawn >= self._phi[rows]) | (phi <= drawn * (1.0 + SAME)) | np.isinf(self._high[rows])
        self._leapt[rows] = True

    def _fail(self, rows: IntpArray, phi: FloatArray, at_min: FloatArray) -> None:
        """Take in flows that do not hold: their phi bounds the answer."""
        self._before[:, rows] = self._high[rows], self._phi[rows]
        first = np.isinf(self._high[rows])
        self.unbound_gpm[rows[first]] = phi[first]
        self._high[rows], self._phi[rows], self.tight_min[rows] = self.try_gpm[rows], phi, at_min

    def _choose(self, rows: IntpArray) -> None:
        high, phi, (high_before, phi_before) = self._high[rows], self._phi[rows], self._before[:, rows]
        top = np.minimum(high, phi)
        with np.errstate(invalid="ignore", divide="ignore"):
            slope = (phi - phi_before) / (high - high_before)
            line = (phi - slope * high) / (1.0 - slope)
        known = (high_before < NO_BOUND_GPM) & (slope > 0) & (slope < 1)
        ahead = np.where(known, np.clip(line, 0.0, top), top)
        self.try_gpm[rows] = np.where(self._leapt[rows], self._between(rows, top), ahead)
        none = top < NOTHING_GPM
        closed = self._leapt[rows] & (top - self.gpm[rows] <= SAME * top)
        zero = none | (self.try_gpm[rows] < NOTHING_GPM)
        self.gpm[rows[zero & ~closed]] = 0.0
        self.done[rows] = zero | closed

    def _between(self, rows: IntpArray, top: FloatArray) -> FloatArray:
        """Choose a flow between what holds and what does not: by turns where a straight line says, and halfway."""
        low, high = self.gpm[rows], self._high[rows]
        spare, lack = self._low_phi[rows] - low, high - self._phi[rows]
        with np.errstate(invalid="ignore", divide="ignore"):
            line = low + (high - low) * spare / (spare + lack)
        halves = self._halves[rows] | ~(line > low) | ~(line < top)
        self._halves[rows] = ~self._halves[rows]
        flow: FloatArray = np.where(halves, (low + top) / 2, line)
        return flow


def held_flow(case: Case) -> HeldFlow:
    """Find the uninterrupted flow of a case, at most draft and supply line."""
    if not case.end_min < NEVER or case.required_min <= 0:
        return HeldFlow(0.0, math.nan, "engines" if not case.end_min < NEVER else "")
    search = Search(np.array([min(case.line_gpm, NO_BOUND_GPM)], dtype=np.float64))
    one, run = np.array([0]), None
    for _ in range(MOST_RUNS):
        tried = Run(case, float(search.try_gpm[0])).go()
        ratio, at_min = largest_ratio(tried)
        if run is None or search.gpm[0] == 0.0 or search.holds(search.try_gpm, np.array([ratio]))[0]:
            run = tried  # the account of the answer, where one holds
        search.learn(one, np.array([ratio]), np.array([at_min]))
        if search.done[0]:
            break
    if run is None:
        raise AssertionError("a search without an account")
    gpm = float(search.gpm[0])
    tight_min = float(search.tight_min[0]) if gpm > 0 else case.full_flow_min
    return HeldFlow(gpm, tight_min, _limit(run, gpm, tight_min, float(search.unbound_gpm[0])))


def _limit(run: Run, gpm: float, tight_min: float, unbound_gpm: float) -> str:
    """Name what holds the flow, as far as the timeline knows it."""
    case = run.case
    if math.isnan(tight_min):
        return "draft" if case.draft_gpm <= case.supply_gpm else "supply line"
    if not case.order:
        return "tankers"
    if not case.dump_ready_min < NEVER:
        return "room" if case.dump_engine_arrival_min < NEVER else "engines"
    if all(ready == NEVER for ready in run.site_ready_min) and _wants_engine(run):
        return "engines"
    if not run.established_min < tight_min - INSTANT_MIN:
        return "arrival"
    if any(source.empty_min > 0 for source in run.sources):
        return "source"
    slowed = any(truck.room_wait_min > 0 for truck in run.trucks)
    return "room" if slowed and gpm < unbound_gpm * (1.0 - SAME) else ""


def _wants_engine(run: Run) -> bool:
    """Tell whether nobody fills before an engine comes to a fill site."""
    needed = all(site.engine_arrival_min is not None for site in run.sites)
    return needed and not any(tanker.self_fill for tanker in run.case.order)
