"""The inner mark of each kind of fill site: the same lines on paper, on the map with scripts and without, in QGIS."""

from __future__ import annotations

from collections.abc import Mapping

Line = tuple[tuple[float, float], ...]

KIND_LINES: Mapping[str, tuple[Line, ...]] = {
    "hydrant": (((0.0, -0.6), (0.0, 0.6)), ((-0.7, -0.05), (0.7, -0.05)), ((-0.5, 0.6), (0.5, 0.6))),
    "dry hydrant": (((-0.5, 0.6), (-0.5, -0.25), (-0.25, -0.55), (0.45, -0.55), (0.45, -0.05)),),
    "draft": tuple(
        ((-1.0, y), (-0.5, round(y - 0.3, 2)), (0.0, y), (0.5, round(y - 0.3, 2)), (1.0, y)) for y in (-0.2, 0.45)
    ),
    "cistern": (((-0.7, -0.6), (-0.7, 0.55), (0.7, 0.55), (0.7, -0.6)),),
    "tank": (
        ((-0.8, -0.55), (0.8, -0.55), (0.8, 0.05), (-0.8, 0.05), (-0.8, -0.55)),
        ((-0.5, 0.05), (-0.5, 0.6)),
        ((0.5, 0.05), (0.5, 0.6)),
    ),
}
"""Barrel with arms and foot; hooked pipe; waves; open vault; tank on legs. In a box 2 wide and 1.2 high, y down."""


def svg_path(kind: str, scale: float, x: float = 0.0, y: float = 0.0) -> str:
    """Write a mark as the path of a drawing, its middle at x, y; '' for a kind that has none.

    >>> svg_path("cistern", 10.0, 1.0)
    'M-6 -6L-6 5.5L8 5.5L8 -6'
    """
    return "".join(
        f"{'L' if k else 'M'}{x + east * scale:.4g} {y + down * scale:.4g}"
        for points in KIND_LINES.get(kind, ())
        for k, (east, down) in enumerate(points)
    )
