"""What follows from the rules of a district alone."""

from __future__ import annotations

from preplan.rules import ShuttleRules
from tests.timeline_cases import GOLDEN, golden


def test_full_flow_is_asked_for_no_sooner_than_first_water() -> None:
    """An attack set-up longer than the time to full flow moves both: the account of the timeline says so too."""
    for setup, after, full in ((2.0, 15.0, 15.0), (20.0, 15.0, 20.0)):
        rules = ShuttleRules(attack_setup_min=setup, full_flow_after_min=after)
        case = golden(GOLDEN, attack_setup_min=setup, full_flow_after_min=after)
        assert rules.full_flow_min == full == case.full_flow_min - case.attack_arrival_min
