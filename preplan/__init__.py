"""Water supply pre-plans for fire districts without hydrants.

The public names, imported when first asked for, so that `preplan --help` stays quick:

- `build_district`, `check_district`, `one_card`: the commands, as functions
- `plan_district`, `Plan`: planning without reading or writing
- `District`, `Rules`: what a district can set
- `required_flow`, `best_fleet`, `sustained`, `handling`: the water, as functions of arrays
- `InputError`, `OutputError`, `InvariantError`, `PreplanError`: what can go wrong
"""

from __future__ import annotations

from importlib import import_module
from importlib.metadata import PackageNotFoundError, version
from types import MappingProxyType

try:
    __version__ = version("preplan")
except PackageNotFoundError:  # run from a source tree that is not installed
    __version__ = "0.1.0"

_HOME = MappingProxyType(
    {
        "build_district": "preplan.build",
        "check_district": "preplan.build",
        "one_card": "preplan.build",
        "plan_district": "preplan.planning.pipeline",
        "Plan": "preplan.plan",
        "District": "preplan.rules",
        "Rules": "preplan.rules",
        "required_flow": "preplan.water.required_flow",
        "best_fleet": "preplan.water.shuttle",
        "sustained": "preplan.water.shuttle",
        "handling": "preplan.water.shuttle",
        "InputError": "preplan.errors",
        "OutputError": "preplan.errors",
        "InvariantError": "preplan.errors",
        "PreplanError": "preplan.errors",
    }
)
"""Where each public name lives. Names, not imports: the rooms below must not reach the rooms above through here."""


def __getattr__(name: str) -> object:
    """Import a public name from its room."""
    if name not in _HOME:
        raise AttributeError(f"module 'preplan' has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    """List the public names."""
    return ["__version__", *sorted(_HOME)]
