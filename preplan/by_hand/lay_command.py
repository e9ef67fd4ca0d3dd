"""`preplan hydraulics lay`: one lay of hose."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from textwrap import wrap
from typing import Annotated

import typer

from preplan.by_hand.options import (
    LINE_LETTERS,
    as_json,
    cautions,
    labelled,
    must_be,
    option,
    refused,
    switch,
    table,
)
from preplan.render.words import need, supply
from preplan.rules import ShuttleRules
from preplan.water import hydraulics as water
from preplan.water.hydraulics import Lay

_RULES = ShuttleRules()
_ENDS = ", ".join(f"{psi:g} {where}" for psi, where, _ in water.END_PSI)
LARGE_HOSE_IN = 3.5
"""From this size on hose is large supply hose."""
_TINY_PSI = 1e-6
"""A pump pressure this little above what the pump gives is the same number."""

EXAMPLES = """Examples: the lay for 500 gpm over 800 ft, 30 ft up; what 3 in hose carries there.

\b
  preplan hydraulics lay --feet 800 --rise 30 --flow 500
  preplan hydraulics lay --feet 800 --rise 30 --size 3
"""

Number = float | None


def size_check(size: Sequence[float] | float | None) -> None:
    """Hold hose to the sizes that the table of coefficients knows."""
    must_be({"--size": size}, least=water.HOSE[0].hose_in, most=water.HOSE[-1].hose_in)


@dataclass(frozen=True, slots=True, kw_only=True)
class LayAsked:
    """The options of `lay`."""

    feet: Annotated[float, typer.Option(metavar="FT", help="Length of the lay.")]
    flow: Annotated[Number, option("GPM", "Flow to carry. Without it: what the lays carry at --pump.")] = None
    size: Annotated[Number, option("IN", "Hose diameter. Default: 3 in, 2 x 3 in, 4 in and 5 in, side by side.")] = None
    lines: Annotated[int, typer.Option(metavar="N", help="Equal lines side by side, with --size.")] = 1
    coefficient: Annotated[
        Number, option("C", "Friction coefficient measured on your own hose, with --size. Default: the table's.")
    ] = None
    pump: Annotated[float, typer.Option(metavar="PSI", help="Pump discharge pressure.")] = _RULES.supply_psi
    end: Annotated[float, typer.Option(metavar="PSI", help=f"Pressure left at the end: {_ENDS}.")] = (
        _RULES.supply_residual_psi
    )
    rise: Annotated[float, typer.Option(metavar="FT", help="From pump to end; a fall is negative.")] = 0.0
    appliances: Annotated[
        int, typer.Option(metavar="N", help="Wyes, siamese and valves on the way: 10 psi each from 350 gpm.")
    ] = 0
    master: Annotated[bool, switch("--master", "A master stream device at the end: 25 psi.")] = False
    json: Annotated[bool, switch("--json", "Print JSON, unrounded.")] = False

    @property
    def fixed_psi(self) -> float:
        """Lost at any flow."""
        return water.MASTER_PSI if self.master else 0.0

    def coefficient_of(self, one: Lay) -> float:
        """Give the coefficient of a lay: the user's own, or the table's."""
        return float(water.hose_coefficient(one.hose_in)) if self.coefficient is None else self.coefficient

    def friction_ft(self, one: Lay) -> float:
        """Give the length of the table's hose that loses what this one does."""
        return self.feet * self.coefficient_of(one) / float(water.hose_coefficient(one.hose_in))

    def lays(self) -> tuple[Lay, ...]:
        """List the lays that are asked about."""
        if self.size is None:
            return water.LAYS
        many = "" if self.lines == 1 else f"{self.lines} x "
        return (Lay(f"{many}{self.size:g} in", self.size, self.lines),)


def lay(asked: LayAsked) -> str:
    """Work out one hose lay: friction loss, pump pressure, the flow it carries, and the lay for a flow.

    Friction loss in psi is C x (gpm / 100)^2 x (ft / 100); equal lines share the flow. Pump pressure is what the end
    needs, friction, appliances, and 1 psi for each 2.304 ft of rise.
    """
    must_be({"--feet": asked.feet, "--flow": asked.flow, "--pump": asked.pump}, above=0)
    must_be({"--end": asked.end, "--appliances": asked.appliances}, least=0)
    must_be({"--rise": asked.rise})
    must_be({"--lines": asked.lines}, least=1)
    size_check(asked.size)
    must_be({"--coefficient": asked.coefficient}, above=0)
    for name, given in (("--lines", asked.lines != 1), ("--coefficient", asked.coefficient is not None)):
        if asked.size is None and given:
            raise refused(name, "needs --size")
    rows = [_lay_row(asked, one) for one in asked.lays()]
    chosen = next((row.lay for row in rows if row.carries), None)
    if asked.json:
        lays = [asdict(row) for row in rows]
        return as_json({"feet": asked.feet, "flow_gpm": asked.flow, "lays": lays, "lay_for_flow": chosen})
    return "\n".join([*_lay_table(asked, rows), "", *_lay_words(asked, rows, chosen), *_lay_used(asked), *cautions()])


@dataclass(frozen=True, slots=True, kw_only=True)
class LayRow:
    """One lay, worked out; None where no flow is asked about."""

    lay: str
    hose_in: float
    lines: int
    coefficient: float
    gpm: float
    """What it carries at the pump pressure."""
    fill_gal: float
    friction_psi: float | None = None
    elevation_psi: float | None = None
    appliances_psi: float | None = None
    pump_psi: float | None = None
    carries: bool | None = None


def _lay_row(asked: LayAsked, one: Lay) -> LayRow:
    """Work out one lay."""
    rest = {"rise_ft": asked.rise, "appliances": asked.appliances, "fixed_psi": asked.fixed_psi, "lines": one.lines}
    long_ft = asked.friction_ft(one)
    gpm = float(water.lay_gpm(long_ft, one.hose_in, pump_psi=asked.pump, residual_psi=asked.end, **rest))
    row = LayRow(
        lay=one.name, hose_in=one.hose_in, lines=one.lines,
        coefficient=asked.coefficient_of(one), gpm=gpm,
        fill_gal=float(water.line_gal(asked.feet, one.hose_in, lines=one.lines)),
    )  # fmt: skip
    if asked.flow is None:
        return row
    psi = float(water.pump_psi(water.lay_psi(asked.flow, long_ft, one.hose_in, **rest), asked.end))
    return replace(
        row,
        friction_psi=float(water.lay_psi(asked.flow, long_ft, one.hose_in, lines=one.lines)),
        elevation_psi=float(water.elevation_psi(asked.rise)),
        appliances_psi=float(asked.appliances * water.appliance_psi(asked.flow)) + asked.fixed_psi,
        pump_psi=psi,
        carries=psi <= asked.pump + _TINY_PSI,
    )


def _lay_table(asked: LayAsked, rows: Sequence[LayRow]) -> list[str]:
    at = f"gpm at {asked.pump:g} psi"
    if asked.flow is None:
        return table(("lay", at, "gal to fill it"), [(row.lay, supply(row.gpm), need(row.fill_gal)) for row in rows])
    cells = [
        (
            row.lay, need(row.friction_psi), need(row.elevation_psi), need(row.appliances_psi), need(row.pump_psi),
            supply(row.gpm), need(row.fill_gal),
        )
        for row in rows
    ]  # fmt: skip
    return table(("lay", "friction psi", "rise psi", "appliances psi", "pump psi", at, "gal to fill it"), cells)


def _lay_words(asked: LayAsked, rows: Sequence[LayRow], chosen: str | None) -> list[str]:
    if asked.flow is None:
        return []
    flow = f"{need(asked.flow)} gpm at {asked.pump:g} psi with {asked.end:g} psi left"
    said = f"{chosen}: the first that carries {flow}" if chosen else f"none of these carries {flow}"
    lines = labelled("The lay for it", said)
    limit_psi = water.SUPPLY_HOSE_PSI
    high = [row.lay for row in rows if row.hose_in >= LARGE_HOSE_IN and (row.pump_psi or 0.0) > limit_psi]
    if high or asked.pump > limit_psi:
        limit = f"above {limit_psi:g} psi, the usual working pressure of large supply hose"
        lines += labelled("Too high", f"{', '.join(high) or f'{asked.pump:g} psi'}: {limit}")
    return lines


def _lay_used(asked: LayAsked) -> list[str]:
    said = f"C {asked.coefficient:g} as given" if asked.coefficient is not None else _sources(asked)
    return wrap(
        f"Used: {asked.feet:g} ft, rise {asked.rise:g} ft, {asked.appliances} appliances; {said}.", LINE_LETTERS
    )


def _sources(asked: LayAsked) -> str:
    known = {row.hose_in: row for row in water.HOSE if row.careful}
    sizes = sorted({max(size for size in known if size <= one.hose_in + 1e-9) for one in asked.lays()})
    said = "; ".join(f"{size:g} in C {known[size].coefficient:g} ({known[size].source})" for size in sizes)
    return f"{said}; where sources differ the larger loss"
