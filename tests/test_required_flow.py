"""Required flow against published and recalled examples, and every branch of every method."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given as forall
from hypothesis import strategies as st

from preplan.rules import MEMORY, RequiredFlowRules
from preplan.water.required_flow import (
    DELIVERY,
    METHODS,
    Buildings,
    Requirement,
    delivery_gpm,
    given,
    least,
    one_building,
    required_flow,
)

NAN = float("nan")


def answer(need: Requirement) -> tuple[float, float, float]:
    return float(need.required_gpm[0]), float(need.required_gal[0]), float(need.required_min[0])


def by(method: str, *, required_min: float | str = 120.0) -> RequiredFlowRules:
    return RequiredFlowRules(method=method, required_min=required_min)


# ------------------------------------------------------------------ published


def test_published_iowa() -> None:
    """50 x 75 x 12 ft: 450 gpm (published fire service journal, W07)."""
    assert required_flow(one_building(50, 75, 12), by("iowa")).required_gpm.tolist() == [450.0]


def test_published_nfa() -> None:
    """30 x 50 ft, a quarter involved: 125 gpm (published article, W09); the program takes all of it involved."""
    full = required_flow(one_building(30, 50, 10), by("nfa"))
    assert float(full.required_gpm[0]) * 0.25 == pytest.approx(125.0)


def test_published_duration() -> None:
    """250 gpm x 2 h = 30,000 gal (published article, W10a)."""
    assert answer(given(np.array([250.0]), np.array([NAN]), by("given"))) == (250.0, 30000.0, 120.0)


def test_published_rating_minimum() -> None:
    """200 gpm for 20 min is 4,000 gal (published rating criteria): total / rate gives the 20 min back."""
    rules = by("given", required_min="method")
    assert answer(given(np.array([200.0]), np.array([4000.0]), rules)) == (200.0, 4000.0, 20.0)


# ------------------------------------------------------------------ NFPA 1142


def test_recalled_dwelling() -> None:
    """NFPA 1142 example recalled from memory, unverified (M02): 24,000 ft3 dwelling, 3,429 and 5,143 gal."""
    home = one_building(50, 24, 2 * 8 + 8 / 2)
    assert home.volume_cuft.tolist() == [24000.0]
    assert answer(required_flow(home, by("nfpa1142")))[1] == pytest.approx(3429, abs=0.5)
    exposed = replace(home, exposure=np.array([True]))
    assert answer(required_flow(exposed, by("nfpa1142")))[1] == pytest.approx(5143, abs=0.5)


def test_recalled_shed() -> None:
    """NFPA 1142 example recalled from memory, unverified (M03): farm equipment shed, 26,250 gal."""
    shed = one_building(125, 100, 14, hazard=5, construction="II", dwelling=False)
    assert answer(required_flow(shed, by("nfpa1142")))[:2] == (1000.0, 26250.0)


def test_delivery_steps() -> None:
    """The steps of the delivery rate, at and around each boundary (from memory, unverified)."""
    at = np.array([0.0, 2499.99, 2500, 9999.99, 10000, 19999.99, 20000, 1e6])
    assert delivery_gpm(at).tolist() == [250, 250, 500, 500, 750, 750, 1000, 1000]
    assert [rate for _, rate in DELIVERY] == [250, 500, 750, 1000]


def test_floors() -> None:
    """A small building needs at least 2,000 gal, 3,000 with an exposure, and the rule says so."""
    alone = required_flow(one_building(20, 20, 10), by("nfpa1142"))
    assert answer(alone)[:2] == (250.0, 2000.0)
    assert "least supply of 2,000 gal" in alone.rule[0]
    exposed = required_flow(one_building(20, 20, 10, exposure=True), by("nfpa1142"))
    assert answer(exposed)[:2] == (500.0, 3000.0)
    assert "least supply of 3,000 gal" in exposed.rule[0]


def test_cap_is_for_dwellings_and_can_be_turned_off() -> None:
    """Type V counts 1.0 for a dwelling, 1.5 for others and where the district turns the cap off."""
    home = one_building(50, 30, 20)
    capped = required_flow(home, by("nfpa1142"))
    full = required_flow(home, RequiredFlowRules(dwelling_cap=False))
    other = required_flow(replace(home, dwelling=np.array([False])), by("nfpa1142"))
    assert answer(capped)[1] == pytest.approx(30000 / 7)
    assert answer(full)[1] == answer(other)[1] == pytest.approx(30000 / 7 * 1.5)
    assert "capped at 1.0" in capped.rule[0]
    assert "capped" not in full.rule[0]
    assert MEMORY in capped.rule[0]


@forall(
    st.floats(10, 500),
    st.floats(10, 500),
    st.floats(8, 60),
    st.integers(3, 6),
    st.sampled_from(["I", "II", "III", "V"]),
)
def test_more_hazard_needs_more(length: float, width: float, height: float, hazard: int, kind: str) -> None:
    """A lower hazard number, an exposure or a larger building never needs less."""

    def total(**change: object) -> float:
        said: dict[str, object] = {"hazard": hazard, "construction": kind, "dwelling": False, "exposure": False}
        said |= change
        building = one_building(length, width, height, **said)  # type: ignore[arg-type]
        return answer(required_flow(building, by("nfpa1142")))[1]

    assert total(hazard=hazard) >= total(hazard=hazard + 1)
    assert total(exposure=True) >= max(total(), 3000.0)
    assert total() >= 2000.0


def test_duration_by_method() -> None:
    """`"method"`: total / rate, at least 20 min; a number holds for all."""
    big = one_building(200, 100, 30, hazard=4, dwelling=False)
    gpm, gal, minutes = answer(required_flow(big, by("nfpa1142", required_min="method")))
    assert minutes == pytest.approx(gal / gpm)
    assert minutes > 20
    small = required_flow(one_building(20, 20, 10), by("nfpa1142", required_min="method"))
    assert answer(small)[2] == 20.0
    assert answer(required_flow(small_home(), by("nfpa1142", required_min=90)))[2] == 90.0


def small_home() -> Buildings:
    return one_building(30, 30, 15)


# ------------------------------------------------------------------ ISO, NFA, Iowa


@pytest.mark.parametrize(
    ("neighbour_ft", "gpm"),
    [(5, 1500), (10, 1500), (11, 1000), (25, 1000), (31, 750), (100, 750), (101, 500), (float("inf"), 500)],
)
def test_iso_dwellings_by_distance(neighbour_ft: float, gpm: float) -> None:
    """Older edition as a published reprint has it."""
    home = replace(one_building(50, 30, 20), neighbour_ft=np.array([float(neighbour_ft)]))
    assert answer(required_flow(home, by("iso")))[0] == gpm


def test_iso_unknown_distance_is_careful() -> None:
    """An exposure at an unknown distance counts as near; none known counts as far."""
    assert answer(required_flow(one_building(50, 30, 20, exposure=True), by("iso")))[0] == 1000.0
    assert answer(required_flow(one_building(50, 30, 20), by("iso")))[0] == 500.0


def test_iso_formula() -> None:
    """A frame store of 10,000 ft2: C = 18 x 1.5 x 100 = 2,700, O = 1.15, 3,105 rounded to 3,000 gpm, 3 h."""
    store = one_building(100, 100, 16, hazard=4, dwelling=False)
    need = required_flow(store, by("iso", required_min="method"))
    assert answer(need) == (3000.0, 3000.0 * 180, 180.0)
    assert MEMORY in need.rule[0]
    with_exposure = required_flow(replace(store, exposure=np.array([True])), by("iso"))
    assert answer(with_exposure)[0] == 4000.0  # 3,881 rounded to 500
    low = required_flow(one_building(10, 10, 10, construction="I", dwelling=False), by("iso"))
    assert answer(low)[0] == 500.0
    large = one_building(2000, 1000, 40, hazard=3, dwelling=False)
    assert answer(required_flow(large, by("iso")))[0] == 7500.0  # one storey: C at most 6,000, O 1.25
    tall = replace(large, stories=np.array([3.0]))
    assert answer(required_flow(tall, by("iso")))[0] == 10000.0  # C at most 8,000


def test_iso_dwelling_of_three_storeys_goes_by_the_formula() -> None:
    """The table is for at most two storeys."""
    tall = replace(one_building(50, 30, 30), stories=np.array([3.0]))
    assert "sqrt(A)" in required_flow(tall, by("iso")).rule[0]


def test_nfa_floors_and_exposure() -> None:
    """Every floor counts; an exposure adds a quarter; the total is the rate over the district's minutes."""
    two = replace(one_building(30, 50, 20, exposure=True), stories=np.array([2.0]))
    assert answer(required_flow(two, by("nfa"))) == (1250.0, 150000.0, 120.0)


# ------------------------------------------------------------------ given, least, faults


def test_given_completes_what_is_missing() -> None:
    """Rate only, total only, both, neither."""
    need = given(np.array([400.0, NAN, 300.0, NAN]), np.array([NAN, 12000.0, 9000.0, NAN]), by("given"))
    assert need.required_gpm.tolist()[:3] == [400.0, 750.0, 300.0]
    assert need.required_gal.tolist()[:3] == [48000.0, 12000.0, 9000.0]
    assert np.isnan(need.required_gpm[3])
    assert np.isnan(need.required_gal[3])
    assert "rate x 120 min" in need.rule[0]
    assert "delivery steps" in need.rule[1]
    assert need.rule[2] == "rate and total from the table"
    own = given(np.array([400.0, NAN]), np.array([NAN, 12000.0]), by("given", required_min="method"))
    assert own.required_min.tolist() == [120.0, 20.0]


def test_method_given_has_a_default() -> None:
    """Without a row's own rate the district's default stands."""
    assert answer(required_flow(one_building(50, 30, 20), by("given")))[0] == RequiredFlowRules().default_gpm


def test_least() -> None:
    """No building: 2,000 gal at 250 gpm by NFPA 1142, the least rate by other methods."""
    assert answer(least(1, by("nfpa1142", required_min="method"))) == (250.0, 2000.0, 20.0)
    assert answer(least(1, by("iso"))) == (500.0, 60000.0, 120.0)
    assert answer(least(1, by("nfa"))) == (250.0, 30000.0, 120.0)


def test_every_method_answers_and_says_how() -> None:
    """Arrays in, arrays of the same length out, with a rule for each row; an unknown method is refused."""
    home = one_building(50, 30, 20)
    for method in METHODS:
        need = required_flow(home, by(method))
        assert len(need) == 1
        assert need.rule[0]
        assert answer(need)[0] > 0
    with pytest.raises(ValueError, match="must be one of nfpa1142"):
        required_flow(home, by("guess"))
