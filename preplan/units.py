"""Units: every factor once, with its source. US customary inside; metric only in `preplan.roads`."""

from __future__ import annotations

import math

LB_PER_KG = 2.20462262185
"""Pounds in a kilogram (1 lb = 0.45359237 kg exactly, international yard and pound agreement, 1959)."""
LB_PER_TONNE = 1000.0 * LB_PER_KG
"""Pounds in a metric tonne, the default unit of weights in OpenStreetMap."""
LB_PER_SHORT_TON = 2000.0
"""Pounds in a short ton, the ton on a sign in the United States."""
LB_PER_LONG_TON = 2240.0
"""Pounds in a long ton."""
LB_PER_HUNDREDWEIGHT = 112.0
"""Pounds in a long hundredweight, `cwt` in OpenStreetMap."""
M_PER_FT = 0.3048
"""Metres in a foot, exact."""
M_PER_MI = 1609.344
"""Metres in a mile, exact."""
FT_PER_MI = 5280.0
"""Feet in a mile."""
MI_PER_DEG = 69.0
"""Miles in a degree of latitude, for a rough distance only."""
FT_PER_M = 1.0 / M_PER_FT
"""Feet in a metre."""
MM_PER_IN = 25.4
"""Millimetres in an inch, exact."""
KMH_PER_MPH = 1.609344
"""Kilometres an hour in a mile an hour, exact."""
LB_PER_GAL = 8.34
"""Pounds in a US gallon of water (trade value; 8.345 at 39 F)."""
L_PER_GAL = 3.785411784
"""Liters in a US gallon, exact (231 cubic inches)."""
FT_PER_PSI = 2.304
"""Feet of water that press one psi (standard water handling tables; 1 / 0.434)."""
SECONDS_PER_MIN = 60.0
"""Seconds in a minute."""
MIN_PER_HOUR = 60.0
"""Minutes in an hour."""

_PLAIN = 1e-3
"""Half tons by which a posting may miss a plain number."""


def on_a_sign(pounds: float) -> str:
    """Write a posted weight in pounds, rounded down, and in the tons or tonnes of its sign if that has a plain number.

    >>> on_a_sign(24_000.0), on_a_sign(15.0 * LB_PER_TONNE), on_a_sign(37_919.4)
    ('24,000 lb = 12 tons', '33,069 lb = 15 tonnes', '37,919 lb')
    """
    said = f"{math.floor(pounds):,} lb"
    for each_lb, named in ((LB_PER_SHORT_TON, "tons"), (LB_PER_TONNE, "tonnes")):
        halves = 2.0 * pounds / each_lb
        if abs(halves - round(halves)) < _PLAIN:
            return f"{said} = {round(halves) / 2.0:g} {named}"
    return said
