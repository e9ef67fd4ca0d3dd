"""How files are mutated, and how many cases a run tries: a minute's worth, or PREPLAN_FUZZ_CASES for a night."""

from __future__ import annotations

import os
import random
import re
from collections.abc import Callable, Sequence
from typing import Any

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

NIGHT = int(os.environ.get("PREPLAN_FUZZ_CASES", "0"))
"""Cases of a night's run, shared by all tests; 0: the few of every run, the same ones each time."""
SEEDS = st.integers(0, 2**48)
"""A case is a seed: what fails is repeated by its number."""
NASTY = (
    "", " ", "0", "-0", "-1", "1", "2", "1e308", "-1e308", "1e-308", "1e400", "nan", "NaN", "inf", "-inf",
    "99999999999", "9" * 400, "0x1f", "1_000", "1,000", "1.000,5", "12'6\"", "10 t", "5 st", "3.2 m", "no", "yes",
    "none", "null",
    "#N/A", "#REF!", "TRUE", "-", "+", "=1+1", "@SUM(A1)", "'", '"', '""', ";", ",", "\t", "\r", "\n", "\x00", "\x07",
    "\u202e", "\ufeff", "\u2028", "é", "北", "🚒", "A\u0301", "ﬀ", "a" * 3000, "<script>", "&amp;", "]]>",
    "../../x", "/dev/zero", "C:\\x", "%s%n", "{0}", "${x}", "4-11", "11-3", "13", "Mo-Fr 07:00-09:00", "2026-02-30",
    "44.0", "-72.0", "90", "180", "-72°00'36\" W", "44.0 N", "no @ (Nov-Mar)", "1;2", "-1 mph", "walk", "G1", "S1",
    "H1", "engine", "tanker",
    "pumper-tanker", "hydrant", "dry hydrant", "draft", "cistern", "tank", "back", "given", "V", "III", "7", "3",
)  # fmt: skip
"""Values that have upset some reader of some program."""


def by_chance(seed: int) -> random.Random:
    """Draw by a seed: moments and places of mutations, no secrets."""
    return random.Random(seed)  # noqa: S311


def cases(share: float, *, every: int) -> Callable[[Any], Any]:
    """Set how many cases a test tries: `every` in each run, a share of the night's in a night's."""
    return settings(
        max_examples=max(1, round(NIGHT * share)) if NIGHT else every,
        deadline=None,
        derandomize=not NIGHT,
        database=None,
        suppress_health_check=list(HealthCheck),
    )


def mutated(content: bytes, draw: random.Random, most: int = 6) -> bytes:
    """Change some bytes of a file: flip, cut, repeat, swap, insert."""
    out = bytearray(content)
    for _ in range(draw.randint(1, most)):
        if not out:
            break
        at, length = draw.randrange(len(out)), draw.randint(1, max(1, min(200, len(out) // 4)))
        match draw.randrange(7):
            case 0:
                out[at] ^= 1 << draw.randrange(8)
            case 1:
                out[at] = draw.randrange(256)
            case 2:
                del out[at : at + length]
            case 3:
                out[at:at] = out[at : at + length]
            case 4:
                del out[at:]
            case 5:
                out[at:at] = draw.choice(NASTY).encode()
            case _:
                other = draw.randrange(len(out))
                out[at : at + length] = out[other : other + length]
    return bytes(out)


_VALUE = re.compile(rb'"[^"<>]*"|>[^<>]+<')


def mutated_xml(content: bytes, draw: random.Random, most: int = 5) -> bytes:
    """Change values and elements of an XML file, so that most of it still parses; now and then its bytes as well."""
    for _ in range(draw.randint(1, most)):
        values = list(_VALUE.finditer(content))
        lines = content.splitlines(keepends=True)
        if draw.random() < 0.6 and values:
            one, other = draw.choice(values), draw.choice(values)
            new = f'"{_escaped(draw.choice(NASTY))}"'.encode() if draw.random() < 0.7 else other[0]
            if one[0][:1] == new[:1]:
                content = content[: one.start()] + new + content[one.end() :]
        elif len(lines) > 3:
            at = draw.randrange(1, len(lines) - 1)
            match draw.randrange(3):
                case 0:
                    del lines[at]
                case 1:
                    lines.insert(at, lines[draw.randrange(1, len(lines) - 1)])
                case _:
                    other_at = draw.randrange(1, len(lines) - 1)
                    lines[at], lines[other_at] = lines[other_at], lines[at]
            content = b"".join(lines)
    return mutated(content, draw, 2) if draw.random() < 0.15 else content


def _escaped(text: str) -> str:
    return "".join(f"&#{ord(one)};" if one in '<>&"' or not one.isprintable() else one for one in text if one != "\x00")


def mutated_cells(text: str, draw: random.Random, most: int = 4) -> str:
    """Change cells, rows and headers of a CSV text."""
    rows = [line.split(",") for line in text.splitlines()]
    for _ in range(draw.randint(1, most)):
        row = draw.randrange(len(rows))
        column = draw.randrange(len(rows[row])) if rows[row] else 0
        match draw.randrange(8):
            case 0 if len(rows) > 2:
                del rows[row]
            case 1:
                rows.insert(row, list(draw.choice(rows)))
            case 2 if rows[row]:
                del rows[row][column]
            case 3:
                rows[row].insert(column, draw.choice(NASTY))
            case _:
                if rows[row]:
                    rows[row][column] = draw.choice(NASTY)
    return "\n".join(",".join(row) for row in rows) + "\n"


def mutated_lines(text: str, draw: random.Random, values: Sequence[str], most: int = 3) -> str:
    """Change lines of a district file: drop, repeat, move, and give other values."""
    lines = text.splitlines()
    for _ in range(draw.randint(1, most)):
        at = draw.randrange(len(lines))
        match draw.randrange(6):
            case 0:
                del lines[at]
            case 1:
                lines.insert(at, draw.choice(lines))
            case 2:
                lines.insert(at, f"{draw.choice(values)} = {draw.choice(TOML_VALUES)}")
            case _:
                key, equals, _ = lines[at].partition("=")
                if equals:
                    lines[at] = f"{key}= {draw.choice(TOML_VALUES)}"
        if not lines:
            return ""
    return "\n".join(lines) + "\n"


TOML_VALUES = (
    "0", "1", "-1", "1e9", "1e308", "-inf", "nan", "true", "false", '""', '"x"', '"\\u0000"', "[]", "[1, 2]", "{}",
    "{a = 1}", "2026-05-01", "07:32:00", "0.5", "90", "999999999", '"method"', '"given"', '"iowa"', '"iso"', '"nfa"',
    '"rule"', '"network"', '"tonnes"', '"4-11"', "[[300, 1000]]", "[[0, 0]]", "5", "20", "0.1", "1.0", "100000",
)  # fmt: skip
"""Values of every kind that a district file may give a key."""
