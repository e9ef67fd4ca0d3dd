"""Units: every factor once, with its source. US customary inside; metric only in `preplan.roads`."""

from __future__ import annotations

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
FT_PER_M = 1.0 / M_PER_FT
"""Feet in a metre."""
MM_PER_IN = 25.4
"""Millimetres in an inch, exact."""
KMH_PER_MPH = 1.609344
"""Kilometres an hour in a mile an hour, exact."""
LB_PER_GAL = 8.34
"""Pounds in a US gallon of water (trade value; 8.345 at 39 F)."""
FT_PER_PSI = 2.304
"""Feet of water that press one psi (standard water handling tables; 1 / 0.434)."""
SECONDS_PER_MIN = 60.0
"""Seconds in a minute."""
MIN_PER_HOUR = 60.0
"""Minutes in an hour."""
