"""Friction and lift against published worked examples."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from preplan.water.hydraulics import (
    DRAFT,
    DRY_HYDRANT_HEAD_FT,
    END_PSI,
    HOSE,
    LAYS,
    MASTER_PSI,
    PUMP,
    SUPPLY_HOSE_PSI,
    appliance_psi,
    atmosphere_psi,
    draft_correction_psi,
    draft_gpm,
    draft_share,
    dry_hydrant_gpm,
    elevation_psi,
    flow_at_loss_gpm,
    friction_psi,
    hose_coefficient,
    intake_loss_ft,
    lay_gpm,
    lay_psi,
    lift_of_nothing_ft,
    line_gal,
    pipe_loss_ft,
    practical_lift_ft,
    pump_psi,
    pump_share,
    theoretical_lift_ft,
    transfer_devices,
    transfer_flow_gpm,
    transfer_pump_gpm,
)


@pytest.mark.parametrize(
    ("gpm", "ft", "psi"),
    [(200, 100, 8.0), (100, 300, 6.0), (200, 400, 32.0)],
    ids=["W13", "W14", "W16"],
)
def test_published_friction_of_two_and_a_half_inch(gpm: float, ft: float, psi: float) -> None:
    """Published training deck of a fire department: 2.5 in hose, C = 2."""
    assert friction_psi(gpm, ft, hose_coefficient(2.5)) == pytest.approx(psi)


def test_published_lift() -> None:
    """14.7 psi lift 33.9 ft, two thirds of it 22.5 ft (water handling guidelines, W18; its rounding is off)."""
    assert theoretical_lift_ft() == pytest.approx(33.9, abs=0.05)
    assert practical_lift_ft() == pytest.approx(22.5, abs=0.15)


def test_published_atmosphere() -> None:
    """At 4,226 ft (the city's elevation is from memory) 12.6 psi (published flash card, W19)."""
    assert atmosphere_psi(4226) == pytest.approx(12.6, abs=0.05)


NRCS_FT_PER_100 = {
    6: (0.5852, 2.3408, 5.267),
    8: (0.1257, 0.5027, 1.131),
    10: (0.0382, 0.1530, 0.344),
    12: (0.0145, 0.0578, 0.130),
}
"""Published design sheet for dry hydrants (NE-ENG-76): ft of head per 100 ft at 250, 500 and 750 gpm."""


@pytest.mark.parametrize("pipe_in", NRCS_FT_PER_100)
def test_published_pipe_losses(pipe_in: int) -> None:
    """The published losses grow with Q^2 (W23) and are Manning's with n = 0.010, within 0.6 % and its digits."""
    published = NRCS_FT_PER_100[pipe_in]
    assert published[1] / published[0] == pytest.approx(4.0, rel=0.004)
    assert published[2] / published[0] == pytest.approx(9.0, rel=0.004)
    ours = pipe_loss_ft(np.array([250.0, 500.0, 750.0]), 100.0, pipe_in)
    assert ours == pytest.approx(published, rel=0.006)


def test_published_intake_losses() -> None:
    """1.2, 4.8 and 10.8 ft at 250, 500 and 750 gpm (same sheet)."""
    assert intake_loss_ft(np.array([250.0, 500.0, 750.0])) == pytest.approx([1.2, 4.8, 10.8])


def test_draft_by_lift() -> None:
    """Full to 10 ft, about 70 % at 15, about 60 % at 20 (published pump operator's text), straight between."""
    assert draft_share(np.array([0.0, 10, 12.5, 15, 17.5, 20, 25])) == pytest.approx([1, 1, 0.85, 0.7, 0.65, 0.6, 0])
    assert draft_gpm(1500, 15, strainer_gpm=1000) == pytest.approx(1000)
    assert draft_gpm(1500, 15, strainer_gpm=2000) == pytest.approx(1050)
    assert draft_gpm(1000, np.array([5.0, 20.0]), strainer_gpm=1000) == pytest.approx([1000, 600])


@given(st.floats(1, 2000), st.floats(1, 5000), st.sampled_from([1.0, 1.75, 2.5, 3.0, 4.0, 5.0]), st.floats(-50, 50))
def test_flow_and_loss_are_inverse(gpm: float, ft: float, hose_in: float, rise_ft: float) -> None:
    """The pressure that a lay takes at a flow gives that flow back, uphill and down."""
    psi = float(lay_psi(gpm, ft, hose_in, rise_ft=rise_ft))
    back = lay_gpm(ft, hose_in, pump_psi=psi + 20, residual_psi=20, rise_ft=rise_ft)
    assert float(back) == pytest.approx(gpm, rel=1e-4, abs=1e-3)


def test_nothing_to_lose_and_nothing_to_cross() -> None:
    """Without pressure nothing flows; without length nothing limits."""
    assert flow_at_loss_gpm(np.array([0.0, -10.0, 10.0]), np.array([100.0, 100, 0]), 0.8).tolist() == [0, 0, np.inf]
    assert lay_gpm(500, 3, pump_psi=50, residual_psi=20, rise_ft=100) == 0.0
    assert flow_at_loss_gpm(0.0, 0.0, 0.8) == 0.0


def test_careful_coefficients() -> None:
    """Where sources differ the larger loss counts; an odd size counts as the next smaller hose."""
    for row in HOSE:
        assert float(hose_coefficient(row.hose_in)) >= row.coefficient
    assert hose_coefficient(np.array([1.75, 2.9, 3.0, 7.0])).tolist() == [15.5, 2.0, 0.8, 0.05]
    for bad in (0.5, float("nan")):
        with pytest.raises(ValueError, match="at least 1 in"):
            hose_coefficient(bad)


def test_department_rule_agrees_with_the_careful_coefficient() -> None:
    """A department's own rule, gpm x 3/10 - 10 psi per 100 ft of 1.75 in, is 35 psi at 150 gpm (published card)."""
    assert friction_psi(150, 100, hose_coefficient(1.75)) == pytest.approx(150 * 3 / 10 - 10, abs=0.2)


def test_elevation_and_appliances() -> None:
    """1 psi is 2.304 ft, so 0.434 psi a foot; 10 psi in an appliance from 350 gpm (published texts)."""
    assert elevation_psi(100) == pytest.approx(43.4, abs=0.05)
    assert appliance_psi(np.array([349.0, 350.0])).tolist() == [0.0, 10.0]


def test_tables_name_their_sources() -> None:
    """Every row of data says where it comes from."""
    assert all(row.source for row in HOSE)
    assert all(source for _, _, source in DRAFT)
    assert all(row[-1] for row in (*END_PSI, *PUMP))


# ------------------------------------------------------------------ pump, lays, filling, draft, transfer


def test_published_pump_pressure() -> None:
    """PDP of 150 ft of 1.75 in at 150 gpm and 50 psi: 102.5 psi (published card, W26).

    That department's own friction rule is 35 psi per 100 ft there; the coefficient in use gives 34.9.
    """
    assert pump_psi(lay_psi(150, 150, 1.75), 50) == pytest.approx(102.5, abs=0.3)


def test_published_friction_of_three_inch() -> None:
    """600 gpm in 3 in hose: 29.9 psi per 100 ft in an insurers' table, "0.4 x 2.5 in" in a published article.

    The article's own 2.5 in rule, 2 Q^2 + Q, gives 78 psi there where the coefficient gives 72: older rubber-lined
    hose lost more, so both are held within 8 %.
    """
    assert friction_psi(600, 100, hose_coefficient(3.0)) == pytest.approx(29.9, rel=0.08)
    assert friction_psi(600, 100, hose_coefficient(2.5)) == pytest.approx(78.0, rel=0.08)
    assert hose_coefficient(3.0) / hose_coefficient(2.5) == pytest.approx(0.4)
    assert hose_coefficient(3.5) / hose_coefficient(2.5) == pytest.approx(0.17)


def test_published_water_in_hose() -> None:
    """100 ft of 1 in hold 942 cubic inches, 4 gal; 100 ft of 1.5 in 9.2 gal (water handling guide, 3.2)."""
    assert line_gal(100, 1.0) * 231.0 == pytest.approx(942, abs=0.6)
    assert round(float(line_gal(100, 1.0))) == 4
    assert line_gal(100, 1.5) == pytest.approx(9.2, abs=0.05)
    assert line_gal(600, 1.5) == pytest.approx(6 * 9.2, abs=0.2)
    assert line_gal(300, 3.0, lines=2) == pytest.approx(2 * line_gal(300, 3.0))


def test_published_flow_tests_are_within_what_a_lay_can_carry() -> None:
    """Between two pumpers: 1,305 gpm through 300 ft of 4 in (at most 275 psi), 1,440 through 500 ft of 5 in (185).

    Both tests ended when the hydrant gave no more (published flow tests), so each is a lower bound of the lay.
    """
    assert lay_gpm(300, 4.0, pump_psi=275, residual_psi=0) > 1305
    assert lay_gpm(500, 5.0, pump_psi=SUPPLY_HOSE_PSI, residual_psi=0) > 1440
    assert lay_gpm(300, 4.0, pump_psi=275, residual_psi=0, lines=2) > 2371


def test_pump_pressure_adds_up() -> None:
    """End, friction, appliances, device and rise, each in turn; a long fall never asks for less than nothing."""
    friction = float(friction_psi(500, 600, 0.8))
    assert lay_psi(500, 600, 3.0) == pytest.approx(friction)
    assert lay_psi(500, 600, 3.0, appliances=2) == pytest.approx(friction + 20)
    assert lay_psi(340, 600, 3.0, appliances=2) == pytest.approx(float(lay_psi(340, 600, 3.0)))
    assert lay_psi(500, 600, 3.0, fixed_psi=MASTER_PSI) == pytest.approx(friction + 25)
    assert lay_psi(500, 600, 3.0, rise_ft=23.04) == pytest.approx(friction + 10)
    assert pump_psi(lay_psi(100, 100, 5.0, rise_ft=-500), 20) == 0.0


def test_equal_lines_share_the_flow() -> None:
    """Two lines lose a quarter of what one loses; two 3 in lines equal one 4 in, whose coefficient is a quarter."""
    assert lay_psi(500, 600, 3.0, lines=2) == pytest.approx(lay_psi(500, 600, 3.0) / 4)
    rest = {"pump_psi": 150.0, "residual_psi": 20.0}
    assert lay_gpm(600, 3.0, lines=2, **rest) == pytest.approx(2 * lay_gpm(600, 3.0, **rest))
    flows = [float(lay_gpm(600, lay.hose_in, lines=lay.lines, **rest)) for lay in LAYS]
    assert flows == sorted(flows)
    assert flows[1] == pytest.approx(flows[2])


def test_a_lay_does_not_carry_the_flow_at_which_appliances_take_too_much() -> None:
    """450 ft of 2.5 in, two appliances, 130 psi: 350 gpm lose 110.25 + 20, a little less 110 and no more."""
    found = lay_gpm(450, 2.5, pump_psi=np.array([150.0, 150.25, 160.0]), residual_psi=20, appliances=2)
    assert found == pytest.approx([349.99, 350, 100 * (120 / 9) ** 0.5])
    assert np.all(lay_psi(found, 450, 2.5, appliances=2) <= np.array([130, 130.25, 140]) + 1e-9)
    assert np.all(np.diff(lay_gpm(450, 2.5, pump_psi=np.linspace(21, 200, 5000), residual_psi=20, appliances=2)) >= 0)


@given(
    st.floats(1, 3000), st.floats(10, 5000), st.sampled_from([2.5, 3.0, 4.0, 5.0]), st.integers(1, 3),
    st.integers(0, 4), st.floats(-80, 80),
)  # fmt: skip
def test_a_lay_carries_what_it_is_pumped_for(
    gpm: float, ft: float, hose_in: float, lines: int, appliances: int, rise_ft: float
) -> None:
    """The flow found at the pressure that a flow takes is that flow, but at the step of 350 gpm never less."""
    rest = {"lines": lines, "appliances": appliances, "rise_ft": rise_ft}
    psi = float(lay_psi(gpm, ft, hose_in, **rest))
    found = float(lay_gpm(ft, hose_in, pump_psi=psi + 20, residual_psi=20, **rest))
    assert float(lay_psi(found, ft, hose_in, **rest)) <= psi + 1e-6 * (1 + abs(psi))
    if gpm >= 350 or appliances == 0:
        assert found == pytest.approx(gpm, rel=1e-4, abs=1e-2)
    else:
        assert gpm * (1 - 1e-4) - 1e-2 <= found <= max(gpm * (1 + 1e-4) + 1e-2, 350)


def test_pump_rating_points() -> None:
    """Full at 150 psi, 70 % at 200, half at 250 (from memory, unverified); straight between, nothing beyond 300."""
    assert pump_share(np.array([0.0, 150, 175, 200, 250, 300, 400])) == pytest.approx([1, 1, 0.85, 0.7, 0.5, 0, 0])


def test_draft_by_altitude() -> None:
    """Each 1,000 ft takes 0.5 psi, which counts as 1.15 ft of lift: never more water than at the sea."""
    lifts = np.linspace(0, 25, 51)
    shares = [draft_share(lifts, altitude) for altitude in (0.0, 2000.0, 5000.0, 10000.0)]
    assert all(np.all(high <= low) for low, high in pairwise(shares))
    assert draft_share(10.0, 1000.0) == pytest.approx(1.0 - 0.3 * 1.152 / 5.0)
    assert float(draft_share(float(practical_lift_ft(8000)), 8000.0)) <= 0.05
    for altitude in (0.0, 4000.0, 9000.0):
        last_ft = float(lift_of_nothing_ft(altitude))
        assert float(draft_share(last_ft, altitude)) == pytest.approx(0.0, abs=1e-9)
        assert float(draft_share(last_ft - 0.1, altitude)) > 0.0


def test_published_pressure_correction() -> None:
    """PC = (lift + intake friction) / 2.3 (published pump operator's card): 10 ft and 13 ft of friction are 10 psi."""
    assert draft_correction_psi(10.0 + 13.0) == pytest.approx(10.0)
    assert draft_correction_psi(23.0) == pytest.approx(elevation_psi(23.0), rel=0.002)


def test_dry_hydrant_flow_takes_the_head_it_may() -> None:
    """At the flow found, lift, intake and pipe add up to 20 ft; the design sheet's 8 in beats its 6 in."""
    gpm = dry_hydrant_gpm(np.array([0.0, 8.0, 15.0]), 60.0, np.array([6.0, 6.0, 8.0]))
    head = np.array([0.0, 8.0, 15.0]) + intake_loss_ft(gpm) + pipe_loss_ft(gpm, 60.0, np.array([6.0, 6.0, 8.0]))
    assert head == pytest.approx(DRY_HYDRANT_HEAD_FT)
    assert dry_hydrant_gpm(8.0, 60.0, 8.0) > dry_hydrant_gpm(8.0, 60.0, 6.0)
    assert dry_hydrant_gpm(25.0, 60.0, 6.0) == 0.0


def test_transfer_costs_pump_not_water() -> None:
    """Drive water goes round: 750 gpm by two devices ask 1,250 of the pump; 1,000 drafted leave 500."""
    assert transfer_devices(np.array([500.0, 501.0, 750.0]), 500.0).tolist() == [1, 2, 2]
    assert transfer_pump_gpm(750, 2, drive_gpm=250) == 1250
    assert transfer_flow_gpm(1000, 2, moves_gpm=500, drive_gpm=250) == 500
    assert transfer_flow_gpm(2000, 1, moves_gpm=500, drive_gpm=250) == 500
    assert transfer_flow_gpm(200, 1, moves_gpm=500, drive_gpm=250) == 0
