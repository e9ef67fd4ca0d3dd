"""What is too weak, low or narrow beside a fill site, on the sample: told on its page and on every card naming it."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from pyproj import Geod

from preplan.plan import Plan
from preplan.planning.near_limits import NEAR_FT
from preplan.planning.vehicles import is_tanker
from preplan.render import card_pdf, site_pdf
from preplan.units import M_PER_FT
from tests.pdf_words import pages_of, words_of

from .plan_checks import SAMPLE, plan_of

GEOD = Geod(ellps="WGS84")


@pytest.fixture(scope="module")
def plan() -> Plan:
    return plan_of(SAMPLE / "district.toml")


def feet_to(plan: Plan, site: int, stretch: int) -> float:
    """Measure along the ellipsoid to points every few feet of a stretch."""
    line = plan.line(stretch)
    share = np.linspace(0.0, 1.0, 200)[:, None]
    points = np.concatenate([a + (b - a) * share for a, b in pairwise(line)])
    there = plan.sites[site]
    _, _, metres = GEOD.inv(
        np.full(len(points), there.lon), np.full(len(points), there.lat), points[:, 0], points[:, 1]
    )
    return float(metres.min()) / M_PER_FT


def test_every_limit_near_a_fill_site_that_bars_a_unit_is_told_there_and_no_other(plan: Plan) -> None:
    """Against geodesics; posted weights, heights and widths, and ratings that are obeyed."""
    limits = plan.limits
    bars = np.zeros(len(plan.roads), dtype=np.bool_)
    for unit in plan.units:
        bars |= (limits.max_lb < unit.loaded_lb) | (limits.max_axle_lb < unit.axle_lb)
        bars |= (limits.max_height_ft < unit.height_ft) | (limits.max_width_ft < unit.width_ft)
    near = {
        (site, stretch)
        for site in range(len(plan.sites))
        for stretch in np.flatnonzero(bars).tolist()
        if feet_to(plan, site, stretch) <= NEAR_FT
    }
    told = {
        (site, stretch) for site, flags in enumerate(plan.site_flags) for flag in flags for stretch in flag.stretches
    }
    assert told == near
    assert len({site for site, _ in told}) > 1


def test_the_low_bridge_beside_a_fill_site_stands_on_its_page_and_on_every_card_that_names_it(plan: Plan) -> None:
    """By the sample's map the Tannery Road bridge is posted 10 ft, and the fill site of that name lies beside it."""
    site = next(at for at, one in enumerate(plan.sites) if one.name == "Tannery Road bridge")
    high = " ".join(sorted(unit.unit_id for unit in plan.units if unit.height_ft > 10.0))
    assert any(is_tanker(unit) for unit in plan.units if unit.height_ft > 10.0)
    (flag,) = (flag for flag in plan.site_flags[site] if flag.code == "posted below size")
    assert " ".join(sorted(str(flag.value).partition(" (")[0].split())) == high
    said = "the Tannery Road bridge (posted 10 ft high). It is 100 ft south of the fill site."
    pages = pages_of(site_pdf.sites(plan))
    assert any(said in page and "Fill site 8" in page for page in pages)
    groups = [
        group for group in plan.groups
        if plan.answers.level[group.lead] >= 0 and plan.levels.site[group.lead, plan.answers.level[group.lead]] == site
    ]  # fmt: skip
    assert len(groups) > 5
    near = 0
    for group in groups:
        text = words_of(card_pdf.one_card(replace(plan, groups=(group,)), group.lead))
        near += said in text
        # where a driver may be tempted by it, it stands under TAKE CARE, with its place from the dump site
        assert "the Tannery Road bridge (posted 10 ft high). It is " in text
    assert near > len(groups) / 2
