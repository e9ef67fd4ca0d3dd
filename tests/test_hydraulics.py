"""Friction, lift and nozzles against published worked examples."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from preplan.water.hydraulics import (
    DRAFT,
    HOSE,
    appliance_psi,
    atmosphere_psi,
    draft_gpm,
    draft_share,
    elevation_psi,
    flow_at_loss_gpm,
    friction_psi,
    hose_coefficient,
    intake_loss_ft,
    lay_gpm,
    lay_psi,
    pipe_loss_ft,
    practical_lift_ft,
    smooth_bore_gpm,
    theoretical_lift_ft,
)


@pytest.mark.parametrize(
    ("gpm", "ft", "psi"),
    [(200, 100, 8.0), (100, 300, 6.0), (200, 400, 32.0)],
    ids=["W13", "W14", "W16"],
)
def test_published_friction_of_two_and_a_half_inch(gpm: float, ft: float, psi: float) -> None:
    """Published training deck of a fire department: 2.5 in hose, C = 2."""
    assert friction_psi(gpm, ft, hose_coefficient(2.5)) == pytest.approx(psi)


def test_published_smooth_bore() -> None:
    """1 in tip at 50 psi: 210 gpm (same deck, W15)."""
    assert smooth_bore_gpm(1, 50) == pytest.approx(210.0, abs=0.05)


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
    assert draft_gpm(1500, 15, strainer_gpm=1000, strainers=2) == pytest.approx(1050)
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
