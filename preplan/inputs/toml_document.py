"""A parsed TOML file that knows the line of every key and collects what is wrong with it."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, TypeAlias

from preplan.errors import Finding, InputError, unreadable
from preplan.inputs.toml_slips import explained

KeyPath: TypeAlias = tuple[str | int, ...]
"""Keys from the top of the file down; a whole number counts the tables of an array of tables."""

LARGEST_NUMBER = 1e9
"""No rule comes near it; an endless or absurd number is a slip."""
_MOST_KEYS = 20
"""Keys of a table that are listed where none comes near; longer tables are those of the rules."""

_HEADER = re.compile(r"\s*(?P<open>\[\[?)\s*(?P<keys>[^\[\]]+?)\s*\]\]?\s*(?:#.*)?")
_KEY = re.compile(r"""\s*(?P<keys>(?:[\w-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[\w-]+|"[^"]*"|'[^']*'))*)\s*=""")
_PART = re.compile(r"""[\w-]+|"[^"]*"|'[^']*'""")
_WHERE = re.compile(r"\s*\(at (?:line (?P<line>\d+), column \d+|end of document)\)")


class Document:
    """The tables of a TOML file, and the findings made while they are read."""

    def __init__(self, file: str, text: str) -> None:
        """Parse a text.

        Raises
        ------
        InputError
            The text is not TOML; the finding has the line.
        """
        self.file = file
        self.findings: list[Finding] = []
        self.notes: list[str] = []
        """What is taken, and the user is asked about."""
        self._lines = key_lines(text)
        try:
            self.data: dict[str, Any] = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            where = _WHERE.search(str(error))
            stopped = int(where["line"]) if where and where["line"] else len(text.rstrip().splitlines())
            line, what, remedy = explained(text, _WHERE.sub("", str(error)), stopped)
            raise InputError([Finding(file=file, row=line, rule=f"is not TOML: {what}", remedy=remedy)]) from error
        except RecursionError as error:
            rule = "has brackets too deep in one another"
            raise InputError([Finding(file=file, rule=rule, remedy="write it anew")]) from error
        except ValueError as error:  # a number of thousands of digits
            rule = "has a number that is too long"
            raise InputError([Finding(file=file, rule=rule, remedy="look for a row of digits")]) from error

    def fault(self, path: KeyPath, rule: str, *, value: object = "", remedy: str = "") -> None:
        """Keep one finding about a key."""
        column, line = _spoken(path), self._line_of(path)
        finding = Finding(file=self.file, row=line, column=column, value=_shown(value), rule=rule, remedy=remedy)
        if finding not in self.findings:  # a table that several readers ask for is at fault once
            self.findings.append(finding)

    def ask(self, path: KeyPath, value: object, question: str) -> None:
        """Keep one question about a value that is taken."""
        line = self._line_of(path)
        self.notes.append(f"{self.file}: {f'line {line}: ' if line else ''}{_spoken(path)} {_shown(value)} {question}")

    def table(self, *path: str) -> dict[str, Any]:
        """Give a table, empty where the file has none; anything else of that name is a fault."""
        found: Any = self.data
        for depth, key in enumerate(path, 1):
            found = found.get(key, {})
            if not isinstance(found, dict):
                self.fault(path[:depth], "must be a table", remedy=f"write [{'.'.join(path[:depth])}] above its keys")
                return {}
        return dict(found)

    def check_keys(
        self, path: KeyPath, table: Mapping[str, Any], known: Sequence[str], homes: Mapping[str, str]
    ) -> None:
        """Find keys that mean nothing here, and name the nearest that does, the table a key belongs to, or all keys.

        Parameters
        ----------
        homes
            Table of each key that has only one, for keys that stand in the wrong table.
        """
        for key in table:
            if key in known:
                continue
            home = None if isinstance(table[key], dict) else homes.get(key)
            near = difflib.get_close_matches(key.casefold(), known, n=1)
            all_known = "`preplan rules` lists those" if len(known) > _MOST_KEYS else f"known here: {', '.join(known)}"
            remedy = f"the nearest known key is {near[0]!r}" if near else all_known
            if home:
                remedy = f"it belongs in [{home}]"
            self.fault((*path, key), "is not a known key", remedy=remedy)

    def text(self, path: KeyPath, value: object) -> str:
        """Read a text that is not empty; '' where it is at fault."""
        if isinstance(value, str) and value.strip():
            return value.strip()
        self.fault(path, "must be a text in quotes that is not empty", value=value)
        return ""

    def word(self, path: KeyPath, value: object, words: Sequence[str], default: str) -> str:
        """Read one of a few words; the default where it is at fault."""
        if isinstance(value, str) and value in words:
            return value
        self.fault(path, f"must be one of: {', '.join(words)}", value=value)
        return default

    def number(
        self,
        path: KeyPath,
        value: object,
        *,
        low: float | None = None,
        high: float | None = None,
        whole: bool = False,
        unit: str = "",
    ) -> float | None:
        """Read a number within its limits, which are told in `unit`; None where it is at fault."""
        remedy = "is a digit or the unit wrong?" if unit else ""
        wanted = "a whole number" if whole else "a number"
        if isinstance(value, bool) or not isinstance(value, int if whole else (int, float)):
            self.fault(path, f"must be {wanted}", value=value, remedy="write it without quotes or unit")
        elif not abs(value) < LARGEST_NUMBER:  # NaN is below nothing
            self.fault(path, f"must be {wanted} below {LARGEST_NUMBER:g}", value=value)
        elif low is not None and value < low:
            self.fault(path, f"must be at least {low:,g} {unit}".rstrip(), value=value, remedy=remedy)
        elif high is not None and value > high:
            self.fault(path, f"must be at most {high:,g} {unit}".rstrip(), value=value, remedy=remedy)
        else:
            return value
        return None

    def truth(self, path: KeyPath, value: object, *, default: bool) -> bool:
        """Read true or false; the default where it is at fault."""
        if isinstance(value, bool):
            return value
        self.fault(path, "must be true or false", value=value)
        return default

    def _line_of(self, path: KeyPath) -> int | None:
        """Give the line of a key, else of the nearest table around it; None for the file as a whole."""
        tables = (path[:n] for n in range(len(path), 0, -1))
        return next((self._lines[part] for part in tables if part in self._lines), None)


def read_document(path: Path) -> Document:
    """Read a TOML file.

    Raises
    ------
    InputError
        The file cannot be read, is not UTF-8 or not TOML.
    """
    try:
        return Document(path.name, path.read_bytes().decode("utf-8-sig"))
    except (UnicodeDecodeError, InputError) as error:
        if path.suffix.lower() != ".toml":  # a table, most likely: what is no TOML in it is beside the point
            rule, remedy = "is no district file", "name the .toml file that lists the tables"
        elif isinstance(error, InputError):
            raise
        else:
            rule, remedy = "is not UTF-8", "save it as UTF-8"
        raise InputError([Finding(file=path.name, rule=rule, remedy=remedy)]) from error
    except IsADirectoryError as error:
        finding = Finding(
            file=str(path), rule="is a folder", remedy=f"name the district file in it: {path / 'district.toml'}"
        )
        raise InputError([finding]) from error
    except OSError as error:
        raise InputError([unreadable(path.name, error)]) from error


def key_lines(text: str) -> dict[KeyPath, int]:
    r"""Find the line, from 1, on which each table and key of a TOML text begins; its parser does not tell.

    >>> key_lines('[roads]\nfile = "r.osm"\n[[levels]]\n[[levels]]\nname = "two"')[("levels", 1, "name")]
    5
    """
    lines: dict[KeyPath, int] = {}
    counts: dict[KeyPath, int] = {}
    table: KeyPath = ()
    for line_number, line in enumerate(text.splitlines(), 1):
        header, key = _HEADER.fullmatch(line), _KEY.match(line)
        if header:
            table = _parts(header["keys"])
            lines.setdefault(table, line_number)
            if header["open"] == "[[":
                counts[table] = counts.get(table, -1) + 1
                table = (*table, counts[table])
                lines.setdefault(table, line_number)
        elif key:
            lines.setdefault((*table, *_parts(key["keys"])), line_number)
    return lines


def _parts(keys: str) -> KeyPath:
    return tuple(part.strip("\"'") for part in _PART.findall(keys))


def _spoken(path: KeyPath) -> str:
    """Write a key as a person would: response_levels 2 engines is the second level's."""
    words = [f"{part + 1}" if isinstance(part, int) else part for part in path]
    return ".".join(words)


def _shown(value: object) -> str:
    """Write a value as the file has it."""
    return str(value).lower() if isinstance(value, bool) else str(value)
