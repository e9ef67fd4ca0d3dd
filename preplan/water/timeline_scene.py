"""The water of one timeline between two events: tanks that fill and drain at constant rates.

Water on the fireground is the attack engine's booster tank and the portable tanks above their dead water. A
supply line feeds the attack engine from the portable tanks, at most at its own rate; the booster tank makes
up what is lacking and is not refilled. At each fill site the source drains and refills.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from preplan.water.timeline_case import NEVER, Case, FillEnd

GRAIN_GAL = 1e-7
"""An amount of water that is none: below what rounding leaves over."""


@dataclass(slots=True)
class Transfer:
    """One load being poured or filled: exact until its rate changes."""

    left_gal: float
    since_min: float
    gpm: float = 0.0

    def left_at(self, now_min: float) -> float:
        """Say what is still to move."""
        return self.left_gal - self.gpm * (now_min - self.since_min)

    def set_rate(self, gpm: float, now_min: float) -> None:
        """Go on at another rate from now."""
        if gpm != self.gpm:
            self.left_gal = self.left_at(now_min)
            self.since_min, self.gpm = now_min, gpm

    @property
    def end_min(self) -> float:
        """Minute at which nothing is left, at this rate."""
        if self.left_gal <= 0:
            return self.since_min
        return self.since_min + self.left_gal / self.gpm if self.gpm > 0 else NEVER


@dataclass(frozen=True, slots=True)
class Flow:
    """Rates between two events, all in gpm."""

    nursed: float = 0.0
    line: float = 0.0
    """Out of the portable tanks."""
    booster: float = 0.0
    inflow: float = 0.0
    """Into the portable tanks above the dead water."""
    dead: float = 0.0
    """Into the dead water."""

    @property
    def delivered(self) -> float:
        """What the fire gets."""
        return self.nursed + self.line + self.booster


def first_come_shares(rates: list[float], most: float) -> list[float]:
    """Share a flow: the first takes its rate, the next what is left.

    >>> first_come_shares([600.0, 600.0], 900.0)
    [600.0, 300.0]
    """
    shares = []
    left = most
    for rate in rates:
        shares.append(min(rate, left))
        left -= shares[-1]
    return shares


@dataclass(slots=True)
class Fireground:
    """Booster tank and portable tanks; the level changes with `run`, the rates with `flow`."""

    case: Case
    booster_gal: float = 0.0
    portable_gal: float = 0.0
    active_gal: float = 0.0
    """Room above the dead water of the portable tanks that stand ready."""
    dead_left_gal: float = 0.0
    """Dead water still to be filled: the first gallons into a new portable tank."""
    dead_gal: float = 0.0
    delivered_gal: float = 0.0
    arrived_gal: float = 0.0
    """Booster tank, nursed and dumped above the dead water."""

    @property
    def on_scene_gal(self) -> float:
        """Water that the fire can have now."""
        return self.booster_gal + self.portable_gal

    def _full(self) -> bool:
        return self.portable_gal >= self.active_gal and self.dead_left_gal <= 0

    def pours(self, rates: list[float], demand_gpm: float) -> list[float]:
        """Give the rate of each load being dumped, first come first; full tanks take what is drawn."""
        if not self._full():
            return rates
        return first_come_shares(rates, min(demand_gpm, self.case.line_gpm))

    def flow(self, poured_gpm: float, demand_gpm: float, nursed: float) -> Flow:
        """Work out the rates while `poured_gpm` comes in and the fire asks for `demand_gpm`, some of it nursed."""
        dead = poured_gpm if self.dead_left_gal > 0 else 0.0
        inflow = poured_gpm - dead
        line = min(demand_gpm - nursed, self.case.line_gpm)
        if self.portable_gal <= 0:
            line = min(line, inflow)
        booster = demand_gpm - nursed - line if self.booster_gal > 0 else 0.0
        return Flow(nursed, line, booster, inflow, dead)

    def next_change_min(self, now_min: float, flow: Flow) -> float:
        """Minute at which a tank runs empty or full at these rates."""
        net = flow.inflow - flow.line
        soonest = NEVER
        for amount_gal, gpm in (
            (self.portable_gal, -net),
            (self.active_gal - self.portable_gal, net),
            (self.booster_gal, flow.booster),
            (self.dead_left_gal, flow.dead),
        ):
            if amount_gal > 0 and gpm > 0:
                soonest = min(soonest, now_min + amount_gal / gpm)
        return soonest

    def run(self, minutes: float, flow: Flow) -> None:
        """Let the water flow for some minutes; what rounding leaves over is dropped."""
        self.portable_gal += (flow.inflow - flow.line) * minutes
        self.booster_gal = _settled(self.booster_gal - flow.booster * minutes)
        self.dead_left_gal = _settled(self.dead_left_gal - flow.dead * minutes)
        self.dead_gal += flow.dead * minutes
        self.delivered_gal += flow.delivered * minutes
        self.arrived_gal += (flow.nursed + flow.inflow) * minutes
        self.portable_gal = _settled(self.portable_gal)
        if abs(self.portable_gal - self.active_gal) < GRAIN_GAL:
            self.portable_gal = self.active_gal


def _settled(gal: float) -> float:
    return 0.0 if gal < GRAIN_GAL else gal


@dataclass(slots=True)
class Source:
    """The water at a fill site."""

    site: FillEnd
    level_gal: float = field(init=False)
    given_gal: float = 0.0
    empty_min: float = 0.0
    """Minutes for which an empty source held a filling tanker back."""
    dry_min: float = NEVER
    """From when it did."""

    def __post_init__(self) -> None:
        """Start full."""
        self.level_gal = self.site.storage_gal

    def fills(self, rates: list[float]) -> list[float]:
        """Give the rate into each tanker being filled, first come first."""
        most = self.site.site_gpm if self.level_gal > 0 else min(self.site.site_gpm, self.site.refill_gpm)
        return first_come_shares(rates, most)

    def _net_gpm(self, out_gpm: float) -> float:
        net = self.site.refill_gpm - out_gpm
        return min(net, 0.0) if self.level_gal >= self.site.storage_gal else net

    def next_change_min(self, now_min: float, out_gpm: float) -> float:
        """Minute at which the source runs dry or over."""
        net = self._net_gpm(out_gpm)
        room_gal = self.site.storage_gal - self.level_gal
        if not self.site.storage_gal < NEVER or net == 0:
            return NEVER
        if net < 0:
            return now_min + self.level_gal / -net if self.level_gal > 0 else NEVER
        return now_min + room_gal / net if room_gal > 0 else NEVER

    def run(self, now_min: float, minutes: float, out_gpm: float, wanted_gpm: float) -> None:
        """Let the water flow for some minutes from now on."""
        self.given_gal += out_gpm * minutes
        if not self.site.storage_gal < NEVER:
            return
        if self.level_gal <= 0 and out_gpm < min(wanted_gpm, self.site.site_gpm):
            self.empty_min += minutes
            self.dry_min = min(self.dry_min, now_min)
        self.level_gal = _settled(self.level_gal + self._net_gpm(out_gpm) * minutes)
        if self.site.storage_gal - self.level_gal < GRAIN_GAL:
            self.level_gal = self.site.storage_gal
