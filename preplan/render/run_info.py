"""What was run: program, inputs by name and digest, rules in use, counts, and the digest of every file written."""

from __future__ import annotations

import json
from collections.abc import Mapping
from hashlib import sha256
from importlib import metadata
from typing import TYPE_CHECKING, Any

from preplan.rules import Rules, rule_lines

if TYPE_CHECKING:
    from preplan.plan import Plan
    from preplan.plan_inputs import Inputs

PROGRAM = "preplan"
"""Name of the program, and of its installed package."""


def program_version() -> str:
    """Return the version of the installed program, 'not installed' where it runs from a bare folder."""
    try:
        return metadata.version(PROGRAM)
    except metadata.PackageNotFoundError:
        return "not installed"


def run_json(
    plan: Plan,
    inputs: Inputs,
    digests: Mapping[str, str],
    out_files: Mapping[str, bytes],
    seconds: Mapping[str, float],
) -> bytes:
    """Write run.json.

    Parameters
    ----------
    plan
        The finished plan.
    inputs
        What it was made from; files are named without their folders, so the same inputs elsewhere are equal.
    digests
        SHA-256 of each input file, by its role.
    out_files
        Every other file of the set, by its name.
    seconds
        Time that each step took: the one key that differs between equal runs.
    """
    run = {
        "program": PROGRAM,
        "version": program_version(),
        "district": plan.district.name,
        "date": plan.district.date,
        "inputs": {
            role: {"name": path.name, "sha256": digests.get(role, "")} for role, path in sorted(inputs.files.items())
        },
        "notes": list(plan.notes),
        "response_levels": [
            {"name": level.name, "engines": level.engines, "tankers": level.tankers} for level in plan.district.levels
        ],
        "units": [unit.unit_id for unit in plan.units],
        "rules": rules_in_use(plan.district.rules),
        "counts": counts(plan, inputs),
        "files": {name: sha256(out_files[name]).hexdigest() for name in sorted(out_files)},
        "seconds": {step: round(taken, 2) for step, taken in seconds.items()},
    }
    text = json.dumps(run, ensure_ascii=False, allow_nan=False, indent=2)
    return (text + "\n").encode("utf-8", "backslashreplace")


def rules_in_use(rules: Rules) -> dict[str, Any]:
    """Return every rule's value by group and name, and the names of those that the district changed."""
    used: dict[str, Any] = {}
    changed = []
    for line in rule_lines(rules):
        used.setdefault(line.group, {})[line.name] = plain(line.value)
        if line.changed:
            changed.append(f"{line.group}.{line.name}")
    return {"changed": changed, **used}


def counts(plan: Plan, inputs: Inputs) -> dict[str, Any]:
    """Count what came in, what was left aside, and what came of the rest."""
    return {
        "rows": dict(sorted(inputs.rows.items())),
        "accounts": accounts(plan, inputs),
        "rejected": len({(one.file, one.row) for one in inputs.rejected}),
        "faults": len(inputs.rejected),
        "planned": len(plan.addresses),
        "status": plan.counts(),
        "fill_sites": len(plan.sites),
        "fill_sites_in_service": sum(site.in_service for site in plan.sites),
        "stations": len(plan.stations),
        "units_in_service": len(plan.units),
        "hydrants": len(plan.hydrants),
        "closures": len(inputs.closures),
        "bridges": len(inputs.bridges),
        "road_stretches": len(plan.roads),
        "road_problems": len(plan.problems),
        "kept_trips": len(plan.trips),
        "card_groups": len(plan.groups),
    }


def accounts(plan: Plan, inputs: Inputs) -> dict[str, dict[str, int]]:
    """Say what became of each row of the tables that are read row by row; the parts add up to `rows`.

    The reader holds that a row is in its table, left out (out of service, or on no main) or among the rejected, and
    never two of them, so what is neither in the table nor left out was rejected.
    """
    rows, hydrant = inputs.rows.get("addresses", 0), plan.counts()["hydrant"]
    there = len(plan.addresses)
    found = {"addresses": {"rows": rows, "planned": there - hydrant, "hydrant": hydrant, "rejected": rows - there}}
    if "hydrants" in inputs.rows:
        rows, used, out = inputs.rows["hydrants"], len(plan.hydrants), inputs.left_out.get("hydrants", 0)
        found["hydrants"] = {"rows": rows, "used": used, "left out": out, "rejected": rows - used - out}
    return found


def run_lines(plan: Plan) -> list[tuple[str, str]]:
    """List what a file should say about itself as (key, value): program, district, counts, and the rules in use."""
    rules = [
        (f"rule {line.group}.{line.name}", " ".join(filter(None, (_said(line.value), line.unit, f"({line.source})"))))
        for line in rule_lines(plan.district.rules)
    ]
    levels = [
        (f"response level {level.name}", f"{level.engines} engines, {level.tankers} tankers")
        for level in plan.district.levels
    ]
    statuses = [(f"addresses {status}", str(count)) for status, count in plan.counts().items()]
    own = [
        ("program", PROGRAM),
        ("version", program_version()),
        ("district", plan.district.name),
        ("date", plan.district.date),
    ]
    return [*own, *levels, *statuses, *rules]


def plain(value: object) -> Any:
    """Turn a rule's value into what JSON can say: sets sorted, tuples as lists.

    >>> plain(frozenset({11, 4})), plain(((300.0, 1000.0),))
    ([4, 11], [[300.0, 1000.0]])
    """
    if isinstance(value, frozenset):
        return sorted(value)
    if isinstance(value, tuple):
        return [plain(one) for one in value]
    return value


def _said(value: object) -> str:
    return json.dumps(plain(value)) if isinstance(value, frozenset | tuple) else str(value)
