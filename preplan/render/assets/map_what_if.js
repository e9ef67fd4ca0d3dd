// The steady flow worked out anew in the page: the same closed form as planning's, on the kept trips, with fill
// sites off, tankers out, another season or slower roads. A test holds its numbers against planning's.

const TIE = 1e-9; // relative difference below which two flows are equal
const ROUNDING_GPM = 1e-6; // a flow this little below the requirement meets it
const DRY_GPM = 1e-12; // stands for a site that gives nothing
const whatIf = data.whatIf ? unpackWhatIf(data.whatIf) : null;

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
  const need = packed.need ? alongRoads(packed.need).map((one) => one / 1000) : addresses.gpm;
  return {
    ...packed, sites, reach, start, need,
    trip: trip.map((steps) => steps.map((one) => (one < 0 ? Infinity : one / 1e4))),
    ...unpackColumns(packed, ["order", "job", "duration"], alongRoads),
    ...unpackColumns(packed, ["fillEngine", "dumpEngine", "vacuum", "lineOf", "rate"]),
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
    this.all = this.units.length ? 2 ** this.units.length - 1 : 0;
    this.allGal = this.gal.reduce((sum, one) => sum + one, 0);
    this.used = 0; // after best(): a bit for each tanker that stays
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
    return this.all ? Math.min(this.siteGpm, this.allGal / (trip + this.handling[0])) : 0;
  }

  // The best of the tankers, leaving out those that only slow the others: from the best first few and from all.
  best(trip) {
    this.used = 0;
    if (!this.all || !Number.isFinite(trip)) return 0;
    const first = this.firstFew(trip);
    const few = this.leaveOut(first, trip);
    const fewUsed = this.used;
    if (first === this.all) return few;
    const whole = this.leaveOut(this.all, trip);
    const margin = whole - few;
    const second = Math.abs(margin) <= TIE * few ? bits(this.used) > bits(fewUsed) : margin > 0;
    if (second) return whole;
    this.used = fewUsed;
    return few;
  }

  // The best of the first few by handling time; of equal flows the most tankers.
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
    return 2 ** (last + 1) - 1;
  }

  // Single tankers go while that raises the flow.
  leaveOut(mask, trip) {
    this.used = mask;
    for (;;) {
      let gal = 0;
      let fill = 0;
      let dump = 0;
      let top = -1;
      let second = -1;
      for (let k = 0; k < this.units.length; k += 1) {
        if (!(this.used & (1 << k))) continue;
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
        if (!(this.used & (1 << k))) continue;
        const left = k === top ? trip + this.handling[second] : cycle;
        const without = this.flow(gal - this.gal[k], left, fill - this.fill[k], dump - this.dump[k]);
        if (without > most) {
          most = without;
          one = k;
        }
      }
      if (most <= whole * (1 + TIE)) return whole;
      this.used &= ~(1 << one);
    }
  }
}

function bits(mask) {
  let count = 0;
  for (let left = mask; left; left &= left - 1) count += 1;
  return count;
}

// ------------------------------------------------------------------------------------------- all addresses

// One set of changes; flows of all addresses and levels, or all that is known of one.
class Steady {
  constructor(change) {
    this.change = change;
    this.fleets = new Map();
    this.sent = new Map();
    this.blocks = new Map();
    this.flows = new Float64Array(data.sites.length);
    this.bounds = new Float64Array(data.sites.length);
    this.bestSite = -1;
    const on = (site, months) => !change.off.has(site) && months.every((one) => whatIf.siteMonths[site].includes(one));
    const seasons = change.season < 0 ? whatIf.seasons : [whatIf.seasons[change.season]];
    this.standing = seasons.map(({ months }) => data.sites.map((_, site) => on(site, months)));
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

  pair(order, job, level, site) {
    const at = (job * levelCount + level) * whatIf.sites + site;
    const dump = whatIf.dumpEngine[at];
    const units = this.tankersOf(order, level).filter((one) => !whatIf.vacuum[at] || data.units[one].selfFills);
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
  over(pair, address, site, row) {
    const cap = this.cap(pair, address, site);
    if (cap <= 0) return 0;
    let most = 0;
    let used = 0;
    let shortest = Infinity;
    this.by = 0;
    for (let cut = 0; cut < pair.fleets.length; cut += 1) {
      const fleet = pair.fleets[cut];
      if (cut && fleet === pair.fleets[cut - 1] && whatIf.trip[cut][row] >= whatIf.trip[cut - 1][row]) continue;
      const trip = whatIf.trip[cut][row] * this.change.factor;
      const flow = fleet.best(trip);
      // Of equal flows the one with more tankers, then the shorter trip.
      if (Math.abs(flow - most) <= TIE * Math.max(most, 1)) {
        const more = bits(fleet.used) - bits(used);
        if (more < 0 || (more === 0 && trip >= shortest)) continue;
      } else if (flow < most) continue;
      most = flow;
      used = fleet.used;
      shortest = trip;
      this.by = cut;
    }
    return cap < most * (1 - TIE) ? cap : most;
  }

  cap(pair, address, site) {
    return Math.min(whatIf.held[whatIf.duration[address]][site], pair.draft, pair.line[address]);
  }

  // The flow at a level in the worst season asked for: the best of the sites that stand. NaN where no kept trip
  // leads to one of them though others might.
  best(address, level, block) {
    const reach = whatIf.reaches[whatIf.reach[address]];
    const first = whatIf.start[address];
    const { flows, bounds } = this;
    for (let k = 0; k < reach.length; k += 1) {
      flows[k] = -1;
      bounds[k] = this.bound(block[level * whatIf.sites + reach[k]], first + k);
    }
    let worst = Infinity;
    this.bestSite = -1;
    for (const stands of this.standing) {
      const k = this.bestOf(stands, address, level, block);
      const most = k >= 0 ? flows[k] : whatIf.partial ? NaN : 0;
      if (most < worst || Number.isNaN(most)) {
        worst = most;
        this.bestSite = k >= 0 ? reach[k] : -1;
      }
      if (Number.isNaN(most)) break;
    }
    return worst;
  }

  // Which kept trip delivers the most to a site that stands; -1 where none leads to one. The most promising first:
  // most others need no working out then.
  bestOf(stands, address, level, block) {
    const reach = whatIf.reaches[whatIf.reach[address]];
    const first = whatIf.start[address];
    const { flows, bounds } = this;
    let hope = -1;
    for (let k = 0; k < reach.length; k += 1) if (stands[reach[k]] && (hope < 0 || bounds[k] > bounds[hope])) hope = k;
    if (hope < 0) return -1;
    const work = (k) => {
      if (flows[k] < 0) flows[k] = this.over(block[level * whatIf.sites + reach[k]], address, reach[k], first + k);
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

  bound(pair, row) {
    let most = 0;
    for (let cut = 0; cut < pair.fleets.length; cut += 1) {
      most = Math.max(most, pair.fleets[cut].bound(whatIf.trip[cut][row] * this.change.factor));
    }
    return Math.min(most, pair.draft);
  }

  // Flow and fill site of every address and level.
  all() {
    const found = this.blank();
    this.fill(found, 0, addresses.count);
    return found;
  }

  blank() {
    const rows = addresses.count * levelCount;
    return { flow: new Float64Array(rows), site: new Int16Array(rows) };
  }

  // Fills in some addresses, from one up to another.
  fill({ flow, site }, from, to) {
    for (let a = from; a < to; a += 1) {
      const block = this.block(whatIf.order[a], whatIf.job[a]);
      for (let level = 0; level < levelCount; level += 1) {
        flow[row(a, level)] = this.best(a, level, block);
        site[row(a, level)] = this.bestSite;
      }
    }
  }

  // All that is known of one address, level and site: flow, tankers, what holds it back.
  detail(address, level, site) {
    const k = whatIf.reaches[whatIf.reach[address]].indexOf(site);
    const pair = this.block(whatIf.order[address], whatIf.job[address])[level * whatIf.sites + site];
    const at = whatIf.start[address] + k;
    const flow = this.over(pair, address, site, at);
    const fleet = pair.fleets[this.by || 0];
    const trip = whatIf.trip[this.by || 0][at] * this.change.factor;
    const free = fleet.best(trip);
    const stays = fleet.units.filter((_, unit) => fleet.used & (1 << unit));
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
      if (!(fleet.used & (1 << k))) continue;
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
