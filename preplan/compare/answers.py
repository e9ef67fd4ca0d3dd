"""What differs at each address that both runs have: the answer, what is to be done, and the numbers."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import numpy.typing as npt
import pandas as pd

from preplan.compare.look_up import look_up
from preplan.compare.results import CSV_TABLES, Results
from preplan.compare.runs import RunChange, moved_ft
from preplan.compare.steps import Steps
from preplan.inputs.cells import months
from preplan.plan_tables import FIRST_ALARM_IN, NO_SITE_IN, NOT_THIS_WAY, SHUT_BEYOND, WATER_BETWEEN
from preplan.planning.weights import LIMIT_FLAGS
from preplan.records import ALL_MONTHS, BoolArray, FloatArray, IntArray, TextArray, text_array

GROUPS = ("worse", "better", "instructions", "numbers", "same")
"""What became of an address, worst first: its answer is worse, or better; the same, and something else is to be done;
the same, with other numbers or remarks; nothing."""
WEIGHS = 0.1
"""Share of the need by which more or less is held of it where no level meets: as another answer (this program's choice,
the share that is flagged as close; no source)."""
HOSE_STEP_FT = 50.0
"""Smaller changes of a driveway leave an address unchanged: a length of hose (common practice, no source)."""
WAY_FT = 100.0
"""Ways that lie nowhere farther apart are one way (this program's choice, no source)."""
TO_DO = (
    "grade", "level name", "label", "fill site", "second fill site", "backup", "winter", "units", "units' order",
    "jobs", "in the shuttle", "call by", "season", "way", "from the station", "sheets", "near the fill site",
    "fill site's card", "fill site's number", "to mind",
)  # fmt: skip
"""Differences that change what is done or said, in the order of telling."""
NUMBERS = (
    "required", "required for", "required total", "basis", "held", "steady", "one tanker out", "first water",
    "too little", "round trip", "driveway", "limited by", "other level", "other level's site",
    "other level's name", "other level's rest", "season's flow", "remarks",
)  # fmt: skip
"""Differences of numbers and remarks, in the order of telling."""
UNITS: Mapping[str, str] = MappingProxyType(
    {
        "required": " gpm", "required for": " min", "required total": " gal", "held": " gpm", "steady": " gpm",
        "one tanker out": " gpm", "first water": " min", "too little": " min", "round trip": " min", "driveway": " ft",
        "other level": " gpm",
    }
)  # fmt: skip
"""Units of the differences that are numbers."""
_JOBS = {"attack_engine": "attack", "fill_engine": "fill", "dump_engine": "dump", "split_engine": "second fill"}
"""Columns of engines in cards.csv, and their jobs."""
_TOLD = {"from the station": "from_station", "sheets": "sheets", "near the fill site": "near_fill_site"}
"""Differences of what a card says, and the columns of cards.csv."""
_OF_THE_LEVEL = frozenset({"held", "steady"})
"""Numbers of the level that is shown."""
_DONE_FLAGS = frozenset({
    "send with first alarm", "dump site at junction", "turn at dump site", "turn at fill site", "one way traffic",
    "meeting on narrow road", "circuits meet", "road closed", NO_SITE_IN, "two fill sites", "hydrant near", "seasonal",
    "no way for", "barrier", "level short", "hose lay", "single fill site", "no backup", "lower level fills elsewhere",
    NOT_THIS_WAY, SHUT_BEYOND, WATER_BETWEEN, FIRST_ALARM_IN, *LIMIT_FLAGS,
})  # fmt: skip
"""Flags that tell crews what to do or to mind; all others are remarks."""
_TOLD_ELSEWHERE = frozenset({"gap", "long driveway", "left out"})
"""Flags that repeat a number or a unit that is compared by itself."""
_SHUT_FLAGS = frozenset({"road closed", NO_SITE_IN})
"""Flags that name the months in which no tanker gets to an address that has a route in others."""
_PLAIN_VALUE = re.compile(r", round trip [\d.]+ min$|^\d[\d.]* (?:min|mi)$")
"""Of a flag's value, the numbers that change with every trip."""
_GPM = re.compile(r"(\d+)(?= gpm)")
_FLOW = re.compile(r"^(\d+) gpm$")
_MEASURE = re.compile(r"\d[\d.]* (?!gpm)\w+")
_CIRCUIT = "second circuit "


@dataclass(frozen=True, slots=True, kw_only=True)
class Answers:
    """The addresses that both runs have, in the order of their ids."""

    old: pd.DataFrame
    """Rows of addresses.csv, with what dispatch.csv and cards.csv tell of each, and the `rank` of the level."""
    new: pd.DataFrame
    grade: IntArray
    """(addresses, 2): old and new; less is better, see `grades`."""
    differences: pd.DataFrame
    """`at` (address), `what`, `subject`, `old`, `new`, by address and in the order of telling."""
    group: TextArray
    """(addresses,) one of `GROUPS`."""
    lost: FloatArray
    """(addresses,) share of the need that was held and is no longer; less than 0: more of it is held."""
    smaller: BoolArray
    """(addresses,): unchanged but for numbers that differ by less than the steps."""

    def __len__(self) -> int:
        """Count the addresses."""
        return len(self.old)


def compare_answers(old: Results, new: Results, changes: Iterable[RunChange], steps: Steps) -> Answers:
    """Hold the answers of two runs against each other.

    Parameters
    ----------
    old, new
        The results.
    changes
        What differs at large, see `run_changes`.
    steps
        What counts as a change of a number.
    """
    before, after = (_rows(one, other) for one, other in ((old, new), (new, old)))
    grade = np.column_stack([grades(before), grades(after)])
    pair = _Pair(old=before, new=after, grade=grade, steps=steps, units=(old.units_of, new.units_of))
    found = [
        *_grade(pair), *_sites(pair), *_units(pair), *_told(pair), *_ways(pair, old, new), *_site_cards(pair, changes),
        *_flags(pair), *_seasons(pair), *_numbers(pair), *_levels(pair, old, new),
    ]  # fmt: skip
    differences = _joined(found)
    done = np.isin(np.arange(len(before)), differences.loc[differences["what"].isin(TO_DO), "at"].to_numpy())
    other = np.isin(np.arange(len(before)), differences["at"].to_numpy())
    lost = _held_share(before) - _held_share(after)
    told = np.isin(
        np.arange(len(before)), differences.loc[differences["what"].isin(("held", "required")), "at"].to_numpy()
    )
    without = ((before["status"] == "no route") & (after["status"] == "no route")).to_numpy()
    grave = pair.same_grade & ((told & (np.abs(lost) >= WEIGHS - 1e-9)) | without)
    worse, better = ((sign * (grade[:, 1] - grade[:, 0]) > 0) | (grave & (sign * lost > 0)) for sign in (1, -1))
    group = np.select([worse, better, done, other], GROUPS[:4], GROUPS[4]).astype(np.object_)
    return Answers(
        old=before, new=after, grade=grade, differences=differences, group=group, lost=lost,
        smaller=(group == "same") & _any_unlike(before, after),
    )  # fmt: skip


Part = Callable[[str], list[str]]
"""Parts a list of units as `Results.units_of` does."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pair:
    """Addresses of both runs, row by row."""

    old: pd.DataFrame
    new: pd.DataFrame
    grade: IntArray
    steps: Steps
    units: tuple[Part, Part]

    def texts(self, column: str) -> tuple[TextArray, TextArray]:
        """Give a column of texts of both."""
        return self.old[column].to_numpy(dtype=object), self.new[column].to_numpy(dtype=object)

    def floats(self, column: str) -> tuple[FloatArray, FloatArray]:
        """Give a column of numbers of both."""
        return self.old[column].to_numpy(dtype=float), self.new[column].to_numpy(dtype=float)

    def both(self, column: str) -> BoolArray:
        """Mask the addresses where a column of yes and no says yes in both."""
        return np.asarray(self.old[column] & self.new[column], dtype=np.bool_)

    @property
    def same_grade(self) -> BoolArray:
        """Mask the addresses whose answer is neither better nor worse."""
        return np.asarray(self.grade[:, 0] == self.grade[:, 1])


def _rows(results: Results, other: Results) -> pd.DataFrame:
    """Take the addresses that another run has too, with what the dispatch table tells of each, and the level's rank."""
    addresses = results["addresses"]
    table = addresses[addresses["address_id"].isin(other["addresses"]["address_id"])]
    table = table.sort_values("address_id", ignore_index=True)
    level = table["response_level"].map(level_ranks(results)).fillna(-1).to_numpy(dtype=np.int32)
    told, cards = look_up(table, results["dispatch"]), cards_of(table, results["cards"])
    carded = cards["page"] != ""
    for name in ("road", "units"):  # the cards name every road; the look-up fails for some labels
        told[name] = np.where(carded, cards[name], told[name])
    return table.assign(
        **told,
        rank=level,
        jobs=cards["jobs"],
        page=cards["page"],
        **{name: cards[name] for name in ("seasons", "together", *_TOLD.values())},
        sent=told["found"] | carded,
    )


def cards_of(addresses: pd.DataFrame, cards: pd.DataFrame) -> dict[str, TextArray]:
    """Tell what cards.csv says of addresses, (addresses,) each, '' without a card.

    These are `road`, `units`, `jobs`, `page`, `seasons`, the columns of `_TOLD`, and `together`, the ids on its card.
    """
    table, told = cards.set_index("address_id").reindex(addresses["address_id"]), ("seasons", *_TOLD.values())
    texts = {name: table[name].fillna("").tolist() for name in ("road", "units", "file", *told, *_JOBS)}
    jobs = [
        ", ".join(f"{job} {unit}" for job, unit in zip(_JOBS.values(), units, strict=True) if unit)
        for units in zip(*(texts[name] for name in _JOBS), strict=True)
    ]
    pages = zip(texts["file"], table["page"].tolist(), strict=True)
    on_card: dict[tuple[str, float], list[str]] = {}
    for one, file, page in zip(cards["address_id"], cards["file"], cards["page"], strict=True):
        on_card.setdefault((file, page), []).append(one)
    places = zip(texts["file"], table["page"].tolist(), strict=True)
    return {
        "road": text_array(texts["road"]),
        "units": text_array(texts["units"]),
        "jobs": text_array(jobs),
        **{name: text_array(texts[name]) for name in told},
        "together": text_array([" ".join(on_card.get(place, ())) for place in places]),
        "page": text_array([f"{file} {page:.0f}" if file else "" for file, page in pages]),
    }


def level_ranks(results: Results) -> dict[str, int]:
    """Give the place of each response level, lowest 0, by its name as the tables spell it."""
    return {name: at for at, name in enumerate(dict.fromkeys(results["levels"]["response_level"]))}


def grades(rows: pd.DataFrame) -> IntArray:
    """Rank answers, (addresses,), less is better: hydrant, served, each higher level, not met, no route."""
    status, rank = rows["status"].to_numpy(dtype=object), rows["rank"].to_numpy()
    kinds = [status == one for one in ("hydrant", "served", "higher level", "not met")]
    return np.select(kinds, [np.zeros(len(rows)), np.ones(len(rows)), 1 + rank, 1000], 2000).astype(np.int32)


def _held_share(rows: pd.DataFrame) -> FloatArray:
    """Give the share of the need that is held, (addresses,): all where the answer meets; of months without a route."""
    held, needed = (rows[name].to_numpy(dtype=float) for name in ("uninterrupted_gpm", "required_gpm"))
    share = np.minimum(np.nan_to_num(held) / np.where(needed > 0.0, needed, np.inf), 1.0)
    status = rows["status"].to_numpy(dtype=object)
    with_route = np.array([_months_with_route(flags) / len(ALL_MONTHS) for flags in rows["flags"]])
    return np.select([status == "not met", status == "no route"], [share, with_route], 1.0)


def _months_with_route(flags: str) -> int:
    """Count the months in which an address without a route has one: flags name those without, or none does all year.

    >>> _months_with_route("road closed=11-3; no fill site in=4"), _months_with_route("road cut off")
    (6, 0)
    """
    values = [text.partition("=")[2] for text in flags.split("; ") if text.partition("=")[0] in _SHUT_FLAGS]
    shut = {month for value in values for month in months(value) or ()}
    return len(ALL_MONTHS) - len(shut) if shut else 0


# --------------------------------------------------------------------------- differences


def _difference(
    what: str, mask: BoolArray, old: npt.ArrayLike, new: npt.ArrayLike, subject: npt.ArrayLike = ""
) -> pd.DataFrame:
    """Write the differences of one kind: rows where a mask holds."""
    at = np.flatnonzero(mask)
    cells = {
        name: np.broadcast_to(np.asarray(values, dtype=object), mask.shape)[at]
        for name, values in (("subject", subject), ("old", old), ("new", new))
    }
    return pd.DataFrame({"at": at, "what": what, **cells})


def _joined(found: list[pd.DataFrame]) -> pd.DataFrame:
    """Put differences together, by address and in the order of telling."""
    order = {what: at for at, what in enumerate((*TO_DO, *NUMBERS))}
    joined = pd.concat([one for one in found if len(one)] or found[:1], ignore_index=True)
    joined["order"] = joined["what"].map(order)
    return joined.sort_values(["at", "order", "subject"], ignore_index=True, kind="stable").drop(columns="order")


def _grade(pair: _Pair) -> list[pd.DataFrame]:
    status, level = pair.texts("status"), pair.texts("response_level")
    label = pair.texts("label")
    said = [np.where(status[end] == "higher level", level[end], status[end]) for end in (0, 1)]
    return [
        _difference("grade", ~pair.same_grade, *said),
        _difference("level name", pair.same_grade & (level[0] != level[1]), *level),
        _difference("label", label[0] != label[1], *label),
    ]


def _sites(pair: _Pair) -> list[pd.DataFrame]:
    names = {
        "fill site": "fill_site_id",
        "second fill site": "split_site_id",
        "backup": "backup_site_id",
        "winter": "winter",
    }
    both = {what: pair.texts(column) for what, column in names.items()}
    return [
        _difference(what, (old != new) & (pair.both("found") if what == "winter" else True), old, new)
        for what, (old, new) in both.items()
    ]


def _units(pair: _Pair) -> list[pd.DataFrame]:
    """Compare who is sent, who shuttles, and the call; where the grade is another, more or fewer are sent anyway."""
    units, shuttle, jobs = pair.texts("units"), pair.texts("tankers"), pair.texts("jobs")
    known = pair.same_grade & pair.both("sent")
    sets, hauling = (_sorted_units(pair, both) for both in (units, shuttle))
    others = known & (sets[0] != sets[1])
    ordered = known & ~others & (units[0] != units[1])
    hauls = pair.same_grade & (hauling[0] != hauling[1])
    sent, hauled = _apart(pair, units, others), _apart(pair, shuttle, hauls)
    hauls &= ~((sent[0] == hauled[0]) & (sent[1] == hauled[1]))  # said once
    call = pair.floats("call_by_min")
    asked = pair.same_grade & _unlike(*call, 0.0)
    return [
        _difference("units", others, *sent),
        _difference("units' order", ordered, *units),
        _difference("jobs", pair.same_grade & (jobs[0] != jobs[1]) & (jobs[0] != "") & (jobs[1] != ""), *jobs),
        _difference("in the shuttle", hauls, *hauled),
        _difference("call by", asked, *(_written(one, 0) for one in call)),
    ]


def _told(pair: _Pair) -> list[pd.DataFrame]:
    """Compare what cards of the same addresses say in words; who is sent, or another answer, is told by itself."""
    units, cards = _sorted_units(pair, pair.texts("units")), pair.texts("together")
    known = pair.same_grade & (cards[0] == cards[1]) & (cards[0] != "")
    found = []
    for what, column in _TOLD.items():
        old, new = pair.texts(column)
        mask = known & (old != new) & ((units[0] == units[1]) | (what != "from the station"))
        found.append(_difference(what, mask, old, new))
    return found


def _sorted_units(pair: _Pair, both: tuple[TextArray, TextArray]) -> list[TextArray]:
    """Bring lists of units, old and new, to one order; fleets come again at many addresses."""
    found = []
    for texts, part in zip(both, pair.units, strict=True):
        known = {text: " ".join(sorted(part(text))) for text in set(texts.tolist())}
        found.append(np.array([known[text] for text in texts.tolist()], dtype=object))
    return found


def _apart(pair: _Pair, texts: tuple[TextArray, TextArray], mask: BoolArray) -> tuple[TextArray, TextArray]:
    """Give of two lists of units those that the other lacks, in their order."""
    apart = tuple(np.full(len(mask), "", dtype=object) for _ in texts)
    several = set(zip(texts[0][mask], texts[1][mask], strict=True))
    pairs = {both: tuple(part(text) for part, text in zip(pair.units, both, strict=True)) for both in several}
    for at in np.flatnonzero(mask).tolist():
        old, new = pairs[texts[0][at], texts[1][at]]
        apart[0][at] = " ".join(one for one in old if one not in new)
        apart[1][at] = " ".join(one for one in new if one not in old)
    return apart[0], apart[1]


def _numbers(pair: _Pair) -> list[pd.DataFrame]:
    gpm, minutes = pair.steps.gpm, pair.steps.min
    columns = (
        ("required", "required_gpm", 0, 0.0), ("required for", "required_min", 1, 0.0),
        ("required total", "required_gal", 0, 0.0), ("held", "uninterrupted_gpm", 0, gpm),
        ("steady", "sustained_gpm", 0, gpm), ("first water", "first_water_min", 1, minutes),
        ("too little", "gap_min", 1, minutes), ("round trip", "round_trip_min", 1, minutes),
        ("driveway", "driveway_ft", 0, HOSE_STEP_FT),
    )  # fmt: skip
    found = []
    for what, column, decimals, step in columns:
        old, new = pair.floats(column)
        unlike = _unlike(old, new, step)
        if what in _OF_THE_LEVEL:  # where another level is shown, each level is compared with itself
            unlike &= pair.same_grade
        found.append(_difference(what, unlike, _written(old, decimals), _written(new, decimals)))
    for what, column in (("basis", "required_basis"), ("limited by", "limited_by")):
        texts = pair.texts(column)
        found.append(_difference(what, texts[0] != texts[1], *texts))
    return found


def _unlike(old: FloatArray, new: FloatArray, step: float) -> BoolArray:
    """Tell where numbers differ, by a step at least, or where one alone is known."""
    apart = np.abs(np.nan_to_num(new) - np.nan_to_num(old))
    unlike: BoolArray = (np.isnan(old) != np.isnan(new)) | ((apart >= step - 1e-6) & (apart > 1e-6))
    return unlike


def _written(values: FloatArray, decimals: int) -> TextArray:
    form = f"%.{decimals}f"
    return np.array(["" if np.isnan(value) else form % value for value in values.tolist()], dtype=object)


def _any_unlike(old: pd.DataFrame, new: pd.DataFrame) -> BoolArray:
    """Mask the rows of addresses.csv that are not equal in every cell."""
    columns = list(CSV_TABLES["addresses"])
    equal = (old[columns] == new[columns]) | (old[columns].isna() & new[columns].isna())
    return np.asarray(~equal.to_numpy(dtype=np.bool_).all(axis=1), dtype=np.bool_)


# --------------------------------------------------------------------------- ways, fill sites, remarks, other levels


def _ways(pair: _Pair, old: Results, new: Results) -> list[pd.DataFrame]:
    """Find the legs that run elsewhere, of circuits that go over the same fill site in both runs."""
    import shapely  # noqa: PLC0415 - slow to import

    key = ["address_id", "site_id", "leg"]
    # ways of months that do not decide stand behind the chosen ones, some over the same fill site
    was, now = (one["routes"].drop_duplicates(key) for one in (old, new))
    legs = was.merge(now, on=key, suffixes=("_old", "_new"))
    legs = legs[legs["geom_old"] != legs["geom_new"]]
    at = pd.Index(pair.old["address_id"]).get_indexer(legs["address_id"])
    legs, at = legs[at >= 0], at[at >= 0]
    if not len(legs):
        return []
    middle = np.deg2rad(pair.old["lat"].to_numpy(dtype=float).mean())
    ft_per_degree = float(moved_ft(np.array([[0.0, 0.0]]), np.array([[0.0, 1.0]]))[0])  # near enough for one way or two
    scale = np.array([ft_per_degree * np.cos(middle), ft_per_degree])
    lines = [
        shapely.transform(shapely.from_wkb(legs[f"geom_{end}"].to_numpy()), lambda xy: xy * scale)
        for end in ("old", "new")
    ]
    apart = np.asarray(shapely.hausdorff_distance(*lines)) > WAY_FT
    leg = np.where(legs["leg"].to_numpy() == "out", "loaded", "empty")
    moved = pd.DataFrame({"at": at, "subject": legs["site_id"].to_numpy(), "new": leg})[apart]
    moved = moved.groupby(["at", "subject"], as_index=False, sort=True).agg({"new": " and ".join})
    return [moved.assign(what="way", old="")]


def _site_cards(pair: _Pair, changes: Iterable[RunChange]) -> list[pd.DataFrame]:
    """Find addresses whose fill sites say something else on the card, or bear another number."""
    found = []
    for change in changes:
        if change.kind != "fill site" or change.state not in {"says", "changed", "number"}:
            continue
        what = "fill site's number" if change.state == "number" else "fill site's card"
        named = np.zeros(len(pair.old), dtype=np.bool_)
        for column in ("fill_site_id", "split_site_id", "backup_site_id"):
            old, new = pair.texts(column)
            named |= (old == change.subject) & (new == change.subject)
        found.append(_difference(what, named, change.old, change.new, change.subject))
    return found


def _flags(pair: _Pair) -> list[pd.DataFrame]:
    """Compare what is flagged, by code and value; flows that differ by less than the step are alike."""
    both = _exploded(pair.old["flags"]).merge(
        _exploded(pair.new["flags"]), on=["at", "code"], how="outer", suffixes=("_old", "_new"), indicator=True
    )
    plain = both["code"].str.removeprefix(_CIRCUIT)
    old, new = (both[f"value_{end}"].str.extract(_FLOW, expand=False).astype(float) for end in ("old", "new"))
    alike = (both["value_old"] == both["value_new"]) | ((old - new).abs() < max(pair.steps.gpm, 1.0))
    done = plain.isin(_DONE_FLAGS)
    # other numbers of remarks, as the feet to a road, differ wherever a road was drawn anew
    measured = both["value_old"].str.fullmatch(_MEASURE) & both["value_new"].str.fullmatch(_MEASURE)
    alike |= ~done & measured.fillna(value=False).astype(bool)
    told = ((both["_merge"] != "both") | ~alike) & ~plain.isin(_TOLD_ELSEWHERE)
    both, done = both[told], done[told]
    said = {
        end: np.where(both["_merge"] == gone, "", _coded(both["code"], both[f"value_{end}"]))
        for end, gone in (("old", "right_only"), ("new", "left_only"))
    }
    what = np.where(done, "to mind", "remarks")
    return [pd.DataFrame({"at": both["at"].to_numpy(), "what": what, "subject": both["code"].to_numpy(), **said})]


def _exploded(flags: pd.Series[str]) -> pd.DataFrame:
    """Take flags apart, a row each: address, code, and what of its value does not change with every trip."""
    single = [(at, flag.partition("=")) for at, text in enumerate(flags) for flag in text.split("; ") if flag]
    table = pd.DataFrame(
        {
            "at": np.array([at for at, _ in single], dtype=np.int64),
            "code": text_array([code for _, (code, _, _) in single]),
            "value": text_array([_PLAIN_VALUE.sub("", value) for _, (_, _, value) in single]),
        }
    )
    return table.groupby(["at", "code"], as_index=False).agg({"value": " / ".join})


def _coded(code: pd.Series[str], value: pd.Series[str]) -> pd.Series[str]:
    return code + np.where(value.fillna("") == "", "", "=" + value.fillna(""))


def _seasons(pair: _Pair) -> list[pd.DataFrame]:
    """Compare what the seasons bring that do not decide, since cards print them: other fill sites, or other flows."""
    old, new = pair.texts("seasons")
    sites, flows = np.zeros((2, len(old)), dtype=np.bool_)
    there = (old != new) & ((pair.old["page"] != "") & (pair.new["page"] != "")).to_numpy()
    no_route = (pair.new["status"] == "no route").to_numpy()  # the card names the level of the other seasons
    for at in np.flatnonzero(there & pair.same_grade).tolist():
        parts = [_GPM.split(text) for text in (old[at], new[at])]
        sites[at] = parts[0][::2] != parts[1][::2]
        apart = [abs(float(a) - float(b)) for a, b in zip(parts[0][1::2], parts[1][1::2], strict=False)]
        flows[at] = any(gpm >= max(pair.steps.gpm, 1.0) for gpm in apart)
    told = sites | (flows & no_route)
    return [_difference("season", told, old, new), _difference("season's flow", flows & ~told, old, new)]


def _levels(pair: _Pair, old: Results, new: Results) -> list[pd.DataFrame]:
    """Compare the levels that are not shown, since cards print them too; of a grade that changed, its own."""
    key = ["address_id", "rank"]
    both = ranked_levels(old).merge(ranked_levels(new), on=key, how="outer", suffixes=("_old", "_new"))
    at = pd.Index(pair.old["address_id"]).get_indexer(both["address_id"])
    both, at = both[at >= 0], at[at >= 0]

    def floats(column: str) -> tuple[FloatArray, FloatArray]:
        return both[f"{column}_old"].to_numpy(dtype=float), both[f"{column}_new"].to_numpy(dtype=float)

    def texts(column: str) -> tuple[TextArray, TextArray]:
        old, new = (both[f"{column}_{end}"].fillna("").to_numpy(dtype=object) for end in ("old", "new"))
        return old, new

    flow, name, site, rank = floats("uninterrupted_gpm"), texts("response_level"), texts("sites"), both["rank"]
    own = [one["uninterrupted_gpm"].to_numpy(dtype=float)[at] for one in (pair.old, pair.new)]
    called = [one["rank"].to_numpy()[at] for one in (pair.old, pair.new)]
    same = pair.same_grade[at]
    shown = same & ((called[0] == rank) | ((called[0] < 0) & (flow[0] == own[0]) & (flow[1] == own[1]))).to_numpy()
    worse = pair.grade[at, 1] > pair.grade[at, 0]  # told of a grade: what the level holds now that met, or meets
    other = np.where(same, ~shown, np.where(worse, *called) == rank)
    one_out, later = (
        _unlike(*floats(column), pair.steps.gpm) for column in ("one_out_gpm", "uninterrupted_on_arrival_gpm")
    )
    moved = _unlike(flow[0], flow[1], pair.steps.gpm)
    sent, limit = _sorted_units(pair, texts("tankers")), texts("limited_by")
    rest = ~moved & (site[0] == site[1]) & (one_out | later | (sent[0] != sent[1]) | (limit[0] != limit[1]))
    level = np.where(name[1] == "", name[0], name[1])
    kinds = (
        ("other level", other & moved, *(_written(one, 0) for one in flow), level),
        ("other level's site", other & (site[0] != site[1]), *site, level),
        ("other level's name", other & same & (name[0] != name[1]), *name, level),
        ("other level's rest", other & same & rest, "", "", level),
        ("one tanker out", shown & one_out, *(_written(one, 0) for one in floats("one_out_gpm")), ""),
    )
    return [
        _difference(what, mask, before, after, subject).assign(at=at[mask])
        for what, mask, before, after, subject in kinds
    ]


def ranked_levels(results: Results) -> pd.DataFrame:
    """Give levels.csv with the rank of each level, lowest 0, and its `sites`: one, or both with '+' between."""
    levels = results["levels"]
    second = "+" + levels["split_site_id"]
    sites = levels["fill_site_id"] + second.where(levels["split_site_id"] != "", "")
    return levels.assign(rank=levels["response_level"].map(level_ranks(results)), sites=sites)
