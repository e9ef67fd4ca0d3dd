"""What a drill brings: the words of its log, and its rows."""

from __future__ import annotations

import math
from dataclasses import dataclass

DUMP_EVENTS = ("on scene", "at dump site", "takes dump place", "dumps", "empty")
"""What a tanker does at the dump site, in order: comes into sight, stands in line or in place, has its place, water
runs, leaves. The words are those of the timeline; so are those of the fill site but two, which it does not print."""
FILL_EVENTS = ("reaches fill site", "at fill site", "takes fill place", "fills", "full")
"""The same at the fill site; 'full' leaves."""
CLOCK_EVENTS = ("dump site ready", "fill site ready", "second fill site ready", "pause", "resume", "end")
"""What a row without a unit may say; a tanker may pause too."""
LEAVES_DRILL = "leaves drill"
"""A tanker's last row where it leaves before the others."""
SAYS_NOTHING = (
    "nurses", "nursing ends", "attack engine on scene", "portable tank ready", "first water", "full flow", "dry",
    "flow again",
)  # fmt: skip
"""Words of the timeline that tell nothing of how a tanker is handled: such rows are counted and passed over."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DrillEvent:
    """One row of a drill's log."""

    unit_id: str
    """'' for what is no one tanker's."""
    event: str
    """Of `DUMP_EVENTS`, `FILL_EVENTS`, `CLOCK_EVENTS` or `LEAVES_DRILL`."""
    minute: float
    """From the log's first minute."""
    gallons: float = math.nan
    """Of the load in hand; NaN where nobody wrote it."""
    place: str = ""
    """site_id or address_id; '' on rows of the clock."""
    row: int = 0
    """Spreadsheet row; 0 for what the timeline says."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DrillLog:
    """What was logged in one drill, checked: every tanker and place is known."""

    file: str
    events: tuple[DrillEvent, ...]
    """By minute."""
    site_ids: tuple[str, ...]
    """Fill sites, one or two, in the order in which they are first used."""
    address_id: str
    """The dump site."""
    begun: str = ""
    """Time of day of minute 0, '' where the log counts minutes."""
    date: str = ""
    """ISO date, '' where no row says it."""
    whole_minutes: bool = False
    """No row tells seconds, so that each span of time is sure to a minute at best."""
    rows: int = 0
    notes: tuple[str, ...] = ()
    """What was taken for what, and what was passed over."""

    @property
    def unit_ids(self) -> tuple[str, ...]:
        """Name the tankers, in code point order."""
        return tuple(sorted({event.unit_id for event in self.events} - {""}))
