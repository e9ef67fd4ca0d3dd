"""`preplan hydraulics draft` and `transfer`: what an engine draws, and what it moves from tank to tank."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from textwrap import wrap
from typing import Annotated

import typer

from preplan.by_hand.options import LINE_LETTERS, as_json, cautions, labelled, must_be, option, refused, switch
from preplan.render.words import need, number, supply
from preplan.rules import ShuttleRules
from preplan.water import hydraulics as water

_RULES = ShuttleRules()
HIGHEST_FT = 15_000.0
"""Greatest altitude that is understood."""

DRAFT_EXAMPLES = """Examples: a 1,250 gpm pump lifting 14 ft at 3,000 ft; a dry hydrant of 60 ft of 6 in pipe.

\b
  preplan hydraulics draft --pump 1250 --lift 14 --altitude 3000
  preplan hydraulics draft --pump 1250 --lift 8 --pipe 6 --pipe-feet 60 --flow 750
"""
TRANSFER_EXAMPLES = """Example: 750 gpm from tank to tank beside an engine that drafts 1,000.

\b
  preplan hydraulics transfer --flow 750 --draft 1000
"""

Number = float | None


# --------------------------------------------------------------------------- draft


@dataclass(frozen=True, slots=True, kw_only=True)
class DraftAsked:
    """The options of `draft`."""

    pump: Annotated[float, typer.Option(metavar="GPM", help="Rating of the pump.")]
    lift: Annotated[float, typer.Option(metavar="FT", help="From the water up to the pump.")]
    altitude: Annotated[float, typer.Option(metavar="FT", help="Of the place above sea level.")] = 0.0
    strainers: Annotated[int, typer.Option(metavar="N", help="Strainers in the water.")] = 1
    strainer_gpm: Annotated[float, typer.Option(metavar="GPM", help="Most through one strainer.")] = _RULES.strainer_gpm
    pipe: Annotated[Number, option("IN", "Dry hydrant: diameter of its pipe; instead of strainers.")] = None
    pipe_feet: Annotated[Number, option("FT", "Dry hydrant: length of its pipe.")] = None
    flow: Annotated[Number, option("GPM", "Dry hydrant: flow at which to count its losses.")] = None
    json: Annotated[bool, switch("--json", "Print JSON, unrounded.")] = False


def draft(asked: DraftAsked) -> str:
    """Work out what a pump drafts: its rating by lift and altitude, strainers, and a dry hydrant's losses."""
    must_be({"--pump": asked.pump, "--strainer-gpm": asked.strainer_gpm, "--pipe": asked.pipe}, above=0)
    must_be({"--pipe-feet": asked.pipe_feet, "--flow": asked.flow}, above=0)
    must_be({"--lift": asked.lift}, least=0)
    must_be({"--altitude": asked.altitude}, least=0, most=HIGHEST_FT)
    must_be({"--strainers": asked.strainers}, least=1)
    if (asked.pipe is None) != (asked.pipe_feet is None):
        raise refused("--pipe", "needs --pipe-feet, and the other way round")
    if asked.flow is not None and asked.pipe is None:
        raise refused("--flow", "needs --pipe and --pipe-feet")
    found = _drafted(asked)
    if asked.json:
        return as_json(found)
    hydrant = [] if asked.pipe is None else _hydrant_words(asked, found)
    return "\n".join([*_draft_words(asked, found), *hydrant, *_draft_used(), *cautions()])


def _drafted(asked: DraftAsked) -> dict[str, float]:
    by_lift = float(asked.pump * water.draft_share(asked.lift, asked.altitude))
    found = {
        "share": float(water.draft_share(asked.lift, asked.altitude)),
        "by_lift_gpm": by_lift,
        "practical_lift_ft": float(water.practical_lift_ft(asked.altitude)),
        "atmosphere_psi": float(water.atmosphere_psi(asked.altitude)),
        "correction_psi": float(water.draft_correction_psi(asked.lift)),
    }
    if asked.pipe is None or asked.pipe_feet is None:
        return found | {"gpm": min(by_lift, asked.strainer_gpm * asked.strainers)}
    # The loss of atmosphere takes from the head that is left for lift, intake and pipe.
    head_ft = water.DRY_HYDRANT_HEAD_FT - float(water.theoretical_lift_ft() - water.theoretical_lift_ft(asked.altitude))
    pipe_gpm = float(water.dry_hydrant_gpm(asked.lift, asked.pipe_feet, asked.pipe, head_ft=head_ft))
    found |= {"head_limit_ft": head_ft, "dry_hydrant_gpm": pipe_gpm, "gpm": min(by_lift, pipe_gpm)}
    if asked.flow is not None:
        intake, pipe = water.intake_loss_ft(asked.flow), water.pipe_loss_ft(asked.flow, asked.pipe_feet, asked.pipe)
        found |= {"intake_ft": float(intake), "pipe_ft": float(pipe), "head_ft": float(asked.lift + intake + pipe)}
    return found


def _draft_words(asked: DraftAsked, found: Mapping[str, float]) -> list[str]:
    passed = "its pipe" if asked.pipe is not None else f"{asked.strainers} strainer{'s' * (asked.strainers > 1)}"
    limit = passed if found["gpm"] < found["by_lift_gpm"] else "lift and altitude"
    high = f"{number(asked.lift, 1)} ft of lift at {number(asked.altitude)} ft above the sea"
    last_ft = float(water.lift_of_nothing_ft(asked.altitude))
    beyond = f", but the shares of a pump's rating end at {number(last_ft, 1)} ft there" * (asked.lift >= last_ft)
    beyond = beyond if asked.lift <= found["practical_lift_ft"] else ": more than a pump in use attains"
    return [
        *labelled("Drafts", f"{supply(found['gpm'])} gpm, limited by {limit}"),
        *labelled("Pump", f"{supply(found['by_lift_gpm'])} of {supply(asked.pump)} gpm at {high}"),
        *labelled("Practical lift", f"{number(found['practical_lift_ft'], 1)} ft{beyond}"),
        *labelled("Net pressure", f"discharge and {number(found['correction_psi'], 1)} psi for the lift"),
    ]


def _hydrant_words(asked: DraftAsked, found: Mapping[str, float]) -> list[str]:
    limit = f"{number(found['head_limit_ft'], 1)} ft"
    gpm = supply(found["dry_hydrant_gpm"])
    lines = labelled("Dry hydrant", f"{gpm} gpm where lift, intake and pipe take {limit} of head")
    if asked.flow is not None:
        over = "" if found["head_ft"] <= found["head_limit_ft"] else ": too much"
        lines += labelled(
            f"At {number(asked.flow)} gpm",
            f"lift {number(asked.lift, 1)} + intake {number(found['intake_ft'], 1)} + pipe "
            f"{number(found['pipe_ft'], 1)} = {number(found['head_ft'], 1)} ft of head{over}",
        )
    return lines


def _draft_used() -> list[str]:
    shares = ", ".join(f"{100 * share:.0f} % at {lift:g} ft" for lift, share, _ in water.DRAFT[1:])
    return wrap(
        f"Used: share of a pump's rating {shares} (published pump operator's text, in part from memory, unverified); "
        "14.7 psi less 0.5 for each 1,000 ft, counted as so much more lift; losses of a dry hydrant from a published "
        "design sheet. A tested flow counts more than any of it.",
        LINE_LETTERS,
    )


# --------------------------------------------------------------------------- transfer


@dataclass(frozen=True, slots=True, kw_only=True)
class TransferAsked:
    """The options of `transfer`."""

    flow: Annotated[float, typer.Option(metavar="GPM", help="Flow to move from tank to tank.")]
    draft: Annotated[float, typer.Option(metavar="GPM", help="What the drafting engine draws in all.")] = (
        _RULES.strainer_gpm
    )
    moves: Annotated[float, typer.Option(metavar="GPM", help="Moved by one transfer device.")] = _RULES.transfer_gpm
    drive: Annotated[float, typer.Option(metavar="GPM", help="Drive water of one device: 125 to 250.")] = (
        water.TRANSFER_DRIVE_GPM
    )
    json: Annotated[bool, switch("--json", "Print JSON, unrounded.")] = False


def transfer(asked: TransferAsked) -> str:
    """Work out a transfer between portable tanks: devices, drive water, and what is left of the pump.

    Drive water goes round, out of the tank and back into it: it costs pump capacity, no water.
    """
    must_be({"--flow": asked.flow, "--draft": asked.draft, "--moves": asked.moves}, above=0)
    must_be({"--drive": asked.drive}, least=0)
    devices = float(water.transfer_devices(asked.flow, asked.moves))
    pump_gpm = float(water.transfer_pump_gpm(asked.flow, devices, drive_gpm=asked.drive))
    left = float(water.transfer_flow_gpm(asked.draft, devices, moves_gpm=asked.moves, drive_gpm=asked.drive))
    enough = pump_gpm <= asked.draft
    if asked.json:
        return as_json({"devices": devices, "pump_gpm": pump_gpm, "flow_gpm": min(left, asked.flow), "enough": enough})
    verdict = "enough" if enough else f"not enough: {supply(min(left, asked.flow))} gpm are left for the fire"
    return "\n".join(
        [
            *labelled("Devices", f"{number(devices)} that move {asked.moves:g} gpm each, for {need(asked.flow)} gpm"),
            *labelled("Drive water", f"{need(devices * asked.drive)} gpm, which goes round"),
            *labelled("Pump", f"{need(pump_gpm)} gpm in all; {supply(asked.draft)} gpm drafted are {verdict}"),
            *wrap(
                "Used: what a device moves and its drive water are common practice, no source; measure your own.",
                LINE_LETTERS,
            ),
            *cautions(),
        ]
    )
