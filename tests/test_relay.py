"""Relays: spacing, flow, choice, and where hose beats wheels."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from typer.testing import CliRunner

from preplan.cli import app
from preplan.water.hydraulics import friction_psi, hose_coefficient, lay_psi, line_gal
from preplan.water.relay import CONNECT_MIN, LAY_FT_PER_MIN, Pumps, beats, best_relay, farthest_ft, relay_engines
from preplan.water.relay import relay_gpm as flow_of

PUMPS = Pumps(pump_psi=150.0, residual_psi=20.0, pump_gpm=1000.0)
OPEN = Pumps(pump_psi=150.0, residual_psi=20.0)


def test_spacing_is_the_trade_rule() -> None:
    """(PDP - 20) x 100 / FL per 100 ft (from memory, unverified): so far reaches one engine, a foot more takes two."""
    for gpm, hose_in in ((500.0, 3.0), (750.0, 4.0), (1000.0, 5.0)):
        per_100 = float(friction_psi(gpm, 100, hose_coefficient(hose_in)))
        reach_ft = (150 - 20) * 100 / per_100
        lengths = np.array([reach_ft, reach_ft + 1.0, 2 * reach_ft, 2 * reach_ft + 1.0])
        assert relay_engines(gpm, lengths, hose_in, OPEN).tolist() == [1, 2, 2, 3]


def test_a_rise_asks_for_engines_and_a_fall_for_none() -> None:
    """Level: 24 psi of 130. With 300 ft of rise 154 psi, two engines; downhill one."""
    assert relay_engines(500, 1200, 5.0, OPEN, rise_ft=np.array([0.0, 300.0, -300.0])).tolist() == [1, 2, 1]


def test_what_cannot_be_is_endless() -> None:
    """More than the pumps or the source give, or no pressure to lose: no number of engines."""
    assert np.isinf(relay_engines(1200, 500, 5.0, PUMPS))
    assert np.isinf(relay_engines(600, 500, 5.0, Pumps(pump_psi=150, residual_psi=20, source_gpm=500)))
    assert np.isinf(relay_engines(100, 500, 5.0, Pumps(pump_psi=20, residual_psi=20)))


@given(
    st.integers(1, 6), st.floats(100, 8000), st.sampled_from([3.0, 4.0, 5.0]), st.integers(1, 2), st.floats(-100, 100)
)
def test_engines_and_flow_agree(engines: int, ft: float, hose_in: float, lines: int, rise_ft: float) -> None:
    """So many engines carry a flow; that flow asks for no more engines than these."""
    gpm = float(flow_of(engines, ft, hose_in, OPEN, lines=lines, rise_ft=rise_ft))
    assume(gpm > 1.0)
    back = float(relay_engines(gpm * (1 - 1e-9), ft, hose_in, OPEN, lines=lines, rise_ft=rise_ft))
    assert back <= engines
    leg_psi = float(lay_psi(gpm, ft, hose_in, lines=lines, rise_ft=rise_ft)) / engines
    assert leg_psi <= 130 * (1 + 1e-6)
    more = float(flow_of(engines + 1, ft, hose_in, OPEN, lines=lines, rise_ft=rise_ft))
    assert more >= gpm


def test_higher_pressure_costs_capacity() -> None:
    """At 200 psi a 1,000 gpm pump gives 700 (from memory, unverified), however short the hose."""
    assert flow_of(1, 10.0, 5.0, Pumps(pump_psi=200, residual_psi=20, pump_gpm=1000)) == pytest.approx(700)


def test_the_fewest_engines_then_the_least_hose() -> None:
    """500 gpm of 4 in: 1,200 ft by one engine and line; 3,000 ft by one engine with two lines where there is hose."""
    found = best_relay(
        np.array([1200.0, 3000.0, 3000.0, 9000.0]), 4.0, np.array([9000.0, 9000.0, 5000.0, 5000.0]), PUMPS,
        engines=3, needed_gpm=500.0,
    )  # fmt: skip
    assert found.engines[:3].tolist() == [1, 1, 2]
    assert found.lines[:3].tolist() == [1, 2, 1]
    assert found.hose_ft[:3].tolist() == [1200, 6000, 3000]
    assert np.all(found.gpm[:3] >= 500)
    assert found.gpm[3] == 0
    assert np.isnan([found.engines[3], found.lines[3], found.hose_ft[3], found.fill_gal[3], found.ready_min[3]]).all()


def test_where_nothing_carries_it_the_most_is_told() -> None:
    """1,000 ft of 3 in carry 403 gpm by one engine; by three, and no second line, the most of all ways."""
    found = best_relay(1000.0, 3.0, 1500.0, PUMPS, engines=3, needed_gpm=900.0)
    assert float(found.gpm) == pytest.approx(float(flow_of(3, 1000.0, 3.0, PUMPS)))
    assert float(found.engines) == 3


def test_ready_counts_laying_connecting_and_filling() -> None:
    found = best_relay(1200.0, 4.0, 5000.0, PUMPS, engines=1, needed_gpm=100.0)
    minutes = 1200 / LAY_FT_PER_MIN + CONNECT_MIN + float(line_gal(1200, 4.0)) / float(found.gpm)
    assert float(found.ready_min) == pytest.approx(minutes)


@given(st.lists(st.floats(50, 20000), min_size=1, max_size=5), st.floats(50, 1500))
def test_the_choice_is_the_same_one_by_one(lengths: list[float], needed: float) -> None:
    """Many addresses at once equal each alone."""
    many = best_relay(np.array(lengths), 5.0, 6000.0, PUMPS, engines=3, needed_gpm=needed)
    for at, length in enumerate(lengths):
        one = best_relay(length, 5.0, 6000.0, PUMPS, engines=3, needed_gpm=needed)
        assert [float(one.gpm), float(one.engines)] == pytest.approx([many.gpm[at], many.engines[at]], nan_ok=True)


def test_what_neither_needs_does_not_count() -> None:
    """Both bring 500: no gain; 400 against 300: the hose; 300 against 400: the shuttle; equal: neither."""
    lay, haul = np.array([800.0, 400, 300, 400]), np.array([600.0, 300, 400, 400])
    assert beats(lay, haul, 500.0).tolist() == [False, True, False, False]
    assert beats(800.0, 600.0)


def test_farthest() -> None:
    lengths = np.array([100.0, 200, 300])
    assert farthest_ft(lengths, np.array([True, True, False])) == 200
    assert farthest_ft(lengths, np.array([False, False, False])) == 0


@pytest.mark.parametrize(
    ("hose", "head", "verdict"),
    [
        ((), "If you had it", "the hose lay would bring more, once 3,000 ft of hose are there and laid"),
        (("--hose-feet", "5000"), "With your hose", "the hose lay brings more"),
    ],
)
def test_hose_that_nobody_named_is_not_called_theirs(hose: tuple[str, ...], head: str, verdict: str) -> None:
    asked = ["hydraulics", "relay", "--feet", "3000", "--flow", "500", "--tank", "2000", "--tank", "3000", *hose]
    said = CliRunner().invoke(app, asked)
    assert said.exit_code == 0, said.output
    assert head in said.stdout
    assert verdict in " ".join(said.stdout.split())
