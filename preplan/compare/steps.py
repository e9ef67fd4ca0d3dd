"""What counts as a change of a number."""

from __future__ import annotations

from dataclasses import dataclass

FLOW_STEP_GPM, MINUTES_STEP = 10.0, 0.5
"""Smaller changes of flows and minutes leave an address unchanged: cards print flows to 10 gpm; the minutes are this
program's choice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Steps:
    """Changes smaller than these leave an address unchanged."""

    gpm: float = FLOW_STEP_GPM
    min: float = MINUTES_STEP
