"""`preplan demand`: what one building needs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated

import typer

from preplan.by_hand.options import as_json, cautions, labelled, must_be, one_of, option_name, refused, switch
from preplan.render.words import need, number
from preplan.rules import RequiredFlowRules
from preplan.water import required_flow as need_of

LARGEST_DWELLING_SQFT = 10_000.0
"""What covers more ground is taken for no house of one or two families (common sense, no source)."""
MOST_STORIES = 200
"""As the address table has it."""
_METHODS = tuple(method for method in need_of.METHODS if method != "given")


@dataclass(frozen=True, slots=True, kw_only=True)
class Building:
    """The options."""

    length: Annotated[float, typer.Option(metavar="FT", help="Length of the building.")]
    width: Annotated[float, typer.Option(metavar="FT", help="Width of the building.")]
    height: Annotated[float, typer.Option(metavar="FT", help="Height, with half of the roof above the eaves.")]
    hazard: Annotated[int, typer.Option(metavar="3..7", help="Occupancy hazard number: 3 severe, 7 light.")] = 7
    construction: Annotated[str, typer.Option(metavar="I..V", help="Type of construction: I to V (wood frame).")] = "V"
    exposure: Annotated[bool, switch("--exposure", "Another building stands within 50 ft.")] = False
    dwelling: Annotated[
        bool | None,
        typer.Option(
            "--dwelling/--no-dwelling",
            help="A one- or two-family dwelling, whose construction number counts at most 1.0. "
            f"Default: yes at hazard number 7, up to {LARGEST_DWELLING_SQFT:,.0f} sq ft of ground.",
            show_default=False,
        ),
    ] = None
    stories: Annotated[
        int | None,
        typer.Option(metavar="N", help="Floors, which iso and nfa ask for. Default: one.", show_default=False),
    ] = None
    method: Annotated[str, typer.Option(help=f"One of {', '.join(_METHODS)}.")] = "nfpa1142"
    json: Annotated[bool, switch("--json", "Print JSON, unrounded.")] = False


def _check_size(asked: Building) -> None:
    """Refuse a building that none is, as the address table does.

    Raises
    ------
    InputError
        With the option, the value and the rule of each.
    """
    sides = {"length": asked.length, "width": asked.width, "height": asked.height}
    must_be({option_name(side): value for side, value in sides.items()}, above=0)
    from preplan.inputs import bounds  # noqa: PLC0415 - the tables' room is slow to import
    from preplan.inputs.addresses import LARGEST_BUILDING_CUFT  # noqa: PLC0415

    for side, value in sides.items():
        bound = bounds.ADDRESSES[f"{side}_ft"]
        if bounds.broken(value, bound):
            raise refused(option_name(side), bounds.rule("ft", f"{value:g}", value, bound), f"{value:g}")
    if asked.length * asked.width * asked.height > LARGEST_BUILDING_CUFT:
        rule = f"makes a building of more than {LARGEST_BUILDING_CUFT:,.0f} cubic feet, larger than any"
        raise refused("--length", rule, f"{asked.length:g}")


def demand(asked: Building) -> str:
    """Work out what one building needs: gallons in all, gallons per minute, and for how long."""
    _check_size(asked)
    must_be({"--hazard": asked.hazard}, least=3, most=need_of.LIGHT_HAZARD)
    must_be({"--stories": asked.stories}, least=1, most=MOST_STORIES)
    from preplan.inputs.cells import construction  # noqa: PLC0415 - what reads tables is slow to import

    # as tables write it: V-B and Type V are V
    given = construction(asked.construction) or asked.construction.upper()
    kind = one_of("--construction", given, need_of.CONSTRUCTION_TYPES)
    rules = RequiredFlowRules(method=one_of("--method", asked.method.lower(), _METHODS))
    small = asked.length * asked.width <= LARGEST_DWELLING_SQFT
    home = asked.hazard == need_of.LIGHT_HAZARD and small if asked.dwelling is None else asked.dwelling
    building = need_of.one_building(
        asked.length, asked.width, asked.height, hazard=asked.hazard, construction=kind, dwelling=home,
        exposure=asked.exposure, stories=math.nan if asked.stories is None else asked.stories,
    )  # fmt: skip
    needed = need_of.required_flow(building, rules)
    gal, gpm, held = (float(a[0]) for a in (needed.required_gal, needed.required_gpm, needed.required_min))
    if asked.json:
        said = {"method": rules.method, "required_gal": gal, "required_gpm": gpm, "required_min": held}
        return as_json({**said, "rule": needed.rule[0]})
    return "\n".join(
        [
            *labelled("Required flow", f"{need(gpm)} gpm for {number(held)} min"),
            *labelled("Method's total", f"{need(gal)} gal"),
            *labelled("Volume", f"{number(building.volume_cuft[0])} ft3"),
            *labelled("Rule", needed.rule[0]),
            *cautions(),
        ]
    )
