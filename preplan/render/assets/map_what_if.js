// The steady flow with something changed: fill sites off, tankers out, another season or slower roads. It starts from
// the plan's own answers and works out only what a change touches, by the same closed form as planning's on the kept
// trips. A test holds its numbers against planning's.

const TIE = 1e-9; // relative difference below which two flows are equal
const ROUNDING_GPM = 1e-6; // a flow this little below the requirement meets it
const DRY_GPM = 1e-12; // stands for a site that gives nothing
const whatIf = data.whatIf ? unpackWhatIf(data.whatIf) : null;
// What an answer rests on: the plan as it is; its own circuit, slower or with other tankers; a fill site chosen anew;
// one that stands only now.
const AS_PLANNED = 0;
const OWN_CIRCUIT = 1;
const ANEW = 2;
const FRESH = 3;

function unpackWhatIf(packed) {
  const sites = data.sites.length;
  const endless = (values) => values.map((one) => (one === null ? Infinity : one));
  const reach = alongRoads(packed.reach);
  const start = new Int32Array(addresses.count + 1);
  reach.forEach((one, a) => (start[a + 1] = start[a] + packed.reaches[one].length));
  const trip = [unpackTrips(packed, reach, start)];
  for (const text of packed.heavier) {
    const more = unpack(text);
    trip.push(trip[trip.length - 1].map((one, k) => one + more[k]));
  }
  const steps = (some) => some.map((one) => (one < 0 ? Infinity : one / 1e4));
  const then = packed.then.map((classes) => classes.map((text, cut) => {
    const more = unpack(text);
    return more.some((one) => one !== 0) ? steps(trip[cut].map((one, k) => one + more[k])) : null;
  }));
  const need = packed.need ? alongRoads(packed.need).map((one) => one / 1000) : addresses.gpm;
  const planned = packed.planned ? alongRoads(packed.planned).map((one) => one / 1000) : answers.steady;
  return {
    ...packed, sites, reach, start, need, planned,
    step: packed.planned ? 0.001 : 1, // to which the plan's flows are rounded down
    alone: new Float64Array(addresses.count * levelCount).fill(NaN), // the closed form of the plan's own circuits
    elsewhere: packed.elsewhere.map((columns) => columns.map((text) => alongRoads(text))),
    ...unpackWays(packed.roads, trip.map(steps), then),
    ...unpackColumns(packed, ["order", "job", "duration", "decides"], alongRoads),
    ...unpackColumns(packed, ["dumpEngine", "vacuum", "lineOf", "rate"]),
    hold: packed.hold.map(endless),
    dumpHold: endless(packed.dumpHold),
    held: packed.held.map(endless),
    line: packed.line.map(unpackLine),
  };
}

// What supply lines carry, by number and address; they are packed along the roads, but not as steps.
function unpackLine(text) {
  const carried = new Float64Array(along.length);
  unpack(text).forEach((one, k) => (carried[along[k]] = one < 0 ? Infinity : one / 1000));
  return carried;
}

// Round trips by class of vehicle: those of the season that decides, and those of each season of the plan; `then` has
// those of the roads, null where a class drives as in the one that decides.
function unpackWays(roads, trip, then) {
  const ways = then.map((classes) => (classes.some(Boolean) ? classes.map((one, cut) => one || trip[cut]) : trip));
  return { trip, ways: roads.map((road) => ways[road]) };
}

// Round trips of the lightest vehicles, by kept trip: they are packed address by address along the roads, each as
// what it differs from the trip before it to its site, less the same of the address's trip before it.
function unpackTrips(packed, reach, start) {
  const steps = unpack(packed.trip);
  const trip = new Float64Array(steps.length);
  const before = new Float64Array(data.sites.length);
  let at = 0;
  for (const address of along) {
    let differs = 0;
    packed.reaches[reach[address]].forEach((site, k) => {
      differs += steps[at];
      at += 1;
      before[site] += differs;
      trip[start[address] + k] = before[site];
    });
  }
  return trip;
}

// Nothing changed: the fill sites that are in service, every tanker, the worst season, roads as planned.
function unchanged() {
  const off = new Set(data.sites.flatMap((site, k) => (site.inService ? [] : [k])));
  return { off, out: new Set(), season: -1, factor: 1 };
}

// ------------------------------------------------------------------------------------------- one fleet, one site

// Tankers on one circuit, by their handling times; what they deliver depends on the round trip alone.
class Fleet {
  constructor(units, rate, site) {
    const time = (unit) => whatIf.hold[rate][unit] + whatIf.dumpHold[unit] + whatIf.maneuver;
    this.units = units.filter((unit) => Number.isFinite(time(unit))).sort((a, b) => time(a) - time(b) || a - b);
    this.handling = Float64Array.from(this.units, time);
    this.gal = Float64Array.from(this.units, (unit) => whatIf.usable[unit]);
    this.fill = Float64Array.from(this.units, (unit) => whatIf.hold[rate][unit]);
    this.dump = Float64Array.from(this.units, (unit) => whatIf.dumpHold[unit]);
    this.flows = new Float64Array(this.units.length);
    this.positions = whatIf.positions[site];
    this.dumpPlaces = whatIf.dumpPlaces;
    this.siteGpm = Math.max(whatIf.rateGpm[rate], DRY_GPM);
    this.allGal = this.gal.reduce((sum, one) => sum + one, 0);
    // after best(): which tankers stay, and how many
    this.used = new Uint8Array(this.units.length);
    this.staying = 0;
    this.aside = new Uint8Array(this.units.length);
  }

  flow(gal, cycle, fill, dump) {
    let longest = cycle;
    const filling = fill / this.positions;
    if (filling > longest) longest = filling;
    const giving = gal / this.siteGpm;
    if (giving > longest) longest = giving;
    const dumping = dump / this.dumpPlaces;
    if (dumping > longest) longest = dumping;
    return longest > 0 ? gal / longest : 0;
  }

  // No fleet of these delivers more than this over a round trip.
  bound(trip) {
    return this.units.length ? Math.min(this.siteGpm, this.allGal / (trip + this.handling[0])) : 0;
  }

  // The best of the tankers, leaving out those that only slow the others: from the best first few and from all.
  best(trip) {
    const every = this.units.length;
    this.used.fill(0);
    this.staying = 0;
    if (!every || !Number.isFinite(trip)) return 0;
    const first = this.firstFew(trip);
    const few = this.leaveOut(first, trip);
    if (first === every) return few;
    const fewStay = this.staying;
    this.aside.set(this.used);
    const whole = this.leaveOut(every, trip);
    const margin = whole - few;
    const second = Math.abs(margin) <= TIE * few ? this.staying > fewStay : margin > 0;
    if (second) return whole;
    this.used.set(this.aside);
    this.staying = fewStay;
    return few;
  }

  // How many are best of the first few by handling time; of equal flows the most tankers.
  firstFew(trip) {
    const { flows, units } = this;
    let [gal, fill, dump, most] = [0, 0, 0, 0];
    for (let k = 0; k < units.length; k += 1) {
      gal += this.gal[k];
      fill += this.fill[k];
      dump += this.dump[k];
      flows[k] = this.flow(gal, trip + this.handling[k], fill, dump);
      if (flows[k] > most) most = flows[k];
    }
    let last = units.length - 1;
    while (flows[last] < most * (1 - TIE)) last -= 1;
    return last + 1;
  }

  // Of so many by handling time single tankers go while that raises the flow.
  leaveOut(count, trip) {
    const { used } = this;
    used.fill(0).fill(1, 0, count);
    this.staying = count;
    for (;;) {
      let gal = 0;
      let fill = 0;
      let dump = 0;
      let top = -1;
      let second = -1;
      for (let k = 0; k < count; k += 1) {
        if (!used[k]) continue;
        gal += this.gal[k];
        fill += this.fill[k];
        dump += this.dump[k];
        second = top;
        top = k;
      }
      const cycle = trip + this.handling[top];
      const whole = this.flow(gal, cycle, fill, dump);
      // Nothing beats what the site gives, and one tanker has nobody to hold up.
      if (second < 0 || whole >= this.siteGpm) return whole;
      let most = -1;
      let one = -1;
      for (let k = 0; k <= top; k += 1) {
        if (!used[k]) continue;
        const left = k === top ? trip + this.handling[second] : cycle;
        const without = this.flow(gal - this.gal[k], left, fill - this.fill[k], dump - this.dump[k]);
        if (without > most) {
          most = without;
          one = k;
        }
      }
      if (most <= whole * (1 + TIE)) return whole;
      used[one] = 0;
      this.staying -= 1;
    }
  }
}

// ------------------------------------------------------------------------------------------- all addresses

// Just these tankers on one circuit, whoever slows whom.
class Crew {
  constructor(units, rate, site) {
    const sum = (of) => units.reduce((all, unit) => all + of(unit), 0);
    const holds = (unit) => whatIf.hold[rate][unit] + whatIf.dumpHold[unit] + whatIf.maneuver;
    this.slowest = units.reduce((most, unit) => Math.max(most, holds(unit)), 0);
    this.gal = sum((unit) => whatIf.usable[unit]);
    this.dump = sum((unit) => whatIf.dumpHold[unit]);
    this.least = Math.max(
      sum((unit) => whatIf.hold[rate][unit]) / whatIf.positions[site],
      this.gal / Math.max(whatIf.rateGpm[rate], DRY_GPM),
      this.dump / whatIf.dumpPlaces,
    );
    this.cuts = [...whatIf.members.keys()].filter((cut) => units.every((unit) => whatIf.members[cut].includes(unit)));
  }

  trip(row, ways) {
    let least = Infinity;
    for (const cut of this.cuts) if (ways[cut][row] < least) least = ways[cut][row];
    return least;
  }

  flow(trip) {
    return this.gal > 0 ? this.gal / Math.max(this.least, trip + this.slowest) : 0;
  }
}

// One set of changes; flows of all addresses and levels, or all that is known of one.
class Steady {
  constructor(change) {
    this.change = change;
    this.fleets = new Map();
    this.sent = new Map();
    this.blocks = new Map();
    this.crews = new Map();
    this.left = new Map();
    this.places = new Map();
    this.flows = new Float64Array(data.sites.length);
    this.bounds = new Float64Array(data.sites.length);
    this.bestSite = -1;
    this.ways = whatIf.trip; // round trips that the answer rests on
    this.shut = false; // the plan's own tankers have no way in the season asked for
    const plain = unchanged().off;
    const some = (off) => whatIf.seasons.map(({ months }) => data.sites.map((_, site) => (
      !off.has(site) && months.every((one) => whatIf.siteMonths[site].includes(one)))));
    this.standing = some(change.off);
    this.stood = some(plain);
    this.asked = change.season < 0 ? [...whatIf.seasons.keys()] : [change.season];
    this.added = data.sites.map((_, site) => plain.has(site) && !change.off.has(site));
    this.freshIn = whatIf.seasons.map((_, decides) => this.fresh(decides));
  }

  // The fill sites that stand now and did not in the plan's deciding season; in the worst season those of all of it.
  fresh(decides) {
    return [...data.sites.keys()].filter((site) => (
      this.asked.every((season) => this.standing[season][site]) &&
      (this.added[site] || (this.change.season >= 0 && !this.stood[decides][site]))));
  }

  // The tankers that a level sends: the first to arrive, no more of a station than it gives.
  tankersOf(order, level) {
    const key = order * levelCount + level;
    if (!this.sent.has(key)) {
      const left = [...whatIf.most];
      const units = [];
      for (const unit of whatIf.orders[order]) {
        const { station } = data.units[unit];
        if (units.length >= data.levels[level].tankers) break;
        if (this.change.out.has(unit) || left[station] === 0) continue;
        left[station] -= 1; // -1, no limit, never comes to 0
        units.push(unit);
      }
      this.sent.set(key, units);
    }
    return this.sent.get(key);
  }

  // What addresses of one order of tankers and one set of jobs have in common, by level and site.
  block(order, job) {
    const key = order * whatIf.attack.length + job;
    let block = this.blocks.get(key);
    if (!block) {
      block = [];
      for (let level = 0; level < levelCount; level += 1) {
        for (let site = 0; site < whatIf.sites; site += 1) block.push(this.pair(order, job, level, site));
      }
      this.blocks.set(key, block);
    }
    return block;
  }

  pair(order, job, level, site, sent = this.tankersOf(order, level)) {
    const at = (job * levelCount + level) * whatIf.sites + site;
    const dump = whatIf.dumpEngine[at];
    const units = sent.filter((one) => !whatIf.vacuum[at] || data.units[one].selfFills);
    const fleets = whatIf.members.map((some) => {
      const inCut = units.filter((unit) => some.includes(unit));
      return this.fleet(inCut, whatIf.rate[at], site);
    });
    const line = whatIf.line[whatIf.lineOf[at]];
    return { fleets, line, draft: dump < 0 ? 0 : whatIf.draft[dump], dump, vacuum: whatIf.vacuum[at], units };
  }

  fleet(units, rate, site) {
    const key = `${rate} ${site} ${units}`;
    if (!this.fleets.has(key)) this.fleets.set(key, new Fleet(units, rate, site));
    return this.fleets.get(key);
  }

  // The flow over one kept trip; `this.by` is then the class of vehicle that it is best with.
  over(pair, address, site, row, ways) {
    const cap = this.cap(pair, address, site);
    if (cap <= 0) return 0;
    let most = 0;
    let stay = 0;
    let shortest = Infinity;
    this.by = 0;
    for (let cut = 0; cut < pair.fleets.length; cut += 1) {
      const fleet = pair.fleets[cut];
      if (cut && fleet === pair.fleets[cut - 1] && ways[cut][row] >= ways[cut - 1][row]) continue;
      const trip = ways[cut][row] * this.change.factor;
      const flow = fleet.best(trip);
      // Of equal flows the one with more tankers, then the shorter trip.
      if (Math.abs(flow - most) <= TIE * Math.max(most, 1)) {
        const more = fleet.staying - stay;
        if (more < 0 || (more === 0 && trip >= shortest)) continue;
      } else if (flow < most) continue;
      most = flow;
      stay = fleet.staying;
      shortest = trip;
      this.by = cut;
    }
    return cap < most * (1 - TIE) ? cap : most;
  }

  cap(pair, address, site) {
    return Math.min(whatIf.held[whatIf.duration[address]][site], pair.draft, pair.line[address]);
  }

  // The flow at a level in the worst of some seasons, chosen anew: the best of the sites that stand, on the roads of
  // each season. NaN where no kept trip leads to one of them though others might.
  best(address, level, block, seasons = this.asked) {
    const reach = whatIf.reaches[whatIf.reach[address]];
    const first = whatIf.start[address];
    const { flows, bounds } = this;
    let worst = Infinity;
    let ways = null;
    this.bestSite = -1;
    for (const season of seasons) {
      if (whatIf.ways[season] !== ways) {
        ways = whatIf.ways[season];
        for (let k = 0; k < reach.length; k += 1) {
          flows[k] = -1;
          bounds[k] = this.bound(block[level * whatIf.sites + reach[k]], first + k, ways);
        }
      }
      const k = this.bestOf(this.standing[season], address, level, block, ways);
      const most = k >= 0 ? flows[k] : whatIf.partial ? NaN : 0;
      if (most < worst || Number.isNaN(most)) {
        worst = most;
        this.bestSite = k >= 0 ? reach[k] : -1;
        this.ways = ways;
      }
      if (Number.isNaN(most)) break;
    }
    return worst;
  }

  // Which kept trip delivers the most to a site that stands; -1 where none leads to one in that season. The most
  // promising first: most others need no working out then.
  bestOf(stands, address, level, block, ways) {
    const reach = whatIf.reaches[whatIf.reach[address]];
    const first = whatIf.start[address];
    const { flows, bounds } = this;
    let hope = -1;
    const leads = (k) => stands[reach[k]] && ways.some((trip) => Number.isFinite(trip[first + k]));
    for (let k = 0; k < reach.length; k += 1) if ((hope < 0 || bounds[k] > bounds[hope]) && leads(k)) hope = k;
    if (hope < 0) return -1;
    const work = (k) => {
      if (flows[k] < 0) flows[k] = this.over(block[level * whatIf.sites + reach[k]], address, reach[k], first + k, ways);
    };
    work(hope);
    let best = hope;
    for (let k = 0; k < reach.length; k += 1) {
      if (k === hope || !stands[reach[k]] || bounds[k] <= flows[best]) continue;
      work(k);
      if (flows[k] > flows[best]) best = k;
    }
    return best;
  }

  bound(pair, row, ways) {
    let most = 0;
    for (let cut = 0; cut < pair.fleets.length; cut += 1) {
      most = Math.max(most, pair.fleets[cut].bound(ways[cut][row] * this.change.factor));
    }
    return Math.min(most, pair.draft);
  }

  // ----------------------------------------------------------------------- from the plan's own answer

  // The flow at a level, with the fill site in `bestSite` and what it rests on in `how`. A loss never shows as a gain:
  // whatever is chosen anew counts at most as much as the plan's own flow.
  answer(address, level) {
    const at = row(address, level);
    const planned = Math.max(0, whatIf.planned[at]);
    const [site, split, decides] = [answers.site[at], answers.split[at], whatIf.decides[at]];
    const season = this.change.season < 0 ? decides : this.change.season;
    const stands = this.standing[season];
    this.bestSite = site;
    this.how = AS_PLANNED;
    this.ways = this.change.season < 0 ? whatIf.trip : whatIf.ways[season];
    let flow = planned;
    if (site >= 0) {
      const open = this.leads(address, level);
      const stays = stands[site] && (split < 0 || stands[split]) && open;
      this.shut = !open;
      flow = stays ? this.own(address, level, planned) : this.anew(address, level, planned, this.asked);
      if (this.change.season < 0 && stays) flow = this.elsewhere(address, level, flow);
    }
    return this.freshIn[decides].length ? this.overFresh(address, level, flow, this.freshIn[decides]) : flow;
  }

  // Whether the plan's own tankers still have a way to its fill sites, where they had one.
  leads(address, level) {
    if (this.ways === whatIf.trip) return true;
    return this.legs(address, level, whatIf.trip).every((one, k) => (
      !Number.isFinite(one) || Number.isFinite(this.legs(address, level, this.ways)[k])));
  }

  // Round trips of the plan's own tankers to its fill site, and to the second one.
  legs(address, level, ways) {
    const at = row(address, level);
    const [, , , used, , , , there] = data.answers.crews[answers.crew[at]];
    return [answers.site[at], answers.split[at]].filter((site) => site >= 0).map((site, second) => {
      const units = answers.split[at] < 0 ? used : used.filter((unit) => there.includes(unit) === (second === 1));
      return this.crewOf(this.placeOf(address, level, site).rate, site, units).trip(this.keptTrip(address, site), ways);
    });
  }

  anew(address, level, most, seasons) {
    const found = this.best(address, level, this.block(whatIf.order[address], whatIf.job[address]), seasons);
    this.how = ANEW;
    return found > most ? most : found;
  }

  // The plan's own circuits: as they are, or slower, or with the next tankers to arrive for those that are out. What
  // the closed form loses is taken from the plan's flow, which is less where two circuits wait for each other.
  own(address, level, planned) {
    const at = row(address, level);
    const [, , , used, leftOut, , , there] = data.answers.crews[answers.crew[at]];
    const out = this.change.out.size > 0 && used.some((unit) => this.change.out.has(unit));
    const same = this.ways === whatIf.trip || (
      this.legs(address, level, this.ways).every((one, k) => one === this.legs(address, level, whatIf.trip)[k]));
    if (!out && this.change.factor === 1 && same) return planned;
    const alone = this.alone(address, level, used, there);
    if (!(alone > 0)) return planned > 0 ? this.anew(address, level, planned, this.asked) : planned;
    this.how = OWN_CIRCUIT;
    const stay = out ? this.without(used) : used;
    this.crew = stay;
    let now = this.closedForm(address, level, stay, there);
    if (out) {
      const sent = this.tankersOf(whatIf.order[address], level);
      const more = this.joined(stay, sent, leftOut);
      const withMore = more.length > stay.length ? this.closedForm(address, level, more, there) : 0;
      if (withMore > now) [now, this.crew] = [withMore, more];
    }
    // The page knows the plan's flow rounded down: the closed form tells the rest where it is the same flow.
    const exact = alone >= planned && alone < planned + whatIf.step ? alone : planned;
    return Math.min(exact, (exact * now) / alone);
  }

  // With those that were not sent before: one list for each crew and those sent.
  joined(stay, sent, leftOut) {
    const key = `${stay};${sent};${leftOut}`;
    if (!this.left.has(key)) {
      this.left.set(key, [...stay, ...sent.filter((unit) => !stay.includes(unit) && !leftOut.includes(unit))]);
    }
    return this.left.get(key);
  }

  // A crew without those that are out: one list for each crew of the plan.
  without(used) {
    if (!this.left.has(used)) this.left.set(used, used.filter((unit) => !this.change.out.has(unit)));
    return this.left.get(used);
  }

  // The closed form of the plan's own circuits with nothing changed, worked out once.
  alone(address, level, used, there) {
    const at = row(address, level);
    if (Number.isNaN(whatIf.alone[at])) whatIf.alone[at] = this.closedForm(address, level, used, there, whatIf.trip, 1);
    return whatIf.alone[at];
  }

  workAhead(from, to) {
    for (let a = from; a < to; a += 1) {
      for (let level = 0; level < levelCount; level += 1) {
        const at = row(a, level);
        const [, , , used, , , , there] = data.answers.crews[answers.crew[at]];
        if (answers.site[at] >= 0) this.alone(a, level, used, there);
      }
    }
  }

  // The closed form of just these tankers on the plan's circuits, at one fill site or two.
  closedForm(address, level, units, there, ways = this.ways, factor = this.change.factor) {
    const at = row(address, level);
    const [site, split] = [answers.site[at], answers.split[at]];
    const place = this.placeOf(address, level, site);
    const cap = Math.min(place.draft, place.line[address]);
    const circuit = (crew, one) => this.circuitFlow(crew, address, one, ways, factor);
    if (split < 0) return Math.min(cap, circuit(this.crewOf(place.rate, site, units), site));
    let [flow, gal, dump] = [0, 0, 0];
    for (const one of [site, split]) {
      const some = units.filter((unit) => there.includes(unit) === (one === split));
      const crew = this.crewOf(this.placeOf(address, level, one).rate, one, some);
      flow += circuit(crew, one);
      gal += crew.gal;
      dump += crew.dump;
    }
    return Math.min(cap, flow, dump > 0 ? (gal * whatIf.dumpPlaces) / dump : Infinity);
  }

  // Lists of units are the same object wherever the plan has the same crew.
  crewOf(rate, site, units) {
    if (!this.crews.has(units)) this.crews.set(units, new Map());
    const some = this.crews.get(units);
    const key = rate * whatIf.sites + site;
    if (!some.has(key)) some.set(key, new Crew(units, rate, site));
    return some.get(key);
  }

  circuitFlow(crew, address, site, ways, factor) {
    const held = whatIf.held[whatIf.duration[address]][site];
    return Math.min(held, crew.flow(crew.trip(this.keptTrip(address, site), ways) * factor));
  }

  keptTrip(address, site) {
    return whatIf.start[address] + whatIf.reaches[whatIf.reach[address]].indexOf(site);
  }

  placeOf(address, level, site) {
    const at = (whatIf.job[address] * levelCount + level) * whatIf.sites + site;
    if (!this.places.has(at)) {
      const dump = whatIf.dumpEngine[at];
      const draft = dump < 0 ? 0 : whatIf.draft[dump];
      this.places.set(at, { draft, line: whatIf.line[whatIf.lineOf[at]], rate: whatIf.rate[at] });
    }
    return this.places.get(at);
  }

  // Another season may become the worst, where it counts on another fill site than the one that decides.
  elsewhere(address, level, flow) {
    const at = row(address, level);
    let least = flow;
    whatIf.elsewhere.forEach((columns, season) => {
      if (!columns.some((sites) => sites[at] >= 0 && !this.standing[season][sites[at]])) return;
      const [site, how, ways] = [this.bestSite, this.how, this.ways];
      const found = this.anew(address, level, least, [season]);
      if (found >= least) [this.bestSite, this.how, this.ways] = [site, how, ways];
      else least = found;
    });
    return least;
  }

  // A fill site that stands only now gains what the plan's own tankers bring from there, in the worst of the seasons
  // asked for: what a closed road keeps from them in one is no gain in all.
  overFresh(address, level, flow, fresh) {
    const at = row(address, level);
    const reach = whatIf.reaches[whatIf.reach[address]];
    const [, , , used] = data.answers.crews[answers.crew[at]];
    const sent = this.tankersOf(whatIf.order[address], level);
    const units = answers.site[at] < 0 ? sent : used.filter((unit) => !this.change.out.has(unit));
    let most = flow;
    for (const site of fresh) {
      const k = reach.indexOf(site);
      if (k < 0) continue;
      const pair = this.pair(whatIf.order[address], whatIf.job[address], level, site, units);
      const { found, ways } = this.least(pair, address, site, whatIf.start[address] + k);
      if (found <= most * (1 + TIE)) continue;
      [most, this.bestSite, this.how, this.crew, this.ways] = [found, site, FRESH, units, ways];
    }
    return most;
  }

  // The flow over one kept trip in the worst of the seasons asked for, with the ways of that one.
  least(pair, address, site, row) {
    const every = [...new Set(this.asked.map((season) => whatIf.ways[season]))];
    return every.map((ways) => ({ found: this.over(pair, address, site, row, ways), ways }))
      .reduce((worst, one) => (one.found < worst.found ? one : worst));
  }

  // Flow, fill site and what it rests on, of every address and level.
  all() {
    const rows = addresses.count * levelCount;
    const found = { flow: new Float64Array(rows), site: new Int16Array(rows), how: new Uint8Array(rows) };
    for (let a = 0; a < addresses.count; a += 1) {
      for (let level = 0; level < levelCount; level += 1) {
        const at = row(a, level);
        found.flow[at] = this.answer(a, level);
        found.site[at] = this.bestSite;
        found.how[at] = this.how;
      }
    }
    return found;
  }

  // All that is known of one address, level and site, on the ways of the last answer: flow, tankers, what holds it
  // back.
  detail(address, level, site, sent = this.tankersOf(whatIf.order[address], level)) {
    const k = whatIf.reaches[whatIf.reach[address]].indexOf(site);
    const pair = this.pair(whatIf.order[address], whatIf.job[address], level, site, sent);
    const at = whatIf.start[address] + k;
    const flow = this.over(pair, address, site, at, this.ways);
    const fleet = pair.fleets[this.by || 0];
    const trip = this.ways[this.by || 0][at] * this.change.factor;
    const free = fleet.best(trip);
    const stays = fleet.units.filter((_, k) => fleet.used[k]);
    const used = pair.units.filter((unit) => stays.includes(unit)); // by arrival
    return { flow, trip, used, units: pair.units, limit: this.limit(pair, fleet, { address, site, trip, free }) };
  }

  // Which term sets the flow: an index into the page's words for limits.
  limit(pair, fleet, { address, site, trip, free }) {
    if (pair.dump < 0 || (pair.vacuum && !fleet.units.length)) return 7;
    const caps = [
      [2, whatIf.held[whatIf.duration[address]][site]], [4, pair.draft],
      [5, pair.line[address] || Infinity], [6, pair.line[address] === 0 ? 0 : Infinity],
    ];
    let [most, code] = [free, this.term(fleet, trip)];
    for (const [which, cap] of caps) if (cap < most * (1 - TIE)) [most, code] = [cap, which];
    return code;
  }

  term(fleet, trip) {
    let [gal, fill, dump, cycle] = [0, 0, 0, 0];
    for (let k = 0; k < fleet.units.length; k += 1) {
      if (!fleet.used[k]) continue;
      gal += fleet.gal[k];
      fill += fleet.fill[k];
      dump += fleet.dump[k];
      cycle = Math.max(cycle, trip + fleet.handling[k]);
    }
    const terms = [cycle, fill / fleet.positions, gal / fleet.siteGpm, dump / whatIf.dumpPlaces];
    const slowest = Math.max(...terms);
    return terms.findIndex((one) => one >= slowest * (1 - TIE));
  }
}

function meetsNeed(address, flow) {
  return flow >= whatIf.need[address] - ROUNDING_GPM;
}
