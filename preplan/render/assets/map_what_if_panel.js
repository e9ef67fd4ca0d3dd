// The what-if in the page: what may be changed, what then meets, and a banner as long as it holds.
// It speaks of steady flow alone: 'meets' or 'does not', never a status.

const WHAT_IF_RULE =
  "What if starts from the plan's own fill sites and tankers and works out only what a change touches; where a fill " +
  "site is lost, the best steady flow on the trips that the plan keeps stands in, counted at most as planned.";
const WHAT_IF_NOTE =
  "Steady flow is what circulates without end; the plan grades by what is held for the required time, first loads " +
  "counted. The next tanker to arrive takes the place of one that is out, at the plan's fill site; engines stay as " +
  "planned. A season is reckoned on the roads of its months, over the fill sites that trips are kept to. A fill site " +
  "that stands only now counts with the plan's own tankers, and in the worst season only if it stands all year and " +
  "its way is open. A condition of the roads multiplies the minutes of every round trip; its factor is an " +
  "assumption, not a measurement.";
const NOT_COMPUTED = 2;
const LONG_RUN_ONLY = 3; // as drawn: the steady flow meets, and the plan does not hold it at first
const SEASON_NOTE =
  "The ways to fill sites are those of these months; who comes, and split fill sites, are those of the worst season: " +
  "what the plan holds in other months stands below.";
const MOST_FACTOR = 3;
const BANNER_NAMES = 2; // more changed fill sites or tankers are counted in the banner, not named
const AT_ONCE = 500; // addresses worked out before the page is asked whether it still has time
const FEW_MS = 8; // for a browser that does not tell how much time there is
const PAUSE_MS = 20;
let basis = null; // the outcome with nothing changed

// The changes now, and the road conditions that are chosen; kept while the panel shows something else.
const asked = { change: null, conditions: new Set(), extra: 0, level: -1 };

function verdicts(flow) {
  const found = new Uint8Array(addresses.count * levelCount);
  for (let a = 0; a < addresses.count; a += 1) {
    for (let level = 0; level < levelCount; level += 1) {
      const at = row(a, level);
      found[at] = Number.isNaN(flow[at]) ? NOT_COMPUTED : Number(meetsNeed(a, flow[at]));
    }
  }
  return found;
}

// At one level, or at any.
function verdictAt(found, address, level) {
  if (level >= 0) return found[row(address, level)];
  let most = 0;
  for (let k = 0; k < levelCount; k += 1) {
    const one = found[row(address, k)];
    if (one === 1) return 1;
    if (one === NOT_COMPUTED) most = NOT_COMPUTED;
  }
  return most;
}

// What is drawn: a tick alone where the plan itself holds what is required.
function verdictShown(address) {
  const { [address]: verdict } = view.whatIf.verdict;
  return verdict === 1 && !planHolds(address, asked.level) ? LONG_RUN_ONLY : verdict;
}

// Whether the plan holds the required flow for the required time, at one level, or at any.
function planHolds(address, level) {
  const levels = level < 0 ? [...data.levels.keys()] : [level];
  return levels.some((one) => answers.meets[row(address, one)] === 1);
}

// Whether a fill site of the plan is off in the what-if.
function isLost(site) {
  return Boolean(view.whatIf) && site >= 0 && asked.change.off.has(site);
}

// Whether the shuttle is what an address counts on at all.
function shuttled(address) {
  const { code } = data.statuses[answers.status[address]];
  return code !== "hydrant" && code !== "no route";
}

// Flows, verdicts and counts with something changed.
function outcome(change) {
  const steady = new Steady(change);
  const found = steady.all();
  return { steady, ...found, ...counted(verdicts(found.flow)) };
}

// How many addresses that count on the shuttle the plan itself holds to meet, by level, and at any level last.
function countedByPlan() {
  return counted(Uint8Array.from(answers.meets, (one) => (one === 1 ? 1 : 0))).counts;
}

// The plan's own circuits by the closed form, bit by bit while the page has nothing else to do: the first question then
// waits for its own answer alone.
function workAhead() {
  const idle = window.requestIdleCallback || ((work) => setTimeout(() => work({ timeRemaining: () => FEW_MS }), PAUSE_MS));
  const steady = new Steady(unchanged());
  let next = 0;
  const goOn = (time) => {
    do {
      steady.workAhead(next, Math.min(next + AT_ONCE, addresses.count));
      next += AT_ONCE;
    } while (next < addresses.count && time.timeRemaining() > 1);
    if (next < addresses.count) idle(goOn);
  };
  idle(goOn);
}

function nothingChanged() {
  const { off, out, season, factor } = asked.change;
  const plain = unchanged().off;
  return !out.size && season < 0 && factor === 1 && off.size === plain.size && [...off].every((one) => plain.has(one));
}

function recompute() {
  if (!basis) basis = outcome(unchanged());
  asked.change.factor = roadFactor();
  const now = nothingChanged() ? basis : outcome(asked.change);
  const [verdict, changed] = [new Uint8Array(addresses.count), new Uint8Array(addresses.count)];
  let some = false;
  for (let a = 0; a < addresses.count; a += 1) {
    verdict[a] = verdictAt(now.found, a, asked.level);
    if (!basis.shuttled[a] || verdict[a] === verdictAt(basis.found, a, asked.level)) continue;
    changed[a] = 1;
    some = true;
  }
  view.whatIf = { ...now, verdict, changed, some };
}

// How many addresses that count on the shuttle meet, by level, and at any level last.
function counted(found) {
  const counts = new Array(levelCount + 1).fill(0);
  const marks = basis ? basis.shuttled : markAddresses(shuttled);
  for (let a = 0; a < addresses.count; a += 1) {
    if (!marks[a]) continue;
    let any = 0;
    for (let level = 0; level < levelCount; level += 1) {
      const one = found[row(a, level)] === 1 ? 1 : 0;
      counts[level] += one;
      any |= one;
    }
    counts[levelCount] += any;
  }
  return { found, counts, shuttled: marks };
}

// Never below 1: no condition makes a round trip shorter than planned.
function roadFactor() {
  const product = [...asked.conditions].reduce((all, k) => all * whatIf.conditions[k].factor, 1);
  asked.extra = Math.max(asked.extra, 0);
  return Math.max(1, Math.round(product * 100 + asked.extra * 5) / 100);
}

function whatIfChanged() {
  recompute();
  showBanner();
  showOutcome();
  chart.redraw();
}

function levelText(level) {
  return level < 0 ? "any response level" : data.levels[level].words;
}

// ------------------------------------------------------------------------------------------- words

// With each changed thing by name, or only how many where they are more than `most`.
function changesWords(most = Infinity) {
  const { change } = asked;
  const plain = unchanged().off;
  const parts = [];
  const off = [...change.off].filter((site) => !plain.has(site));
  const on = [...plain].filter((site) => !change.off.has(site));
  const numbers = (sites) => sites.sort((a, b) => a - b).map((site) => site + 1);
  const ids = [...change.out].sort((a, b) => a - b).map((unit) => data.units[unit].id);
  const some = (names, what, state) => {
    if (names.length > most) return `${names.length} ${what}s ${state}`;
    return `${what === "tanker" ? "" : `${what}${names.length > 1 ? "s" : ""} `}${names.join(", ")} ${state}`;
  };
  if (off.length) parts.push(some(numbers(off), "fill site", "off"));
  if (on.length) parts.push(some(numbers(on), "fill site", "in service"));
  if (ids.length) parts.push(some(ids, "tanker", "out"));
  if (change.season >= 0) parts.push(whatIf.seasons[change.season].words);
  if (change.factor !== 1) parts.push(`${roadWords()} (assumption)`);
  return parts.join("; ") || "nothing changed";
}

function roadWords() {
  const names = [...asked.conditions].sort((a, b) => a - b).map((k) => whatIf.conditions[k].words.toLowerCase());
  return [...names, `round trips × ${asked.change.factor.toFixed(2)}`].join(", ");
}

function showBanner() {
  const banner = document.getElementById("banner");
  banner.hidden = !view.whatIf;
  document.body.classList.toggle("in-what-if", Boolean(view.whatIf));
  const title = document.querySelector("#panel-body h2");
  if (title) setSheetHead(title.textContent);
  banner.replaceChildren();
  if (view.whatIf) {
    const words = make("p", `What if, not the plan: ${changesWords(BANNER_NAMES)}. `);
    words.append(make("span", `Steady flow at ${levelText(asked.level)}.`, { name: "more" }));
    banner.append(words, button("Back to the plan", leaveWhatIf));
  }
  planMap.invalidateSize({ pan: false });
}

function leaveWhatIf() {
  view.whatIf = null;
  asked.change = null;
  asked.conditions.clear();
  [asked.extra, asked.level] = [0, -1];
  showBanner();
  showLegend();
  focusPanel();
}

// ------------------------------------------------------------------------------------------- the panel

function showWhatIf() {
  clearChoice();
  if (!asked.change) asked.change = unchanged();
  recompute();
  showBanner();
  openPanel("What if", [
    make("div", "", { id: "what-if-outcome" }),
    make("div", "", {
      name: "switches",
      inside: [
        make("h3", "Roads"), conditionButtons(), factorSteps(),
        make("h3", "Fill sites that stand"), siteSwitches(),
        make("h3", "Tankers in service"), tankerSwitches(),
        make("h3", "Season"), seasonChoice(),
      ],
    }),
    make("h3", "How it is worked out"), make("p", WHAT_IF_NOTE, { name: "note" }),
  ]);
  showOutcome();
}

function showOutcome() {
  const place = document.getElementById("what-if-outcome");
  if (!place) return;
  const lost = [];
  const won = [];
  for (let a = 0; a < addresses.count; a += 1) {
    if (view.whatIf.changed[a]) (view.whatIf.verdict[a] === 1 ? won : lost).push(a);
  }
  place.replaceChildren(
    make("p", `${capital(changesWords())}.`, { name: "flow" }), levelChoice(), outcomeTable(),
    make("p", touchedWords()), make("p", WHAT_IF_RULE), whatIfLegend(),
    ...(view.whatIf.some ? [make("p", "Pale on the map: as planned.", { name: "note" })] : []),
    ...hiddenPart(lost),
    ...changedPart(`At ${levelText(asked.level)} the steady flow no longer meets`, lost),
    ...changedPart(`At ${levelText(asked.level)} it now meets`, won),
    button("Back to the plan", leaveWhatIf),
  );
  const meeting = view.whatIf.counts.at(asked.level).toLocaleString("en-US");
  document.getElementById("said").textContent = `${meeting} addresses meet at ${levelText(asked.level)}.`;
}

// How far the changes reach, in words.
function touchedWords() {
  const { how, shuttled: counts } = view.whatIf;
  const marks = markAddresses((address) => {
    const levels = asked.level < 0 ? [...data.levels.keys()] : [asked.level];
    return counts[address] === 1 && levels.some((level) => how[row(address, level)] !== AS_PLANNED);
  });
  const some = countOf(marks);
  if (!some) return "Every address has the plan's own steady flow.";
  const count = `${addressesWords(some)} ${some === 1 ? "counts" : "count"}`;
  return `The changes touch what ${count} on; all others have the plan's own steady flow.`;
}

// A filter that was set before hides what is lost, too.
function hiddenPart(lost) {
  const hidden = lost.filter((address) => !isShown(address)).length;
  if (!hidden) return [];
  return [boldLine(`The filter hides ${hidden.toLocaleString("en-US")} of those that no longer meet.`)];
}

function changedPart(heading, some) {
  if (!some.length) return [];
  const part = make("details", "", { inside: [make("summary", `${heading}: ${some.length.toLocaleString("en-US")}`)] });
  part.append(addressList(some));
  return [part];
}

function outcomeTable() {
  const head = ["Steady flow meets at", "what if", "nothing changed", "the plan holds"];
  const planned = countedByPlan();
  const table = make("table", "", { name: "outcome" });
  table.append(make("tr", "", { inside: head.map((text) => make("th", text, { scope: "col" })) }));
  for (const level of [...data.levels.keys(), -1]) {
    const counts = [view.whatIf.counts, basis.counts, planned].map((some) => some.at(level).toLocaleString("en-US"));
    const cells = counts.map((text) => make("td", text));
    table.append(make("tr", "", { inside: [make("th", levelText(level), { scope: "row" }), ...cells] }));
  }
  const caption =
    `Of ${addressesWords(countOf(basis.shuttled))} that tankers can reach and no hydrant serves. Last column: the ` +
    "required flow held for the required time, first loads counted, as on the cards";
  table.prepend(make("caption", caption));
  return table;
}

function whatIfLegend() {
  const words = [
    "steady flow does not meet", "steady flow meets", "not computed: no kept trip",
    "steady flow meets; the plan does not hold it from the start",
  ];
  const drawn = (verdict) => (pen, x, y) => drawVerdict(pen, verdict, x, y, 10);
  const shown = whatIf.partial ? [1, LONG_RUN_ONLY, 0, NOT_COMPUTED] : [1, LONG_RUN_ONLY, 0];
  return make("ul", "", { name: "legend", inside: shown.map((one) => legendLine(drawn(one), words[one])) });
}

function levelChoice() {
  const options = [[-1, "any response level"], ...data.levels.map((level, k) => [k, level.words])];
  return selectField("On the map", "what-if-level", options, asked.level, (value) => {
    asked.level = value;
    whatIfChanged();
    document.getElementById("what-if-level").focus();
  });
}

function seasonChoice() {
  const options = [[-1, "the worst season"], ...whatIf.seasons.map((one, k) => [k, one.words])];
  return selectField("Months", "what-if-season", options, asked.change.season, (value) => {
    asked.change.season = value;
    whatIfChanged();
  });
}

function switchList(lines) {
  const items = lines.map(({ text, draw, on, turn }) => {
    const box = make("input", "", { type: "checkbox", checked: on });
    box.onchange = () => {
      turn(box.checked);
      whatIfChanged();
    };
    const inside = draw ? [box, chip(draw, 40, 40), make("span", text)] : [box, make("span", text)];
    return make("li", "", { inside: [make("label", "", { inside })] });
  });
  return make("ul", "", { name: "legend", inside: items });
}

function flip(set, one, there) {
  if (there) set.add(one);
  else set.delete(one);
}

function siteSwitches() {
  const { off } = asked.change;
  return switchList(data.sites.map((site, k) => ({
    text: `${siteName(k)}${site.inService ? "" : " (out of service)"}`,
    draw: (pen, x, y) => drawSite(pen, site, k + 1, x, y + 2, 13),
    on: !off.has(k),
    turn: (on) => flip(off, k, !on),
  })));
}

function tankerSwitches() {
  const { out } = asked.change;
  const hauls = [...data.units.keys()].filter((unit) => data.units[unit].kind !== "engine");
  return switchList(hauls.map((unit) => ({
    text: `${data.units[unit].id}, ${data.units[unit].kind}, ${said(data.units[unit].gal, "gal")}`,
    on: !out.has(unit),
    turn: (on) => flip(out, unit, !on),
  })));
}

function conditionButtons() {
  const buttons = whatIf.conditions.map(({ words, factor }, k) => {
    const one = button(`${words} × ${factor.toFixed(2)}`, () => {
      flip(asked.conditions, k, !asked.conditions.has(k));
      one.setAttribute("aria-pressed", String(asked.conditions.has(k)));
      factorChanged();
    });
    one.setAttribute("aria-pressed", String(asked.conditions.has(k)));
    return one;
  });
  return make("div", "", { name: "buttons", inside: buttons });
}

function factorSteps() {
  const step = (by, text, label) => {
    const one = button(text, () => {
      const next = roadFactor() + 0.05 * by;
      if (next >= 0.999 && next <= MOST_FACTOR) asked.extra += by;
      factorChanged();
    });
    one.setAttribute("aria-label", label);
    return one;
  };
  const now = make("span", factorWords(), { id: "road-factor" });
  return make("div", "", {
    name: "field steps", inside: [step(-1, "−", "Shorter round trips"), now, step(1, "+", "Longer round trips")],
  });
}

function factorWords() {
  return `Round trips × ${roadFactor().toFixed(2)} (assumption)`;
}

function factorChanged() {
  document.getElementById("road-factor").textContent = factorWords();
  whatIfChanged();
}

// ------------------------------------------------------------------------------------------- one address

function whatIfPart(address) {
  if (!view.whatIf) return [];
  const part = make("section", "", { name: "level what-if", inside: [make("h3", "What if")] });
  part.append(make("p", `${capital(changesWords())}.`));
  if (!shuttled(address)) {
    part.append(make("p", noShuttleWords(address)));
  } else {
    if (asked.change.season >= 0 && seasonLines(address, view.drawn.level).length) part.append(make("p", SEASON_NOTE));
    for (let level = 0; level < levelCount; level += 1) part.append(...whatIfLevel(address, level));
  }
  return [part, make("h3", "As planned")];
}

// Why a what-if says nothing of an address, though the plan may.
function noShuttleWords(address) {
  const [months] = apartOf(address);
  if (months) return `What if knows the ways of ${months} alone, and there is none then. The plan's words for the other months:`;
  if (data.statuses[answers.status[address]].code === "hydrant") return "A hydrant serves it: what if reckons no shuttle here.";
  return "No tanker shuttle is reckoned here.";
}

function whatIfLevel(address, level) {
  const at = row(address, level);
  const flow = view.whatIf.flow[at];
  const title = capital(data.levels[level].words);
  if (Number.isNaN(flow)) return [make("p", `${title}: not computed; no trip to a site that stands is kept.`)];
  const whole = (one) => gpm(Math.floor(one + ROUNDING_GPM));
  const meets = view.whatIf.found[at] === 1 ? "meets" : "does not meet";
  const planned = whole(Math.max(0, whatIf.planned[at]));
  const as = view.whatIf.how[at] === AS_PLANNED ? ", as planned," : ` (as planned ${planned})`;
  const head = `${title}: steady flow ${whole(flow)}${as} ${meets} the required ${gpm(addresses.gpm[address])}.`;
  const line = make("p", "", { inside: [make("strong", head)] });
  if (view.whatIf.found[at] === 1 && answers.meets[at] !== 1) {
    line.append(make("span", ` The plan does not hold it from the start: ${heldGpm(answers.flow[at], address)} held.`));
  }
  return view.whatIf.site[at] < 0 ? [line] : [line, facts(whatIfFacts(address, level))];
}

// What the flow rests on.
function whatIfFacts(address, level) {
  const at = row(address, level);
  const { steady } = view.whatIf;
  steady.answer(address, level);
  const { how, bestSite: site, crew: changed, shut } = steady;
  const [, , , used, leftOut, , , there] = data.answers.crews[answers.crew[at]];
  const ids = (some) => some.map((unit) => data.units[unit].id).join(", ") || "none";
  // where none can shuttle, none is left out
  const idleTitle = (run) => (run.length ? "Left out" : "Cannot shuttle, bring their water");
  const idle = (run) => {
    const left = steady.tankersOf(whatIf.order[address], level).filter((unit) => !run.includes(unit));
    return left.length ? [[idleTitle(run), ids(left)]] : [];
  };
  const wayOf = (trip, to) => {
    const kept = steady.keptTrip(address, to);
    const same = whatIf.trip.every((least, cut) => least[kept] === steady.ways[cut][kept]); // else it is another way
    const months = same && shutMonths(trip);
    return months ? [["Its way", `does not hold in ${months}: other minutes and flow then`]] : [];
  };
  if (how === AS_PLANNED || how === OWN_CIRCUIT) {
    const run = how === AS_PLANNED ? used : changed;
    const split = answers.split[at];
    const trip = (one) => {
      const units = run.filter((unit) => split < 0 || there.includes(unit) === (one === split));
      const crew = steady.crewOf(steady.placeOf(address, level, one).rate, one, units);
      return minutes(crew.trip(steady.keptTrip(address, one), steady.ways) * steady.change.factor * 10);
    };
    return [
      ["Fill site", siteName(site)],
      ["Round trip", trip(site)], ...wayOf(answers.trip[at], site),
      ["Tankers", ids(run.filter((unit) => !there.includes(unit)))],
      ...(split < 0 ? [] : [["Second fill site", siteName(split)], ["Round trip to it", trip(split)], ...wayOf(answers.splitTrip[at], split)]),
      ...(there.length ? [["Tankers there", ids(run.filter((unit) => there.includes(unit)))]] : []),
      ...(how === AS_PLANNED ? leftOut.length ? [[idleTitle(used), ids(leftOut)]] : [] : idle(run)),
      ["Worked out", how === AS_PLANNED ? "not touched by the changes" : "the plan's own circuit with the changes"],
    ];
  }
  const found = steady.detail(address, level, site, how === FRESH ? changed : undefined);
  const capped = found.flow > view.whatIf.flow[at] + 1 ? "; counted at most as planned" : "";
  return [
    ["Fill site", siteName(site)], ["Round trip", minutes(found.trip * 10)], ...wayOf(tripTo(address, site), site),
    ["Tankers", ids(found.used)],
    ...idle(found.used), ["Held back by", whatIf.limits[found.limit]],
    ["Worked out", how === FRESH ? "stands only now, with the plan's own tankers"
      : `${shut ? "the plan's way is shut in these months: " : ""}fill site chosen anew: best steady flow on kept trips${capped}`],
  ];
}
