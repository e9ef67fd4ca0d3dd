"""What people get wrong in a TOML file, told in their words: its parser speaks to programmers, and not of remedies."""

from __future__ import annotations

import re

BACKSLASH_REMEDY = "write / instead of \\, or put the text in single quotes"
"""A backslash in double quotes begins a letter by its code."""
_LINE = "look at this line: texts stand in quotes, numbers without unit or comma, names of tables in [brackets]"
_HEADER = re.compile(r"\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?\s*(?:#.*)?")
_KEY = re.compile(r"\s*([\w.-]+)\s*=")
_SLIPS: tuple[tuple[re.Pattern[str], str, str], ...] = tuple(
    (re.compile(pattern), what, remedy)
    for pattern, what, remedy in (
        ("=\\s*[\u201c\u201d\u201e\u2018\u2019]", "curly quotes", 'write straight ones: "..."'),
        (r'"[^"]*\\', "a backslash in a text in double quotes", BACKSLASH_REMEDY),
        (r"^\s*\[", "brackets that do not match", "write [name of the table], or [[response_levels]] above each level"),
        (r"^[^=]*:", "a colon where = belongs", "write key = value"),
        (r"^[^=]*$", "no = in the line", "write key = value, or # before a remark"),
        (r"^\s*[\w.-]+\s+[^\s=]", "a blank in a key", "write one word, as the others are"),
        (r"=\s*(?:#.*)?$", "nothing behind =", "write a value, or # before the line to leave it out"),
        (r"=\s*(?:\d{4}-\d+-\d+|\d+[/.]\d+[/.]\d+)", "a date of another form", "write it as 2026-05-01"),
        (r"=\s*-?\d+,\d", "a comma in a number", "write 2000, and 0.85 with a point"),
        (r"=\s*0\d", "a number that begins with 0", "write it without that 0"),
        (r"=\s*(?i:true|false|yes|no)\b", "a yes or no of another form", "write true or false, small, without quotes"),
        (r"=\s*-?(?:\.\d|\d+\.(?!\d))", "a point without digits on both sides", "write 0.5 or 1.0"),
        (r"=\s*-?\d[\d.]*\s*[^\s\d.#]", "something behind a number", "write the number alone, without its unit"),
        (r"=\s*[^\s\"'\[{\d+-]", "a text without quotes", 'put it in quotes: "..."'),
        (r"=\s*\"[^\"]*$|=\s*'[^']*$", "a quote that is not closed", "put one at both ends of the text"),
        (r"=\s*'[^']*'\s*[^\s#]", "an apostrophe in single quotes", 'use double quotes: "..."'),
        (r"=\s*\"[^\"]*\"\s*[^\s#]", "something behind a text in quotes", "put # before a remark"),
    )
)
"""What a line at fault looks like, what that is, and what to do; the first that fits is told."""


def explained(text: str, said: str, line: int) -> tuple[int, str, str]:
    """Say where a text is not TOML, what is wrong there, and what to do about it.

    Parameters
    ----------
    text
        The whole file.
    said, line
        What the parser says, and the line on which it stopped, from 1.

    Returns
    -------
    line, what, remedy
        Of what a person got wrong, which may stand above where the parser stopped.

    >>> explained('date = 2026-5-1', "Expected newline", 1)
    (1, 'a date of another form', 'write it as 2026-05-01')
    """
    lines = text.splitlines()
    if "twice" in said or "overwrite" in said:
        return _twice(lines, line) or (line, said, "keep one of the two")
    if "Unclosed array" in said:
        start = max((at for at, one in enumerate(lines, 1) if re.search(r"=\s*\[", one)), default=line)
        return start, "a [ that is not closed", "write ] behind the last value"
    if "Unterminated" in said:
        return line, "a quote that is not closed", "put one at both ends of the text"
    at = lines[line - 1] if line <= len(lines) else ""
    for pattern, what, remedy in _SLIPS:
        if pattern.search(at):
            return line, what, remedy
    return line, said, _LINE


def _twice(lines: list[str], stopped: int) -> tuple[int, str, str] | None:
    """Find the table or the key that stands twice, or once as a table and once as one of several."""
    first: dict[str, tuple[int, str]] = {}
    table, count = "", 0
    for number, one in enumerate(lines, 1):
        header, key = _HEADER.fullmatch(one), _KEY.match(one)
        if header:
            brackets, table = header.groups()
            count += 1
            at, before = first.setdefault(f"[{table}]", (number, brackets))
            if at != number and "[" in (before, brackets):
                return _table_twice(table, at if before == "[" else number, number)
            table += f"#{count}"
        elif key:
            at, _ = first.setdefault(f"{table} {key[1]}", (number, ""))
            if at != number:
                return number, f"{key[1]} stands in row {at} too", "keep one of the two"
        if number >= stopped and not key and not header:
            break
    return None


def _table_twice(table: str, single: int, again: int) -> tuple[int, str, str]:
    if table == "response_levels":
        return single, "[response_levels] in single brackets", "write [[response_levels]] above each level"
    return again, f"[{table}] stands twice", "put all its keys under one of the two"
