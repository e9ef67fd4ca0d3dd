"""What every (address, site, level) that a choice turns on brings, computed when first asked.

Where a case meets the requirement, it brings the uninterrupted flow. Where it does not, one late engine or one minute
without water would hide all the water of the two hours in that number: then it brings the flow asked for less what is
short of it on average. So a near pond whose engine comes late is not passed by for a far one that holds a trickle
from the first minute on.

A bound on both comes cheap, so few cases need their timeline run: a site is looked at only while its bound could beat
the best known one. What is chosen is then worked out in full, with tankers left out where that helps.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from preplan.plan_tables import later_gpm
from preplan.planning.assignment import Scene, circuit_of
from preplan.planning.fireground import Crews, case_table, drafting_itself, everyone, haulers, legs_min, steady
from preplan.planning.pieces import in_pieces
from preplan.records import BoolArray, FloatArray, IntArray, joined
from preplan.water.same import SAME
from preplan.water.timeline_batch import best_fleets, brought_gpm, held_flows
from preplan.water.timeline_bound import most_gpm
from preplan.water.timeline_clock import Rows

LOOKED_AT = 2
"""Sites of an address that are looked at together."""
UNKNOWN = -2
"""Row of a split that nobody has sought yet."""
_NOTHING_GPM = 1e-6
"""A case that holds no more holds nothing."""
ALIKE = 1e-6
"""Relative difference below which two sites hold as much: each flow is found by a search that ends near it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """Cases worked out in full, and what they hold: arrays of shape (cases,)."""

    run: Crews
    gpm: FloatArray
    """Uninterrupted flow."""
    brings_gpm: FloatArray
    """See `brought_gpm`."""
    one_out_gpm: FloatArray
    """(cases, those of `haulers`): uninterrupted flow with each tanker out; NaN where it does not haul."""

    def rows(self, pick: Rows | IntArray) -> Settled:
        """Take some of the cases."""
        return Settled(
            run=self.run.rows(pick),
            gpm=self.gpm[pick],
            brings_gpm=self.brings_gpm[pick],
            one_out_gpm=self.one_out_gpm[pick],
        )

    @property
    def least_one_out_gpm(self) -> FloatArray:
        """Give the least flow with any one tanker out, at most that of all; where none hauls there is none to lose.

        Where the requirement is not met, fewer may hold more in the worst minute and yet bring less.
        """
        least: FloatArray = np.fmin(self.one_out_gpm.T, self.gpm).min(axis=0, initial=np.inf)
        return np.minimum(least, self.gpm)


class Flows:
    """What pairs hold and bring at dispatch, gpm: arrays of shape (addresses, sites, levels); NaN until asked."""

    def __init__(self, scene: Scene, others: Sequence[Flows] = ()) -> None:
        """Bound every flow from above.

        `others` are other seasons of the roads: pairs that the most alike of them treats the same share its answers.
        """
        self.scene = scene
        alike = [_alike(scene, other.scene) for other in others]
        most = max(range(len(alike)), key=lambda at: int(alike[at].sum()), default=-1)
        self._like = others[most] if alike else None
        self._same = alike[most] if alike else np.zeros(scene.cuts[0].trip_min.shape, dtype=np.bool_)
        shape = (len(scene.needs), len(scene.sites), len(scene.levels))
        self.gpm = np.full(shape, np.nan)
        """Uninterrupted flow at a first look: a settled case may have better crews."""
        self.brings_gpm = np.full(shape, np.nan)
        """See `brought_gpm`; of the same crews."""
        self.most_gpm, self.most_delivered_gpm = np.zeros(shape), np.zeros(shape)
        """What neither of the two can exceed, whoever drafts and on whatever cut."""
        self.tankers = np.zeros(shape, dtype=np.int32)
        """How many haul."""
        self.cut = np.zeros(shape, dtype=np.int32)
        """Index of their cut by weight, which says by which trip they drive."""
        self.trip_min = np.full(shape, np.inf)
        """That of the cut; of what nobody has looked at, the shortest of any; inf: no way."""
        self.steady_gpm = np.zeros(shape)
        """In the long run."""
        self._row = np.full(shape, -1, dtype=np.int32)  # of the settled cases
        nobody = np.empty(0, dtype=np.int32)
        run, none_out = everyone(scene, nobody, nobody, nobody), np.empty((0, haulers(scene).size))
        self._settled = [Settled(run=run, gpm=np.empty(0), brings_gpm=np.empty(0), one_out_gpm=none_out)]
        self._count = 0
        self._splits: dict[tuple[int, int, int, bytes], int] = {}
        every = np.ones(self._same.shape, dtype=np.bool_)
        self._bound(every)

    def learn(self, scene: Scene, pairs: BoolArray) -> None:
        """Take in trips to more (addresses, sites), which the scene now tells; what is known stays."""
        self.scene = scene
        self._same[pairs] = False  # another season may not know them
        self._bound(pairs)

    def settled(self, address: IntArray, site: IntArray, level: IntArray) -> Settled:
        """Give cases in full, three arrays (cases,), settling those that are not yet."""
        self.settle(address, site, level)
        return self.settled_rows(self._row[address, site, level])

    def settled_rows(self, row: IntArray) -> Settled:
        """Give settled cases by their rows."""
        return self._whole().rows(row)

    def row_of(self, site: IntArray, level: int) -> IntArray:
        """Give the rows of the settled cases of chosen sites (addresses,); -1 where none."""
        row = self._row[np.arange(len(site)), np.maximum(site, 0), level]
        return np.where(site >= 0, row, -1).astype(np.int32)

    def held_gpm(self, row: IntArray) -> FloatArray:
        """Look up the uninterrupted flow of settled cases by their rows; 0 where the row is -1."""
        return np.where(row >= 0, np.append(self._whole().gpm, 0.0)[row], 0.0)

    def brings(self, row: IntArray) -> FloatArray:
        """Look up what settled cases bring by their rows; 0 where the row is -1."""
        return np.where(row >= 0, np.append(self._whole().brings_gpm, 0.0)[row], 0.0)

    def second_site(self, row: IntArray) -> IntArray:
        """Look up the second fill site of settled cases by their rows; -1 where there is none, or no case."""
        second = np.append(self._whole().run.second, -1)[row]
        return np.where(row >= 0, second, -1).astype(np.int32)

    def keep(self, done: Settled) -> IntArray:
        """Keep cases that are settled otherwise, such as those split over two sites; give their rows."""
        row = self._count + np.arange(len(done.gpm), dtype=np.int32)
        self._count += len(done.gpm)
        self._settled.append(done)
        return row

    def known_splits(self, run: Crews, tried: BoolArray) -> IntArray:
        """Give the rows of the splits of some settled cases over one of the sites `tried`, (cases, sites).

        -1 where none is worth it; `UNKNOWN` where it was not sought, here or in a season that treats all of them alike.
        """
        own = [self._splits.get(key, UNKNOWN) for key in _split_keys(run, tried)]
        rows = np.array(own, dtype=np.int32)
        if self._like is not None:
            sites = tried.copy()
            sites[np.arange(len(run)), run.site] = True
            alike = (self._same[run.address] | ~sites).all(axis=1)
            some = np.flatnonzero((rows == UNKNOWN) & alike)
            theirs = self._like.known_splits(run.rows(some), tried[some])
            there = theirs >= 0
            theirs[there] = self.keep(self._like.settled_rows(theirs[there]))
            rows[some] = theirs
            known = theirs != UNKNOWN
            self.note_splits(run.rows(some[known]), tried[some[known]], theirs[known])
        return rows

    def note_splits(self, run: Crews, tried: BoolArray, row: IntArray) -> None:
        """Note the rows of splits as `known_splits` gives them."""
        self._splits.update(zip(_split_keys(run, tried), row.tolist(), strict=True))

    def settle(self, address: IntArray, site: IntArray, level: IntArray) -> None:
        """Work out cases in full: leave out what slows the others, and never do worse than the level below there.

        Three arrays (cases,); those that are settled already cost nothing.
        """
        todo = np.flatnonzero(self._row[address, site, level] < 0)
        if todo.size:
            case = np.unique(np.column_stack([level[todo], address[todo], site[todo]]), axis=0).astype(np.int32)
            for one in np.unique(case[:, 0]):  # a level looks at the one below it
                lv, a, s = case[case[:, 0] == one].T
                a, lv, s = self._settle_shared(a, lv, s)
                for part in in_pieces(np.arange(len(a))):
                    self._settle_piece(a[part], s[part], lv[part])

    def _settle_shared(self, a: IntArray, lv: IntArray, s: IntArray) -> tuple[IntArray, IntArray, IntArray]:
        """Take over what another season of the roads settles alike; give the cases that are left."""
        shared = self._same[a, s]
        if self._like is not None and shared.any():
            self._keep(self._like.settled(a[shared], s[shared], lv[shared]))
        return a[~shared], lv[~shared], s[~shared]

    def look(self, address: IntArray, site: IntArray, level: IntArray) -> None:
        """Run the timelines of cases that are not known, three arrays (cases,), on every cut."""
        todo = np.isnan(self.gpm[address, site, level])
        shared = np.flatnonzero(todo & self._same[address, site])
        if self._like is not None and shared.size:
            at = (address[shared], site[shared], level[shared])
            self._like.look(*at)
            for word in ("gpm", "brings_gpm", "tankers", "cut", "trip_min", "steady_gpm"):
                getattr(self, word)[at] = getattr(self._like, word)[at]
        own = np.flatnonzero(todo & ~self._same[address, site])
        for rows in in_pieces(own):
            self._look_piece(address[rows], site[rows], level[rows])

    def best_site(self, allowed: BoolArray, level: int) -> IntArray:
        """Choose each address's site among those allowed, (addresses, sites): -1 where none has a way.

        The one that brings most. Where none meets, those that bring nearly as much (`keep_site_gain`) are as good: of
        them the largest uninterrupted flow; of equal flows the one that brings more; where none holds anything, the
        largest in the long run; then more tankers, the shorter trip, the first site_id. Only sites whose bound could
        win are looked at.
        """
        allowed = allowed & np.isfinite(self.trip_min[:, :, level])
        site = np.full(len(allowed), -1, dtype=np.int32)
        rows = np.arange(len(allowed), dtype=np.int32)
        while True:
            most, trip = self.most_gpm[rows, :, level], self.trip_min[rows, :, level]
            known = allowed[rows] & ~np.isnan(self.gpm[rows, :, level])
            pick = site[rows] = self._pick(rows, known, level)
            open_sites = allowed[rows] & ~known & self._could_win(rows, pick, level)
            on = np.flatnonzero(open_sites.any(axis=1))
            if not on.size:
                return site
            at, looked = np.nonzero(first_open(most[on], trip[on], open_sites[on], LOOKED_AT))
            rows = rows[on]  # what is looked at changes no other address
            self.look(rows[at], looked.astype(np.int32), np.full(at.size, level, dtype=np.int32))

    def held_at(self, site: IntArray, level: int) -> FloatArray:
        """Look up what chosen sites (addresses,) hold at a first look; 0 where none."""
        rows = np.arange(len(site))
        return np.where(site >= 0, self.gpm[rows, np.maximum(site, 0), level], 0.0)

    def steady_at(self, site: IntArray, level: int) -> FloatArray:
        """Look up what chosen sites (addresses,) bring in the long run where that is told; NaN in the others.

        Of those that hold nothing always, so that 'nor later' can be said.
        """
        held, long_run = self.held_at(site, level), self.steady_gpm[np.arange(len(site)), np.maximum(site, 0), level]
        told = np.where(held <= _NOTHING_GPM, long_run, later_gpm(long_run, held, self.scene.needs.required_gpm))
        return np.where(site >= 0, told, np.nan)

    def held_of(self, site: IntArray) -> FloatArray:
        """Look up `held_at` of the sites of every level, (addresses, levels)."""
        return np.column_stack([self.held_at(site[:, level], level) for level in range(site.shape[1])])

    def steady_of(self, site: IntArray) -> FloatArray:
        """Look up `steady_at` of the sites of every level, (addresses, levels)."""
        return np.column_stack([self.steady_at(site[:, level], level) for level in range(site.shape[1])])

    def brought_at(self, site: IntArray, level: int) -> FloatArray:
        """Look up what chosen sites (addresses,) bring at a first look; 0 where none."""
        rows = np.arange(len(site))
        return np.where(site >= 0, self.brings_gpm[rows, np.maximum(site, 0), level], 0.0)

    def nearly(self, most_gpm: FloatArray, met_from_gpm: FloatArray) -> FloatArray:
        """Give the least that counts as the most, (...,): all of it where it meets, else `keep_site_gain` below it."""
        few = most_gpm / (1.0 + self.scene.rules.plan.keep_site_gain)
        return np.where(most_gpm >= met_from_gpm, most_gpm, few)

    # ----------------------------------------------------------------------- how

    def _could_win(self, rows: IntArray, pick: IntArray, level: int) -> BoolArray:
        """Mask the sites of some addresses, (rows, sites), whose bounds allow that they be better than the pick."""
        most, trip = self.most_gpm[rows, :, level], self.trip_min[rows, :, level]
        need = self.scene.needs.met_from_gpm[rows, None]
        best = np.where(pick >= 0, self.gpm[rows, pick, level], -1.0)[:, None]
        brings = np.where(pick >= 0, self.brings_gpm[rows, pick, level], -1.0)[:, None]
        # As much could win by more tankers or a shorter trip, unless the best has them all and none is shorter.
        sent = self.scene.response.tankers[rows, level].sum(axis=1)
        settled = (pick >= 0) & (self.tankers[rows, pick, level] >= sent)
        shorter = ~settled[:, None] | (trip < self.trip_min[rows, pick, level][:, None])
        holds_more = (most > best * (1.0 + SAME)) | ((most >= best * (1.0 - ALIKE)) & shorter)
        enough = self.most_delivered_gpm[rows, :, level] >= self.nearly(brings, need) * (1.0 - SAME)
        return np.where(best >= need, holds_more, (most >= need * (1.0 - SAME)) | enough)

    def _pick(self, rows: IntArray, known: BoolArray, level: int) -> IntArray:
        """Pick the best of some addresses' known sites, (rows, sites): -1 where none is."""
        brings = np.where(known, self.brings_gpm[rows, :, level], -1.0)
        most = brings.max(axis=1, keepdims=True, initial=-1.0)
        enough = brings >= self.nearly(most, self.scene.needs.met_from_gpm[rows, None]) * (1.0 - ALIKE)
        flow = np.where(known & enough, self.gpm[rows, :, level], -1.0)
        top = flow.max(axis=1, keepdims=True, initial=-1.0)
        tied = known & enough & (flow >= top - ALIKE * np.maximum(top, 1.0))
        brought = np.where(tied, brings, -1.0)
        tied &= brought >= brought.max(axis=1, keepdims=True, initial=-1.0) * (1.0 - ALIKE)
        dry = self.gpm[rows, :, level] <= _NOTHING_GPM  # late tankers still fill at the better site
        long_run = np.where(tied, np.where(dry, self.steady_gpm[rows, :, level], 0.0), -1.0)
        tied &= long_run >= long_run.max(axis=1, keepdims=True, initial=-1.0) * (1.0 - SAME)
        count = np.where(tied, self.tankers[rows, :, level], -1)
        tied &= count == count.max(axis=1, keepdims=True, initial=-1)
        site = np.where(tied, self.trip_min[rows, :, level], np.inf).argmin(axis=1)
        return np.where(known.any(axis=1), site, -1).astype(np.int32)

    def _bound(self, pairs: BoolArray) -> None:
        """Fill in the bounds, and the shortest trip of any cut, which orders equal flows until a case is looked at."""
        shortest = self.shortest_min = np.min([cut.trip_min for cut in self.scene.cuts], axis=0)
        self.trip_min[pairs] = shortest[pairs][:, None]
        if self._like is not None:
            same = pairs & self._same
            self.most_gpm[same] = self._like.most_gpm[same]
            self.most_delivered_gpm[same] = self._like.most_delivered_gpm[same]
        own = pairs & ~self._same & np.isfinite(shortest)  # without a way nothing comes
        mosts = self.most_gpm, self.most_delivered_gpm
        a, s, lv = (i.astype(np.int32) for i in np.nonzero(np.broadcast_to(own[:, :, None], self.gpm.shape)))
        for part in in_pieces(np.arange(len(a))):
            whole = everyone(self.scene, a[part], s[part], lv[part])
            for crews in (whole, drafting_itself(self.scene, whole)[1]):
                for index in range(len(self.scene.cuts)):
                    _, run = self._on_cut(crews, index)
                    at = (run.address, run.site, run.level)
                    for most, bound in zip(mosts, most_gpm(case_table(self.scene, run)), strict=True):
                        most[at] = np.maximum(most[at], bound)

    def _on_cut(self, crews: Crews, index: int) -> tuple[Rows, Crews]:
        """Keep those whom a cut allows, in the cases (rows) where it is worth a look.

        A cut that drives no longer trip than the next heavier one carries less and gains nothing.
        """
        cuts = self.scene.cuts
        trip = cuts[index].trip_min[crews.address, crews.site]
        worth = np.isfinite(trip)
        if index + 1 < len(cuts):
            worth &= trip < cuts[index + 1].trip_min[crews.address, crews.site]
        rows = np.flatnonzero(worth)
        run = crews.rows(rows)
        used = run.used & cuts[index].members
        return rows, replace(run, cut=np.full(rows.size, index, dtype=np.int32), used=used)

    def _look_piece(self, address: IntArray, site: IntArray, level: IntArray) -> None:
        found = self._or_drafting(everyone(self.scene, address, site, level), self._over_cuts)
        at = (address, site, level)
        self.gpm[at], self.brings_gpm[at], self.cut[at] = found.gpm, found.brings_gpm, found.run.cut
        self.tankers[at] = found.run.used.sum(axis=1)
        self.trip_min[at] = legs_min(self.scene, found.run)[0]
        self.steady_gpm[at] = steady(self.scene, found.run).sustained_gpm

    def crews(self, address: IntArray, site: IntArray, level: IntArray) -> Crews:
        """Give the fleets whose flows `gpm` has, of cases that were looked at; a settled case may have a better one."""
        rows = np.arange(len(address))
        pieces = [everyone(self.scene, address[at], site[at], level[at]) for at in in_pieces(rows) or [rows]]
        return joined([self._or_drafting(crews, self._over_cuts).run for crews in pieces])

    def _or_drafting(self, crews: Crews, work: Callable[[Crews], Settled]) -> Settled:
        """Work cases out, and those that do not meet with the attack engine to draft: the better of both."""
        done = work(crews)
        short = np.flatnonzero(done.gpm < self.scene.needs.met_from_gpm[crews.address])
        rows, itself = drafting_itself(self.scene, crews.rows(short))
        if not rows.size:
            return done
        rows, other = short[rows], work(itself)
        better = self._better(done.rows(rows), other)
        return _put_settled(done, rows[better], other.rows(better))

    def _better(self, one: Settled, other: Settled) -> Rows:
        """Find where the other meets, or holds no less and brings more, or holds more and brings nearly as much.

        The one does not meet.
        """
        need = self.scene.needs.met_from_gpm[one.run.address]
        few = self.nearly(np.maximum(one.brings_gpm, other.brings_gpm), need)
        more = (other.gpm > one.gpm * (1.0 + SAME)) | (other.brings_gpm > one.brings_gpm * (1.0 + SAME))
        better = more & (other.gpm >= one.gpm) & (other.brings_gpm >= few)
        return np.flatnonzero((other.gpm >= need) | better)

    def _over_cuts(self, crews: Crews) -> Settled:
        """Give each case's best fleet over its cuts with the jobs it has; nobody is out.

        With and without those whom the steady form leaves out. A case without a way keeps the lightest cut and nobody.
        """
        at, runs = [], []
        for index, cut in enumerate(self.scene.cuts):
            rows, whole = self._on_cut(crews, index)
            trip = cut.trip_min[whole.address, whole.site]
            quick = circuit_of(self.scene, whole.site, whole.jobs).best(trip, whole.used).used
            few = np.flatnonzero((quick != whole.used).any(axis=1))
            at += [rows, rows[few]]
            runs += [whole, replace(whole, used=quick).rows(few)]
        tried = joined(runs)
        table = case_table(self.scene, tried)
        held = held_flows(table).uninterrupted_gpm
        brought = brought_gpm(table, held)
        best = replace(crews, used=np.zeros_like(crews.used))
        gpm, brings, first = np.zeros(len(crews)), np.full(len(crews), -1.0), 0
        for rows in at:
            part = np.arange(first, first + rows.size)
            better = _outdoes(brought[part], tried.used[part], brings[rows], best.used[rows])
            best = _put(best, rows[better], tried.rows(part[better]))
            gpm[rows[better]], brings[rows[better]] = held[part[better]], brought[part[better]]
            first += rows.size
        nobody_out = np.full((len(crews), haulers(self.scene).size), np.nan)
        return Settled(run=best, gpm=gpm, brings_gpm=np.maximum(brings, 0.0), one_out_gpm=nobody_out)

    def _whole(self) -> Settled:
        """Join what is settled so far."""
        if len(self._settled) > 1:
            self._settled = [_join(self._settled)]
        return self._settled[0]

    def _settle_piece(self, address: IntArray, site: IntArray, level: IntArray) -> None:
        done = self._or_drafting(
            everyone(self.scene, address, site, level),
            lambda crews: without_the_slow(self.scene, self._over_cuts(crews).run),
        )
        self._keep(self._as_below(done))

    def _keep(self, done: Settled) -> None:
        """Note settled cases; what a choice looks at stays, so that no choice depends on what was settled before it."""
        at = (done.run.address, done.run.site, done.run.level)
        self.cut[at], self._row[at] = done.run.cut, self.keep(done)

    def _as_below(self, done: Settled) -> Settled:
        """Let a level do what the level below does from the same site, where its own crews would do worse."""
        run = done.run
        below = self._row[run.address, run.site, np.maximum(run.level - 1, 0)]
        rows = np.flatnonzero((run.level > 0) & (below >= 0))
        if not rows.size:
            return done
        whole = self._whole()
        worse = done.brings_gpm[rows] < whole.brings_gpm[below[rows]] * (1.0 - SAME)
        rows, below = rows[worse], below[rows[worse]]
        kept = whole.rows(below)
        return _put_settled(done, rows, replace(kept, run=replace(kept.run, level=run.level[rows])))


def without_the_slow(scene: Scene, run: Crews) -> Settled:
    """Leave out tankers while that raises what is brought: the cases with those who stay, worked out in full."""
    used, (gpm, brings) = run.used.copy(), np.zeros((2, len(run)))
    haul = haulers(scene)
    one_out = np.full((len(run), haul.size), np.nan)
    rows = np.arange(len(run))
    while rows.size:
        best = best_fleets(case_table(scene, replace(run, used=used).rows(rows)))
        gpm[rows], brings[rows], one_out[rows] = best.gpm, best.brings_gpm, best.one_out_gpm
        left = used[np.ix_(rows, haul)] & ~best.used
        used[np.ix_(rows, haul)] &= best.used
        rows = rows[left.any(axis=1)]  # once more: who is left out still brings a portable tank
    stays = replace(run, used=used, at_second=run.at_second & used)
    return Settled(run=stays, gpm=gpm, brings_gpm=brings, one_out_gpm=one_out)


def _split_keys(run: Crews, tried: BoolArray) -> list[tuple[int, int, int, bytes]]:
    """Name cases and the sites tried for them."""
    cases = zip(run.address.tolist(), run.site.tolist(), run.level.tolist(), strict=True)
    return [(*case, sites.tobytes()) for case, sites in zip(cases, tried, strict=True)]


def _alike(scene: Scene, other: Scene) -> BoolArray:
    """Mask the (addresses, sites) whose trips and arrivals are the same in two seasons of the roads."""
    trips = [
        (mine.trip_min == theirs.trip_min) & (mine.out_min == theirs.out_min)
        for mine, theirs in zip(scene.cuts, other.cuts, strict=True)
    ]
    to_address = (scene.response.arrival_min == other.response.arrival_min).all(axis=1)
    to_site = (scene.response.site_arrival_min == other.response.site_arrival_min).all(axis=1)
    alike: BoolArray = np.logical_and.reduce(trips) & to_address[:, None] & to_site
    return alike


def first_open(most_gpm: FloatArray, trip_min: FloatArray, open_sites: BoolArray, count: int) -> BoolArray:
    """Mask the `count` open sites of each row with the highest bound, of equal ones those with the shortest trip."""
    order = np.lexsort((trip_min, np.where(open_sites, -most_gpm, np.inf)), axis=1)[:, :count]
    mask = np.zeros(open_sites.shape, dtype=np.bool_)
    np.put_along_axis(mask, order, values=True, axis=1)
    return mask & open_sites


def _outdoes(flow: FloatArray, used: BoolArray, best: FloatArray, best_used: BoolArray) -> BoolArray:
    """Tell where a fleet brings more than the best so far, or as much with more tankers; (cases,)."""
    more = used.sum(axis=1) > best_used.sum(axis=1)
    equal = np.abs(flow - best) <= SAME * np.maximum(best, 1.0)
    outdoes: BoolArray = np.where(equal, more, flow > best)
    return outdoes


def _put(run: Crews, rows: Rows, part: Crews) -> Crews:
    """Put cases in the place of some rows."""
    changed = {}
    for field in fields(Crews):
        column = getattr(run, field.name).copy()
        column[rows] = getattr(part, field.name)
        changed[field.name] = column
    return Crews(**changed)


def _put_settled(done: Settled, rows: Rows, part: Settled) -> Settled:
    """Put settled cases in the place of some rows."""
    gpm, brings, one_out = done.gpm.copy(), done.brings_gpm.copy(), done.one_out_gpm.copy()
    gpm[rows], brings[rows], one_out[rows] = part.gpm, part.brings_gpm, part.one_out_gpm
    return Settled(run=_put(done.run, rows, part.run), gpm=gpm, brings_gpm=brings, one_out_gpm=one_out)


def _join(parts: list[Settled]) -> Settled:
    """Join settled pieces in their order."""
    return Settled(
        run=joined([part.run for part in parts]),
        gpm=np.concatenate([part.gpm for part in parts]),
        brings_gpm=np.concatenate([part.brings_gpm for part in parts]),
        one_out_gpm=np.concatenate([part.one_out_gpm for part in parts]),
    )
