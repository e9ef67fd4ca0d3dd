"""Water in hose, pipe, pump and draft: friction, flow of a lay, lift, transfer. Arrays in, arrays out.

Coefficients differ by source; they stand here as data, each with where it comes from. Where sources
contradict each other the careful one (more loss) is the default.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from preplan.records import FloatArray
from preplan.rules import MEMORY, OURS
from preplan.units import FT_PER_PSI

Numbers = FloatArray | float
"""A number or an array of numbers."""

_DECK = "fire department training deck, published"


@dataclass(frozen=True, slots=True)
class HoseRow:
    """Friction coefficient of one hose size in FL = C (gpm / 100)^2 (ft / 100)."""

    hose_in: float
    coefficient: float
    source: str
    careful: bool = True
    """False where another source gives this size more loss."""


HOSE = (
    HoseRow(1.0, 150.0, _DECK),
    HoseRow(1.5, 24.0, _DECK),
    HoseRow(1.75, 15.5, MEMORY + "; agrees with a published department rule, 35 psi at 150 gpm"),
    HoseRow(1.75, 10.0, _DECK, careful=False),
    HoseRow(2.0, 8.0, MEMORY),
    HoseRow(2.5, 2.0, _DECK),
    HoseRow(3.0, 0.8, _DECK),
    HoseRow(3.0, 0.677, "with 3 in couplings, " + MEMORY, careful=False),
    HoseRow(3.5, 0.34, MEMORY),
    HoseRow(4.0, 0.2, _DECK),
    HoseRow(4.5, 0.1, _DECK),
    HoseRow(5.0, 0.08, _DECK),
    HoseRow(6.0, 0.05, MEMORY),
)
"""Hose coefficients by diameter."""


@dataclass(frozen=True, slots=True)
class Lay:
    """One or more equal lines of hose side by side."""

    name: str
    hose_in: float
    lines: int = 1


LAYS = (Lay("3 in", 3.0), Lay("2 x 3 in", 3.0, 2), Lay("4 in", 4.0), Lay("5 in", 5.0))
"""The usual supply lays, from the one that carries least."""

END_PSI = (
    (20.0, "intake of a pump", "20 psi residual, ISO"),
    (50.0, "solid hand line", "published pump operator's text"),
    (80.0, "solid master stream", "published pump operator's text"),
    (100.0, "fog nozzle", "published pump operator's text"),
)
"""Pressure wanted at the end of a lay, where, source."""

PUMP = (
    (0.0, 1.0, "below its rating pressure a pump is not counted on for more than its rating: " + OURS),
    (150.0, 1.0, "rating pressure, " + MEMORY),
    (200.0, 0.70, "second rating point, " + MEMORY),
    (250.0, 0.50, "third rating point, " + MEMORY),
    (300.0, 0.0, "not counted on beyond the last rating point: " + OURS),
)
"""Net pump pressure in psi, share of the pump's rating, source."""

DRAFT = (
    (0.0, 1.0, "rated at draft"),
    (10.0, 1.0, "rating lift, " + MEMORY),
    (15.0, 0.70, "published pump operator's text: about 70 %"),
    (20.0, 0.60, "published pump operator's text: about 60 %"),
    (22.4, 0.0, "greatest practical lift, 2/3 of theory (water handling tables); nothing beyond it: " + OURS),
)
"""Lift in ft, share of the pump's rating, source."""

SEA_LEVEL_PSI = 14.7
"""Atmosphere at sea level (water handling tables)."""
PSI_PER_1000_FT = 0.5
"""Atmosphere lost in 1,000 ft of altitude (water handling tables)."""
PRACTICAL_LIFT_SHARE = 2.0 / 3.0
"""Share of the theoretical lift that a pump in use attains (water handling tables)."""
MANNING_N = 0.010
"""Roughness at which Manning's equation gives the pipe losses published for dry hydrants."""
INTAKE_FT_AT_500_GPM = 4.8
"""Head lost in strainer, intake and standpipe of a dry hydrant (published design sheet); grows with Q^2."""
APPLIANCE_PSI = 10.0
"""Lost in an appliance at 350 gpm and above, none below (published pump operator's text)."""
APPLIANCE_GPM = 350.0
"""See `APPLIANCE_PSI`."""
JUST_UNDER_GPM = APPLIANCE_GPM - 0.01
"""Most that a lay is said to carry where appliances may take nothing: prints as 349 (this program's choice)."""
MASTER_PSI = 25.0
"""Lost in a master stream device at any flow (published pump operator's text)."""
SUPPLY_HOSE_PSI = 185.0
"""Highest working pressure of large supply hose (published trade article)."""
DRY_HYDRANT_HEAD_FT = 20.0
"""Most that lift, intake and pipe of a dry hydrant may take together; 22 is the hydraulic limit (design sheet)."""
FT_PER_PSI_DRAFT = 2.3
"""Divisor of the published pressure correction at draft: (lift + intake friction) / 2.3."""
TRANSFER_DRIVE_GPM = 250.0
"""Drive water of one transfer device: 125 to 250 gpm (common practice, no source); the careful end."""
_CUBIC_IN_PER_GAL = 231.0
_CUBIC_FT_PER_SECOND = 1.0 / 448.831  # of one gpm: 231 in^3 a gallon, 1,728 in^3 a cubic foot, 60 s
_MANNING_US = 1.486  # Manning's equation in feet and seconds
_INCHES_PER_FT = 12.0


def hose_coefficient(hose_in: Numbers) -> FloatArray:
    """Look up the careful friction coefficient of hose diameters (...,) in inches.

    A size that is not in the table counts as the next smaller one, which has more loss.

    Raises
    ------
    ValueError
        Where a diameter is below the smallest in the table, or not a number.

    >>> hose_coefficient(3.0).item(), hose_coefficient(4.2).item()
    (0.8, 0.2)
    """
    rows = [row for row in HOSE if row.careful]
    known = np.array([row.hose_in for row in rows])
    asked = np.asarray(hose_in, dtype=np.float64)
    if not np.all(asked >= known[0]):
        raise ValueError(f"hose of {hose_in!r} in: must be at least {known[0]:g} in, the smallest in the table")
    at = np.searchsorted(known, asked + 1e-9, side="right") - 1
    coefficients = np.array([row.coefficient for row in rows])
    return np.asarray(coefficients[at])


def friction_psi(flow_gpm: Numbers, length_ft: Numbers, coefficient: Numbers) -> FloatArray:
    """Give the friction loss in psi of hose: FL = C (Q / 100)^2 (L / 100).

    >>> friction_psi(200, 100, 2).item()
    8.0
    """
    flow, length = np.asarray(flow_gpm, dtype=np.float64), np.asarray(length_ft, dtype=np.float64)
    return np.asarray(coefficient * (flow / 100.0) ** 2 * (length / 100.0))


def flow_at_loss_gpm(loss_psi: Numbers, length_ft: Numbers, coefficient: Numbers) -> FloatArray:
    """Give the flow in gpm at which hose loses a pressure: Q = 100 sqrt(FL / (C L / 100)).

    Nothing flows without pressure to lose; no length, no limit (inf).

    >>> flow_at_loss_gpm(8, 100, 2).item()
    200.0
    """
    loss = np.maximum(np.asarray(loss_psi, dtype=np.float64), 0.0)
    resistance = np.asarray(coefficient, dtype=np.float64) * np.asarray(length_ft, dtype=np.float64) / 100.0
    loss, resistance = np.broadcast_arrays(loss, resistance)
    with np.errstate(divide="ignore", invalid="ignore"):
        flow = 100.0 * np.sqrt(loss / resistance)
    return np.where(loss > 0, flow, 0.0)


def elevation_psi(rise_ft: Numbers) -> FloatArray:
    """Give the pressure in psi that a rise takes (a fall gives): 1 psi is 2.304 ft."""
    return np.asarray(np.asarray(rise_ft, dtype=np.float64) / FT_PER_PSI)


def appliance_psi(flow_gpm: Numbers) -> FloatArray:
    """Give the loss in psi of one appliance: none below 350 gpm, 10 psi from there."""
    return np.where(np.asarray(flow_gpm, dtype=np.float64) >= APPLIANCE_GPM, APPLIANCE_PSI, 0.0)


def lay_psi(
    flow_gpm: Numbers,
    length_ft: Numbers,
    hose_in: Numbers,
    *,
    lines: Numbers = 1,
    rise_ft: Numbers = 0.0,
    appliances: Numbers = 0,
    fixed_psi: Numbers = 0.0,
) -> FloatArray:
    """Give the pressure in psi that a lay of hose takes: friction, elevation, appliances.

    Parameters
    ----------
    flow_gpm, length_ft, hose_in
        Flow of the whole lay, its length, inside diameter; these and all others broadcast.
    lines
        Equal lines side by side: each carries its share of the flow.
    rise_ft
        From pump to end; a fall is negative.
    appliances
        Wyes, siamese, valves and the like on the way.
    fixed_psi
        Lost at any flow, such as `MASTER_PSI`.
    """
    each_gpm = np.asarray(flow_gpm, dtype=np.float64) / lines
    friction = friction_psi(each_gpm, length_ft, hose_coefficient(hose_in))
    return friction + elevation_psi(rise_ft) + appliances * appliance_psi(flow_gpm) + fixed_psi


def lay_gpm(
    length_ft: Numbers,
    hose_in: Numbers,
    *,
    pump_psi: Numbers,
    residual_psi: Numbers,
    lines: Numbers = 1,
    rise_ft: Numbers = 0.0,
    appliances: Numbers = 0,
    fixed_psi: Numbers = 0.0,
) -> FloatArray:
    """Give the flow in gpm of a lay between pump pressure and the pressure left at its end.

    Parameters as `lay_psi`. Where a flow passes only because appliances take nothing below 350 gpm, the answer is
    `JUST_UNDER_GPM` at most: at 350 they take more than is left.
    """
    left = np.asarray(pump_psi, dtype=np.float64) - residual_psi - elevation_psi(rise_ft) - fixed_psi
    coefficient = hose_coefficient(hose_in)
    freely = lines * flow_at_loss_gpm(left, length_ft, coefficient)
    held = lines * flow_at_loss_gpm(
        left - APPLIANCE_PSI * np.asarray(appliances, dtype=np.float64), length_ft, coefficient
    )
    return np.maximum(held, np.minimum(freely, JUST_UNDER_GPM))


def pump_psi(taken_psi: Numbers, end_psi: Numbers) -> FloatArray:
    """Give the pump discharge pressure in psi: what the end needs and what the lay takes; never below 0.

    PDP = NP + FL + appliances + elevation.

    >>> pump_psi(lay_psi(200, 400, 2.5), 50).item()
    82.0
    """
    return np.maximum(np.asarray(end_psi, dtype=np.float64) + taken_psi, 0.0)


def line_gal(length_ft: Numbers, hose_in: Numbers, *, lines: Numbers = 1) -> FloatArray:
    """Give the water in gal that fills a lay before any comes out: the volume of its bore.

    >>> round(line_gal(100, 1.5).item(), 1)
    9.2
    """
    bore = np.pi * np.asarray(hose_in, dtype=np.float64) ** 2 / 4.0
    return np.asarray(bore * _INCHES_PER_FT * length_ft * lines / _CUBIC_IN_PER_GAL)


def pump_share(net_psi: Numbers) -> FloatArray:
    """Give the share of its rating that a pump delivers at a net pressure: table `PUMP`, linear between.

    Net is discharge less intake; at draft, discharge and `draft_correction_psi`.

    >>> pump_share(np.array([100.0, 150.0, 200.0, 250.0])).tolist()
    [1.0, 1.0, 0.7, 0.5]
    """
    pressures, shares = [row[0] for row in PUMP], [row[1] for row in PUMP]
    return np.asarray(np.interp(np.asarray(net_psi, dtype=np.float64), pressures, shares))


def draft_share(lift_ft: Numbers, altitude_ft: Numbers = 0.0) -> FloatArray:
    """Give the share of its rating that a pump delivers at a lift: table `DRAFT`, linear between.

    What the atmosphere loses with altitude counts as so much more lift, since it takes as much from what is left to
    bring water into the pump.

    >>> draft_share(np.array([5.0, 12.5, 20.0])).tolist()
    [1.0, 0.85, 0.6]
    """
    lifts, shares = [row[0] for row in DRAFT], [row[1] for row in DRAFT]
    lost_ft = theoretical_lift_ft() - theoretical_lift_ft(altitude_ft)
    return np.asarray(np.interp(np.asarray(lift_ft, dtype=np.float64) + lost_ft, lifts, shares))


def lift_of_nothing_ft(altitude_ft: Numbers = 0.0) -> FloatArray:
    """Give the lift in ft from which on `draft_share` counts on nothing, at least 0.

    At altitude it is less than the practical lift, since all that the atmosphere loses is taken from it.
    """
    lost_ft = theoretical_lift_ft() - theoretical_lift_ft(altitude_ft)
    return np.maximum(DRAFT[-1][0] - lost_ft, 0.0)


def draft_gpm(pump_gpm: Numbers, lift_ft: Numbers, *, strainer_gpm: Numbers) -> FloatArray:
    """Give what a pump drafts at sea level: its rating by lift, at most what its strainer passes."""
    return np.minimum(np.asarray(pump_gpm, dtype=np.float64) * draft_share(lift_ft), strainer_gpm)


def draft_correction_psi(lift_ft: Numbers) -> FloatArray:
    """Give what lift, or intake friction in ft, adds to the net pump pressure at draft: ft / 2.3."""
    return np.asarray(np.asarray(lift_ft, dtype=np.float64) / FT_PER_PSI_DRAFT)


def atmosphere_psi(altitude_ft: Numbers) -> FloatArray:
    """Give the atmosphere in psi: 14.7 less 0.5 for each 1,000 ft."""
    return np.asarray(SEA_LEVEL_PSI - PSI_PER_1000_FT * np.asarray(altitude_ft, dtype=np.float64) / 1000.0)


def theoretical_lift_ft(altitude_ft: Numbers = 0.0) -> FloatArray:
    """Give the height in ft to which the atmosphere presses water."""
    return atmosphere_psi(altitude_ft) * FT_PER_PSI


def practical_lift_ft(altitude_ft: Numbers = 0.0) -> FloatArray:
    """Give the lift in ft that a pump in use attains: two thirds of theory."""
    return theoretical_lift_ft(altitude_ft) * PRACTICAL_LIFT_SHARE


def pipe_loss_ft(flow_gpm: Numbers, length_ft: Numbers, pipe_in: Numbers) -> FloatArray:
    """Give the head in ft lost in the pipe of a dry hydrant, flowing full (Manning, n = 0.010)."""
    bore_ft = np.asarray(pipe_in, dtype=np.float64) / _INCHES_PER_FT
    area_sqft, radius_ft = np.pi * bore_ft**2 / 4.0, bore_ft / 4.0
    flow = np.asarray(flow_gpm, dtype=np.float64) * _CUBIC_FT_PER_SECOND
    slope = (flow * MANNING_N / (_MANNING_US * area_sqft * radius_ft ** (2.0 / 3.0))) ** 2
    return np.asarray(slope * length_ft)


def intake_loss_ft(flow_gpm: Numbers) -> FloatArray:
    """Give the head in ft lost in strainer, intake and standpipe of a dry hydrant: grows with Q^2."""
    share = np.asarray(flow_gpm, dtype=np.float64) / 500.0
    return np.asarray(INTAKE_FT_AT_500_GPM * share**2)


def dry_hydrant_gpm(
    lift_ft: Numbers, length_ft: Numbers, pipe_in: Numbers, *, head_ft: Numbers = DRY_HYDRANT_HEAD_FT
) -> FloatArray:
    """Give the flow at which lift, intake and pipe of a dry hydrant together take a head in ft; 0: lift alone does.

    Both losses grow with Q^2, so one flow gives all.
    """
    left_ft = np.maximum(np.asarray(head_ft, dtype=np.float64) - lift_ft, 0.0)
    return np.asarray(100.0 * np.sqrt(left_ft / (pipe_loss_ft(100.0, length_ft, pipe_in) + intake_loss_ft(100.0))))


# --------------------------------------------------------------------------- between portable tanks


def transfer_devices(flow_gpm: Numbers, moves_gpm: Numbers) -> FloatArray:
    """Give how many transfer devices move a flow from tank to tank, whole."""
    return np.asarray(np.ceil(np.asarray(flow_gpm, dtype=np.float64) / moves_gpm - 1e-9))


def transfer_pump_gpm(flow_gpm: Numbers, devices: Numbers, *, drive_gpm: Numbers = TRANSFER_DRIVE_GPM) -> FloatArray:
    """Give what the drafting pump must deliver while transfer devices run, in gpm.

    Their drive water goes round, out of the tank and back into it: it costs pump capacity, no water.
    """
    return np.asarray(np.asarray(flow_gpm, dtype=np.float64) + devices * np.asarray(drive_gpm, dtype=np.float64))


def transfer_flow_gpm(
    draft_gpm: Numbers, devices: Numbers, *, moves_gpm: Numbers, drive_gpm: Numbers = TRANSFER_DRIVE_GPM
) -> FloatArray:
    """Give the flow left for the fire of what a pump drafts while transfer devices run, at most what they move.

    Water that is dumped straight into the drafting tank needs no device and comes on top of what they move.
    """
    left = np.maximum(np.asarray(draft_gpm, dtype=np.float64) - devices * np.asarray(drive_gpm, dtype=np.float64), 0.0)
    return np.minimum(left, devices * np.asarray(moves_gpm, dtype=np.float64))
