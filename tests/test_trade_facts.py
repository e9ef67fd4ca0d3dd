"""Facts of the trade as check values: common practice, no source, unless a line names one."""

from __future__ import annotations

import numpy as np
import pytest

from preplan.rules import ApparatusRules, RequiredFlowRules, ShuttleRules
from preplan.units import FT_PER_PSI, LB_PER_GAL
from preplan.water.hydraulics import draft_gpm, flow_at_loss_gpm, hose_coefficient, lay_gpm
from preplan.water.required_flow import given
from preplan.water.shuttle import Handling, Tankers, handling, storage_gpm, sustained

RULES = ShuttleRules()


def one_tanker(tank_gal: float, fraction: float, dump_gpm: float = 1000.0) -> Tankers:
    return Tankers(
        tank_gal=np.array([tank_gal]), usable_fraction=np.array([fraction]), dump_gpm=np.array([dump_gpm]),
        intake_gpm=np.array([1000.0]), self_fill_gpm=np.array([np.nan]),
    )  # fmt: skip


def test_gravity_dump() -> None:
    """A gravity dump gives about 1,000 gpm: a 3,000 gal tanker is at 90 % in about 2.7 min."""
    own = handling(one_tanker(3000, RULES.usable_fraction, RULES.small_dump_gpm), 500.0, RULES)
    assert own.dump_hold_min[0] - RULES.dump_hookup_min == pytest.approx(2.7)


def test_waiting_for_the_last_tenth_lowers_the_flow_where_others_queue() -> None:
    """A tanker is waved off about 90 % empty: the last tenth runs at a fifth of the rate and holds the place."""
    n, slow_gpm = 8, 200.0
    waved = Handling(np.full(n, 2700.0), np.full(n, 2.0), np.full(n, 0.5 + 2.7), 2.5)
    waited = Handling(np.full(n, 3000.0), np.full(n, 2.0), np.full(n, 0.5 + 2.7 + 300 / slow_gpm), 2.5)
    flows = [
        float(sustained(8.0, own, np.ones(n, dtype=bool), positions=1, site_gpm=2000.0, dump_places=1).sustained_gpm)
        for own in (waved, waited)
    ]
    assert flows[0] > flows[1] * 1.2


def test_hand_lines() -> None:
    """3,000 gal last two hand lines up to about 8 min, about 375 gpm: two attack flows of the default, and a bit."""
    gpm = float(storage_gpm(3000.0, 0.0, 8.0))
    assert gpm == pytest.approx(375)
    assert 2 * RULES.attack_gpm < gpm < 3 * RULES.attack_gpm


def test_portable_tank() -> None:
    """2,500 gal in a portable tank of 9 x 15 ft stand 29.7 in deep: weight and pressure of water agree with it."""
    psi = 2500 * LB_PER_GAL / (9 * 12 * 15 * 12)
    assert psi * FT_PER_PSI * 12 == pytest.approx(29.7, abs=0.1)
    # what a slope takes and the strainer cannot reach stay out of the count; a published lot left 57 %
    assert 0.57 < RULES.tank_room_fraction - RULES.dead_water_fraction < 1.0


def test_booster_tanks() -> None:
    """Engines carry 750 to 1,000 gal: the default is not above the smaller one."""
    assert ApparatusRules().engine_tank_gal <= 750


def test_a_long_drill() -> None:
    """57,295 gal in 94 min are 609.5 gpm: a total and a rate give the time back."""
    rules = RequiredFlowRules(method="given", required_min="method")
    need = given(np.array([609.5]), np.array([57295.0]), rules)
    assert need.required_min[0] == pytest.approx(94.0, abs=0.01)


def test_three_inch_supply_line() -> None:
    """A short 3 in supply line from the dump site carries over 800 gpm; 5 in carries most of any shuttle."""
    lay_ft = 100 + RULES.stand_off_ft
    rest = {"pump_psi": RULES.supply_psi, "residual_psi": RULES.supply_residual_psi}
    assert lay_gpm(lay_ft, 3.0, **rest) > 800
    assert lay_gpm(1000, 5.0, **rest) > 1000
    assert lay_gpm(1000, 3.0, **rest) < 500


def test_transfer_line() -> None:
    """About 1,000 gpm at 75 psi through a 2 in line, drive water 125 to 250 gpm: the default is the careful half."""
    drive_gpm = flow_at_loss_gpm(75.0, 50.0, hose_coefficient(2.0))
    assert 125 <= float(drive_gpm) <= 500
    assert RULES.transfer_gpm <= 1000


def test_stand_off() -> None:
    """The dump-site engine stands 50 to 100 ft from the hose junction."""
    assert 50 <= RULES.stand_off_ft <= 100


def test_one_strainer() -> None:
    """A 1,500 gpm pump on one low-level strainer drafts 1,000 gpm."""
    assert draft_gpm(1500, 3, strainer_gpm=RULES.strainer_gpm) == 1000
