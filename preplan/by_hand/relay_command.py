"""`preplan hydraulics relay`: water by hose all the way, beside what a shuttle brings over the same road."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from textwrap import wrap
from typing import Annotated

import numpy as np
import typer

from preplan.by_hand.lay_command import size_check
from preplan.by_hand.options import BY_HAND, LINE_LETTERS, as_json, cautions, labelled, must_be, option, switch, table
from preplan.by_hand.shuttle import Circuit, HandShuttle
from preplan.errors import Finding, InputError
from preplan.records import FloatArray
from preplan.render.words import feet, miles, minutes, need, number, supply
from preplan.rules import ShuttleRules
from preplan.units import FT_PER_MI
from preplan.water.hydraulics import LAYS, Lay, line_gal
from preplan.water.relay import Pumps, Relay, beats, best_relay, farthest_ft, relay_engines, relay_gpm

_RULES = ShuttleRules()
_STEP_FT = 100.0
_FARTHEST_FT = 5 * FT_PER_MI
"""The comparison with a shuttle looks no farther."""

EXAMPLES = """Examples: engines and hose for 500 gpm over 3,000 ft; one stock of hose against two tankers.

\b
  preplan hydraulics relay --feet 3000 --flow 500
  preplan hydraulics relay --feet 3000 --flow 500 --size 5 --hose-feet 4000 --engines 2 --tank 2000 --tank 3000
"""

Number = float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RelayAsked:
    """The options of `relay`."""

    feet: Annotated[Number, option("FT", "From the fill site to the fire, as the hose lies.")] = None
    miles: Annotated[Number, option("MI", "The same in miles; give one of the two.")] = None
    flow: Annotated[float, typer.Option(metavar="GPM", help="Flow to carry.")]
    rise: Annotated[float, typer.Option(metavar="FT", help="From the water to the fire; a fall is negative.")] = 0.0
    engines: Annotated[int, typer.Option(metavar="N", help="Engines that can pump, the one at the source too.")] = 3
    size: Annotated[float, typer.Option(metavar="IN", help="Diameter of the hose there is.")] = 5.0
    hose_feet: Annotated[Number, option("FT", "How much of that hose there is in all. Default: enough.")] = None
    pump: Annotated[float, typer.Option(metavar="PSI", help="Discharge pressure of each engine.")] = _RULES.supply_psi
    end: Annotated[float, typer.Option(metavar="PSI", help="Pressure left at each intake and at the fire.")] = (
        _RULES.supply_residual_psi
    )
    pump_gpm: Annotated[float, typer.Option(metavar="GPM", help="Rating of the weakest pump.")] = 1000.0
    source_gpm: Annotated[Number, option("GPM", "What the source gives. Default: as much as the pumps.")] = None
    tank: Annotated[list[float] | None, option("GAL", "Compare with a shuttle: tank of a tanker; repeat for each.")] = (
        None
    )
    fill_gpm: Annotated[float, typer.Option(metavar="GPM", help="Rate into one tanker there.")] = _RULES.fill_gpm
    json: Annotated[bool, switch("--json", "Print JSON, unrounded.")] = False

    @property
    def length_ft(self) -> float:
        """Length of the lay."""
        return self.feet if self.feet is not None else (self.miles or 0.0) * FT_PER_MI

    @property
    def pumps(self) -> Pumps:
        """What each engine gives."""
        source = math.inf if self.source_gpm is None else self.source_gpm
        return Pumps(pump_psi=self.pump, residual_psi=self.end, pump_gpm=self.pump_gpm, source_gpm=source)

    def stock_relay(self, length_ft: FloatArray | float) -> Relay:
        """Choose the relay from the hose and the engines there are, for lengths (...,); the grade stays the same."""
        stock = math.inf if self.hose_feet is None else self.hose_feet
        grade = self.rise / self.length_ft
        return best_relay(
            length_ft, self.size, stock, self.pumps, engines=self.engines, needed_gpm=self.flow,
            rise_ft=grade * np.asarray(length_ft),
        )  # fmt: skip


def relay(asked: RelayAsked) -> str:
    """Work out a relay: engines and hose that bring a flow from the fill site, and whether it beats a shuttle.

    The engine at the source pumps first, the others stand at even distances along the lay. The engine at the fire
    only takes in and is not counted.
    """
    _check(asked)
    lays = [_lay_row(asked, one) for one in LAYS]
    stock = asked.stock_relay(asked.length_ft)
    shuttle = _shuttle(asked)
    if asked.json:
        chosen = {name: float(value) for name, value in asdict(stock).items()}
        said = {"feet": asked.length_ft, "lays": [asdict(one) for one in lays], "hose_in": asked.size, **chosen}
        return as_json({**said, "shuttle": None if shuttle is None else asdict(shuttle)})
    return "\n".join(
        [
            *_lay_table(asked, lays), "", *_stock_words(asked, stock), *_shuttle_words(asked, stock, shuttle),
            *_used(asked), *cautions(),
        ]
    )  # fmt: skip


def _check(asked: RelayAsked) -> None:
    must_be(
        {
            "--feet": asked.feet, "--miles": asked.miles, "--flow": asked.flow, "--hose-feet": asked.hose_feet,
            "--pump": asked.pump, "--pump-gpm": asked.pump_gpm, "--source-gpm": asked.source_gpm, "--tank": asked.tank,
            "--fill-gpm": asked.fill_gpm,
        },
        above=0,
    )  # fmt: skip
    must_be({"--end": asked.end}, least=0, most=asked.pump)
    must_be({"--rise": asked.rise})
    must_be({"--engines": asked.engines}, least=1, most=50)
    size_check(asked.size)
    if (asked.feet is None) == (asked.miles is None):
        raise InputError([Finding(file=BY_HAND, rule="give --feet or --miles: one of the two")])


@dataclass(frozen=True, slots=True, kw_only=True)
class LayRow:
    """One of the usual lays with as many engines as the flow takes."""

    lay: str
    engines: float
    """inf where pumps or source do not give the flow."""
    hose_ft: float
    fill_gal: float
    most_gpm: float
    """With the engines there are."""


def _lay_row(asked: RelayAsked, one: Lay) -> LayRow:
    length, rise = asked.length_ft, asked.rise
    engines = relay_engines(asked.flow, length, one.hose_in, asked.pumps, lines=one.lines, rise_ft=rise)
    most = relay_gpm(asked.engines, length, one.hose_in, asked.pumps, lines=one.lines, rise_ft=rise)
    return LayRow(
        lay=one.name, engines=float(engines), hose_ft=one.lines * length,
        fill_gal=float(line_gal(length, one.hose_in, lines=one.lines)), most_gpm=float(most),
    )  # fmt: skip


def _lay_table(asked: RelayAsked, lays: Sequence[LayRow]) -> list[str]:
    rows = []
    for one in lays:
        possible = math.isfinite(one.engines)
        count, apart = (number(one.engines), supply(asked.length_ft / one.engines)) if possible else ("cannot", "-")
        rows.append((one.lay, count, apart, need(one.hose_ft), need(one.fill_gal), supply(one.most_gpm)))
    engines, most = f"engines for {need(asked.flow)} gpm", f"gpm with {asked.engines} pumping"
    return table(("lay", engines, "ft apart", "hose ft", "gal to fill", most), rows)


def _stock_words(asked: RelayAsked, found: Relay) -> list[str]:
    stock = "" if asked.hose_feet is None else f" of {number(asked.hose_feet)} ft"
    label = "With your hose" if asked.hose_feet is not None else "If you had it"
    hose = f"{asked.size:g} in hose{stock}"
    if not float(found.gpm) > 0:
        return labelled(label, f"{hose} does not bring water there: {feet(asked.length_ft)} to cover")
    lines = "one line" if float(found.lines) == 1 else f"{number(float(found.lines))} lines side by side"
    enough = "enough" if float(found.gpm) >= asked.flow else "not enough"
    return [
        *labelled(
            label,
            f"{supply(float(found.gpm))} gpm in {lines}, {feet(float(found.hose_ft))} of {hose}, "
            f"{number(float(found.engines))} pumping: {enough} for {need(asked.flow)} gpm",
        ),
        *labelled(
            "Ready",
            f"about {minutes(float(found.ready_min))} from the first foot laid, "
            f"{need(float(found.fill_gal))} gal to fill the hose first",
        ),
    ]


# --------------------------------------------------------------------------- against a shuttle


@dataclass(frozen=True, slots=True, kw_only=True)
class Hauled:
    """The shuttle over the same road."""

    sustained_gpm: float
    beaten: bool
    """The hose lay brings more of what is asked."""
    beaten_up_to_ft: float
    """Greatest distance at which this hose with these engines does, to 100 ft; 0: nowhere."""


def _shuttle(asked: RelayAsked) -> Hauled | None:
    """Work out the shuttle, and how far the hose beats it; None where no tanker is named."""
    if not asked.tank:
        return None
    last_ft = _FARTHEST_FT if asked.hose_feet is None else min(asked.hose_feet, _FARTHEST_FT)
    lengths = np.arange(_STEP_FT, last_ft + _STEP_FT / 2, _STEP_FT)
    hauled = np.array([_hauled_gpm(asked, one) for one in lengths.tolist()])
    here = _hauled_gpm(asked, asked.length_ft)
    return Hauled(
        sustained_gpm=here,
        beaten=bool(beats(asked.stock_relay(asked.length_ft).gpm, here, asked.flow)),
        beaten_up_to_ft=farthest_ft(lengths, beats(asked.stock_relay(lengths).gpm, hauled, asked.flow)),
    )


def _hauled_gpm(asked: RelayAsked, length_ft: float) -> float:
    from preplan.roads.speeds import rule_min  # noqa: PLC0415 - the roads' room is slow to import

    leg_min = float(rule_min(np.array([length_ft / FT_PER_MI]))[0])
    circuit = Circuit(
        tank_gal=tuple(asked.tank or ()), out_min=leg_min, back_min=leg_min, fill_gpm=asked.fill_gpm,
        site_gpm=asked.fill_gpm, rules=_RULES,
    )  # fmt: skip
    return float(HandShuttle(circuit).best.sustained_gpm)


def _shuttle_words(asked: RelayAsked, found: Relay, shuttle: Hauled | None) -> list[str]:
    if shuttle is None:
        return []
    if shuttle.beaten:
        verdict = "the hose lay brings more"
        if asked.hose_feet is None:
            verdict = f"the hose lay would bring more, once {feet(float(found.hose_ft))} of hose are there and laid"
    elif min(shuttle.sustained_gpm, float(found.gpm)) >= asked.flow:
        verdict = "both bring what is asked"
    else:
        verdict = "the shuttle brings as much or more"
    far = (
        f"with this hose and these engines a hose lay brings more up to about {feet(shuttle.beaten_up_to_ft)}"
        if shuttle.beaten_up_to_ft > 0
        else "at no distance does this hose with these engines bring more"
    )
    road = f"{len(asked.tank or ())} tankers over {miles(asked.length_ft / FT_PER_MI)}"
    sustain = f"{road} sustain {supply(shuttle.sustained_gpm)} gpm"
    return [*labelled("Shuttle", f"{sustain}: {verdict}"), *labelled("Farther", far)]


def _used(asked: RelayAsked) -> list[str]:
    source = "as much as the pumps" if asked.source_gpm is None else f"{asked.source_gpm:g} gpm"
    shuttle = " Shuttle: both legs 0.65 + 1.7 x miles minutes, default handling." if asked.tank else ""
    return wrap(
        f"Used: {asked.pump:g} psi at each pump, {asked.end:g} psi left at each intake, rise {asked.rise:g} ft on an "
        f"even grade; pumps of {asked.pump_gpm:g} gpm, less above 150 psi (from memory, unverified); source {source}; "
        "hose laid at 300 ft a minute line by line and 3 min for each pumping engine (common practice, no source)."
        f"{shuttle}",
        LINE_LETTERS,
    )
