"""What a rater asks, held against plans of the same district in which everybody asks for full flow as early.

Criteria: 250 gpm for 2 h within 5 minutes of the first engine's arrival, a higher flow within 15 (published rating
criteria for hauled water).
"""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from preplan.plan import Plan
from preplan.plan_tables import ROUNDING_GPM
from preplan.rules import RATER_RAISE_MIN, RATER_START_MIN
from tests.plan_checks import SAMPLE, fresh_plan_of, plan_of

EVERY = 3
"""Every third address is planned anew."""


@pytest.fixture(scope="module")
def sample() -> Plan:
    return plan_of(SAMPLE / "district.toml")


def test_a_raters_flow_is_what_the_same_fleets_hold_where_full_flow_is_asked_for_so_early(
    sample: Plan, tmp_path: Path
) -> None:
    """A plan made for it may choose other fleets and fill sites, so it holds as much or more; mostly it is the same."""
    there = tmp_path / "early"
    shutil.copytree(SAMPLE, there)
    file = there / "district.toml"
    text = file.read_text(encoding="utf-8")
    early_rule = f"dump_setup_min = 5\nfull_flow_after_min = {RATER_START_MIN:g}\n"
    file.write_text(text.replace("dump_setup_min = 5\n", early_rule), encoding="utf-8")
    early, rows = fresh_plan_of(file, cards=False, every=EVERY), slice(None, None, EVERY)
    assert (early.needs.required_min == 120.0).all()
    mine, theirs = sample.rater.early_gpm[rows], early.levels.uninterrupted_gpm
    both = np.isfinite(mine) & np.isfinite(theirs)
    mine, theirs = mine[both], theirs[both]
    names = "season", "site", "split", "fill_engine", "dump_engine", "tankers", "used", "at_split"
    same = [getattr(sample.levels, name)[rows] == getattr(early.levels, name) for name in names]
    alike = np.logical_and.reduce([one if one.ndim == 2 else one.all(axis=2) for one in same])[both]
    equal = np.isclose(mine, theirs, rtol=1e-6)
    assert equal[alike].all()
    assert alike.sum() > 990 / EVERY
    assert (mine <= theirs * 1.001).mean() > 0.9


def test_raised_after_a_quarter_of_an_hour_is_what_the_plan_asks_for_by_default(sample: Plan) -> None:
    assert sample.district.rules.shuttle.full_flow_after_min == RATER_RAISE_MIN
    assert sample.rater.raised_gpm == pytest.approx(sample.levels.uninterrupted_gpm, rel=1e-9, nan_ok=True)
    both = np.isfinite(sample.rater.early_gpm)
    assert (sample.rater.early_gpm[both] <= sample.rater.raised_gpm[both] + ROUNDING_GPM).mean() > 0.9
