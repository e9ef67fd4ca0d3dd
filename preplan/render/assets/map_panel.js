// The panel: legend, one address, one fill site, one station. Text only ever goes in as text.

const MOST_LISTED = 100;
const CARD_STEP_GPM = 10;
const LONG_TITLE = 80; // letters; a longer title is cut short, so that what follows stays in view

// No line ends between a number and its unit, or within a date.
function unparted(text) {
  const bound = text.replace(/(\d) (?=(?:%|gpm|gal|lb|tons|tonnes|ft|in|mi|min|minutes?|hours?|years?)\b)/g, "$1\u00a0");
  return bound.replace(/(\d{4})-(\d\d)-(?=\d\d)/g, "$1\u2060-\u2060$2\u2060-\u2060");
}

function make(tag, text = "", { name = "", inside = [], ...rest } = {}) {
  const element = document.createElement(tag);
  if (text) element.textContent = unparted(text);
  if (name) element.className = name;
  element.append(...inside.map((one) => (typeof one === "string" ? unparted(one) : one)));
  return Object.assign(element, rest);
}

function button(text, onclick, rest = {}) {
  return make("button", text, { type: "button", onclick, ...rest });
}

function facts(pairs) {
  const list = make("dl");
  for (const [what, said] of pairs) list.append(make("dt", what), make("dd", said));
  return list;
}

function said(value, unit, divide = 1, digits = 0) {
  if (value === undefined || value < 0) return data.notKnown;
  const form = { minimumFractionDigits: digits, maximumFractionDigits: digits };
  return `${(value / divide).toLocaleString("en-US", form)} ${unit}`;
}

const gpm = (value) => said(value, "gpm");
// As cards write flows, down to whole tens; finer where that would deny what the building needs.
const tensGpm = (value) => gpm(value < 0 ? value : Math.floor(value / CARD_STEP_GPM) * CARD_STEP_GPM);
function heldGpm(value, address) {
  const need = addresses.gpm[address];
  return value >= need && value - (value % CARD_STEP_GPM) < need ? gpm(value) : tensGpm(value);
}

const minutes = (value) => said(value, "min", 10, 1);
const miles = (value) => said(value, "mi", 100, 2);

function capital(text) {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

function addressesWords(count) {
  return `${count.toLocaleString("en-US")} address${count === 1 ? "" : "es"}`;
}

function siteName(site) {
  return `${site + 1}, ${data.sites[site].name}`;
}

// A symbol on a white chip, drawn by the map's own pens.
function chip(draw, wide = 34, high = 34) {
  const ratio = Math.min(2, window.devicePixelRatio || 1);
  const canvas = make("canvas", "", { name: "chip", width: wide * ratio, height: high * ratio });
  canvas.style.width = `${wide}px`;
  canvas.style.height = `${high}px`;
  canvas.setAttribute("aria-hidden", "true");
  const pen = canvas.getContext("2d");
  pen.scale(ratio, ratio);
  draw(pen, wide / 2, high / 2);
  return canvas;
}

function openPanel(title, parts) {
  const panel = document.getElementById("panel-body");
  const said = make("span", title, { name: title.length > LONG_TITLE ? "long" : "" });
  const { activeElement: held } = document;
  panel.replaceChildren(make("h2", "", { inside: [said], tabIndex: -1 }), ...backPart(), ...parts);
  if (!held.isConnected) focusPanel(); // what was pressed is gone: the keyboard goes on from here
  panel.scrollTop = 0;
  setSheetHead(title);
  showDrawn();
  document.getElementById("said").textContent = title;
  nameChosen();
  document.body.classList.add("panel-open");
  showLowWindow();
  drawStrips();
  // What was clicked stays under the finger; else the middle of the map stays its middle.
  planMap.invalidateSize({ pan: view.address < 0 && !view.depends, animate: false });
  chart.redraw();
}

function focusPanel() {
  document.querySelector("#panel-body h2")?.focus({ preventScroll: true });
}

// In a low window, where the page scrolls, the map and what is said below it come into view.
function showLowWindow() {
  const { scrollHeight, clientHeight } = document.documentElement;
  if (scrollHeight > clientHeight + 1) document.querySelector(".folium-map").scrollIntoView();
}

// The way back to the address that was looked at before.
function backPart() {
  const { before } = view;
  if (view.address >= 0 || before < 0) return [];
  return [button(`Back to ${addresses.label[before]}`, () => showAddress(before), { name: "plain back" })];
}

// What stands at the head of every printed sheet.
function setSheetHead(title) {
  const what = view.whatIf ? `WHAT IF, not the plan: ${changesWords()}` : "the plan";
  const whose = title ? `${title}. ` : "";
  const named = [data.name, data.date].filter(Boolean).join(", ");
  document.getElementById("sheet-head").textContent = unparted(`${whose}${named}: ${what}`);
}

// ------------------------------------------------------------------------------------------- one address

// What is best about the level shown where none meets: what it holds at once, or what it brings in all.
function bestWords(address, level) {
  const held = [...data.levels.keys()].map((one) => answers.flow[row(address, one)]);
  const printed = held.map((gpm) => Math.floor(gpm / CARD_STEP_GPM));
  if (held[level] < 1 || printed[level] < Math.max(...printed)) return "brings the most water"; // nothing is not the most
  return printed.filter((gpm) => gpm === printed[level]).length > 1 ? "holds as much as any" : "holds the most";
}

function levelWords(address) {
  const status = data.statuses[answers.status[address]];
  const level = answers.level[address];
  if (status.code === "served") return `Served: ${data.levels[level].words} meets the required flow.`;
  if (status.code === "higher level") return `Higher level: needs ${data.levels[level].words}.`;
  if (status.code === "not met") {
    const season = data.answers.seasons[answers.season[row(address, level)]];
    const most = level < 0 ? "" : ` ${capital(data.levels[level].words)} ${bestWords(address, level)}.`;
    return `Not met: no response level meets the required flow${season ? ` in the worst season, ${season}` : ""}.${most}`;
  }
  if (status.code === "hydrant") {
    const counts = data.answers.hydrants[answers.hydrantCounts[address]];
    return `${capital(status.words)}: ${said(answers.hydrant[address], "ft")} by road and driveway. ${counts}.`;
  }
  const [months] = apartOf(address);
  if (months) return `No route in ${months}: no way for a loaded tanker is known then.`;
  return "No route: no way for a loaded tanker is known.";
}

// Of an address that tankers reach in some months only: the others, and what holds in those.
function apartOf(address) {
  return data.answers.seasonsApart[answers.apart[address]];
}

function needWords(address) {
  const rate = `Required flow ${gpm(addresses.gpm[address])} for ${said(addresses.min[address], "min")}`;
  const basis = data.addresses.bases[addresses.basis[address]];
  return `${rate}; the method's own total is ${said(addresses.gal[address], "gal")} (${basis}).`;
}

// Which circuit is drawn: to the fill site, to the second one, or to the backup.
const CIRCUITS = { site: "trip", split: "splitTrip", backup: "backupTrip" };

function showAddress(address, level = startLevel(address), which = "site") {
  clearChoice();
  view.address = address;
  view.dim = true;
  drawCircuit(level, which);
  const head = make("p", "", {
    name: "status",
    inside: [
      chip((pen, x, y) => drawStatus(pen, answers.status[address], x, y, 11)),
      make("strong", levelWords(address)),
    ],
  });
  const place = `${addresses.lat[address].toFixed(5)}, ${addresses.lon[address].toFixed(5)}`;
  const first = answers.first[address];
  const driveway = said(addresses.driveway[address], "ft");
  const common = facts([
    ["Cross street", data.addresses.crosses[addresses.cross[address]] || data.notKnown],
    ["Driveway", addresses.driveway[address] < 0 ? driveway : `${driveway} of hose from the road to the building`],
    ["First engine arrives", first < 0 ? data.notKnown : `${minutes(first)} after alerting`],
    ["Latitude, longitude", place],
    ["US National Grid", addresses.grid(address) || data.notKnown],
  ]);
  const label = addresses.label[address];
  const sayings = (bold) => flagsOf(address).filter((flag) => flag.bold === bold).map(({ said }) => said);
  const [grave, others] = [[...sayings(0), ...sayings(1)], sayings(-1)];
  const levels = [...data.levels.keys()].sort((a, b) => (b === level) - (a === level) || a - b);
  const reached = levels.some((one) => answers.site[row(address, one)] >= 0);
  const parts = reached ? levels.map((one) => levelPart(address, one, level)) : [make("p", nothingWords(address, "any"))];
  const byHose = data.answers.byHoseWords[answers.byHose[address]];
  const builtUp = data.answers.builtUpWords[answers.builtUp[address]];
  const near = nearSites(address, level);
  const tight = data.answers.tightWords[answers.tight[address]].split("\n");
  const bold = [byHose, builtUp, ...tight, ...grave, ...apartOf(address)[1], ...seasonLines(address, level), ...near]
    .filter(Boolean);
  const beside = besideWords(address);
  openPanel(label, [
    ...(beside ? [make("div", capital(beside), { name: "beside" })] : []),
    ...whatIfPart(address), head, facts(firstFacts(address)), ...bold.map(boldLine),
    ...apartButtons(address, level), ...requestLine(address, level),
    ...parts.slice(0, 1),
    make("h3", "To know"), others.length ? flagList(others) : make("p", `Nothing ${grave.length ? "more " : ""}flagged.`),
    ...parts.slice(1),
    ...stripPart(address), make("h3", "The address"), make("p", needWords(address)), common,
    ...(label.length > LONG_TITLE ? [facts([["Name in full", label]])] : []),
  ]);
}

// What a driver must know at the fill sites: a rate that nobody measured, and what is too weak or low close by.
function nearSites(address, level) {
  const sites = sitesOf(address, level);
  const guessed = sites.filter((site) => data.sites[site].guessed).map((site) => site + 1);
  const near = sites.flatMap((site) => data.sites[site].near);
  const told = new Set(flagsOf(address).flatMap((flag) => flag.near));
  return [
    ...(guessed.length ? [`UNPROVEN: the rate of fill site ${guessed.join(" and ")} is assumed.`] : []),
    ...new Set(near.filter(([there]) => !there.every((one) => told.has(one))).map(([, words]) => words)),
  ];
}

// The fill site of an answer, or both.
function sitesOf(address, level) {
  if (level < 0) return [];
  const at = row(address, level);
  return [answers.site[at], answers.split[at]].filter((site) => site >= 0);
}

// Where the months differ, what holds in which, as the card says it.
function seasonLines(address, level) {
  if (level < 0) return [];
  const lines = seasonLinesOf(row(address, level));
  const told = monthsTold(address, level);
  return told ? [...lines, `Units and circuits here: ${told}; for other months see the sheets behind the card.`] : lines;
}

function seasonLinesOf(at) {
  return data.answers.seasonLines[answers.lines[at]].map((line) => `${line}.`);
}

// The months for which units and circuits are told, where tankers fill elsewhere, or come another way, in others; else ''.
function monthsTold(address, level) {
  return data.answers.seasons[answers.told[row(address, level)]];
}

function requestLine(address, level) {
  const said = level < 0 ? "" : data.answers.requests[answers.request[row(address, level)]];
  return said ? [boldLine(said)] : [];
}

function flagList(sayings) {
  return make("ul", "", { name: "flags", inside: sayings.map((said) => make("li", said)) });
}

function startLevel(address) {
  if (answers.level[address] >= 0) return answers.level[address];
  for (let k = 0; k < levelCount; k += 1) if (answers.trip[row(address, k)] >= 0) return k;
  return -1;
}

function boldLine(text) {
  return make("p", "", { inside: [make("strong", text)] });
}

// In a what-if the circuit of the plan is drawn only where the plan's own fill sites stay.
function drawCircuit(level, which) {
  const at = row(view.address, level);
  const anew = whatIfSite(view.address, level);
  const site = anew >= 0 && which === "site" ? anew : answers[which][at];
  const trip = anew >= 0 && which === "site" ? tripTo(view.address, anew) : answers[CIRCUITS[which]][at];
  view.drawn = { level, which, site, trip };
  view.circuit = level < 0 || isLost(site) ? null : circuit(view.address, trip, site);
}

// The circuits of other months that stand on sheets behind an address's card: rows of `sheets`.
function sheetsOf(address) {
  const { [address]: card } = cards.place;
  return card < 0 ? [] : [...sheets.lead.keys()].filter((k) => cards.place[sheets.lead[k]] === card);
}

function sheetMonths(sheet) {
  return data.sheets.months[sheets.when[sheet]];
}

// Of the address that the sheet is of, which shares its card with this one.
function drawSheet(sheet) {
  const { site: { [sheet]: site }, level: { [sheet]: level }, lead: { [sheet]: lead } } = sheets;
  view.drawn = { level, which: "months", site, trip: -1, sheet };
  view.circuit = isLost(site) ? null : circuitOver(lead, site, sheets.outLeaf[sheet], sheets.backLeaf[sheet]);
}

// The fill site that a what-if chose in the place of the plan's own; -1 where it did not.
function whatIfSite(address, level) {
  if (!view.whatIf || level < 0 || !shuttled(address)) return -1;
  const at = row(address, level);
  return view.whatIf.how[at] === ANEW || view.whatIf.how[at] === FRESH ? view.whatIf.site[at] : -1;
}

// Say on the map, on the screen and on paper, which circuit it shows.
function showDrawn() {
  const place = document.getElementById("drawn");
  place.hidden = view.address < 0;
  place.textContent = unparted(drawnWords());
}

function drawnWords() {
  if (view.address < 0) return "";
  const { level, which, site } = view.drawn;
  if (level < 0 || site < 0) return "Drawn: no circuit";
  if (isLost(site)) return `Drawn: no circuit, fill site ${site + 1} is off`;
  const what = { site: "", months: "", split: "second ", backup: "backup, " }[which];
  const split = which === "site" && whatIfSite(view.address, level) < 0 && answers.split[row(view.address, level)] >= 0;
  const of = `${what}fill site ${site + 1}${split ? ", one of two" : ""}, ${data.levels[level].words}${whenDrawn(level, which)}`;
  const mode = whatIfSite(view.address, level) >= 0 && which === "site" ? "what if, " : view.whatIf ? "the plan's, " : "";
  return view.circuit && view.circuit.dump ? `Drawn: ${mode}${of}` : `Not drawn, no way is traced: ${mode}${of}`;
}

// For which months a circuit is drawn, where others have another one, and in which its way does not hold.
function whenDrawn(level, which) {
  if (which === "months") {
    const { [view.drawn.sheet]: lead } = sheets.lead;
    const { [lead]: label } = addresses.label;
    const named = label.length > LONG_TITLE ? `${label.slice(0, LONG_TITLE)}\u2026` : label;
    return `, ${sheetMonths(view.drawn.sheet)} only${lead === view.address ? "" : `, as at ${named}`}`;
  }
  const anew = which === "site" && whatIfSite(view.address, level) >= 0;
  const told = which === "backup" ? backupThen(row(view.address, level)).stands : monthsTold(view.address, level);
  const notThen = shutMonths(view.drawn.trip);
  return (told && !anew ? `, ${told} only` : "") + (notThen ? `, NOT in ${notThen}` : "");
}

function nothingWords(address, which) {
  const [months] = apartOf(address);
  return `No fill site delivers here at ${which} response level${months ? ` in ${months}` : ""}.`;
}

// The chosen level stands open, the others are folded; each begins with what it holds.
function levelPart(address, level, chosen) {
  const at = row(address, level);
  const meets = answers.meets[at] === 1;
  const title = make("h3", capital(data.levels[level].words));
  const holds = answers.site[at] < 0
    ? make("p", nothingWords(address, "this"))
    : make("p", "", {
      name: "flow",
      inside: [make("strong", `Holds ${heldGpm(answers.flow[at], address)}`), `: ${meetsWords(address, at)}`],
    });
  const rest = answers.site[at] < 0 ? [] : [facts(levelFacts(address, at)), circuitButtons(address, level, chosen)];
  const name = meets ? "level meets" : "level";
  const open = level === chosen || chosen < 0 || !rest.length;
  if (open) return make("section", "", { name, inside: [title, holds, ...rest] });
  return make("details", "", { name, inside: [make("summary", "", { inside: [title, holds] }), ...rest] });
}

// A press redraws the circuit alone: the panel stays where it is, and so does the focus.
function circuitButton(text, which, isDrawn, draw) {
  const one = button(text, () => {
    draw();
    for (const other of document.querySelectorAll("[data-circuit]")) {
      other.setAttribute("aria-pressed", String(other === one));
    }
    showDrawn();
    document.getElementById("said").textContent = drawnWords();
    chart.redraw();
  });
  one.dataset.circuit = which;
  one.setAttribute("aria-pressed", String(isDrawn));
  return one;
}

function circuitButtons(address, level, chosen) {
  const at = row(address, level);
  const isDrawn = (which) => view.drawn.level === level && view.drawn.which === which;
  const pressed = (text, which) => circuitButton(text, which, isDrawn(which), () => drawCircuit(level, which));
  const anew = whatIfSite(address, level);
  const own = `Circuit to fill site ${answers.site[at] + 1}`;
  const buttons = [pressed(anew >= 0 ? `What-if circuit to fill site ${anew + 1}` : own, "site")];
  for (const [which, what] of [["split", "second fill site"], ["backup", "backup"]]) {
    const { [at]: site } = answers[which];
    if (site >= 0 && !isLost(site)) buttons.push(pressed(`Circuit to ${what} ${site + 1}`, which));
  }
  if (level === chosen) buttons.push(...sheetButtons(address));
  buttons.push(button("Fit circuit in view", fitCircuit));
  return make("div", "", { name: "buttons", inside: buttons });
}

function sheetButtons(address) {
  const some = sheetsOf(address).filter((sheet) => !isLost(sheets.site[sheet]));
  return some.map((sheet) => circuitButton(
    `Circuit in ${sheetMonths(sheet)}, fill site ${sheets.site[sheet] + 1}`, "months", false, () => drawSheet(sheet)));
}

// Where no level has a circuit in the worst season, but tankers come in other months.
function apartButtons(address, level) {
  const buttons = level < 0 ? sheetButtons(address) : [];
  if (!buttons.length) return [];
  return [make("div", "", { name: "buttons", inside: [...buttons, button("Fit circuit in view", fitCircuit)] })];
}

function meetsWords(address, at) {
  const need = addresses.gpm[address];
  if (need < 0) return "Required flow not known.";
  const close = answers.meets[at] && answers.flow[at] === need - 1 ? ", to within 1 gpm" : "";
  return `${answers.meets[at] ? "meets" : "does not meet"} the required ${gpm(need)}${close}.`;
}

// The months in which a way cannot be driven as it is drawn: shut then, or posted lower.
function shutMonths(trip) {
  return trip < 0 ? "" : data.trips.shutMonths[trips.shut[trip]];
}

function tripWords(trip) {
  if (trip < 0) return data.notKnown;
  const leg = (min, mi) => `${min[trip] === 0 ? "under 0.1 min" : minutes(min[trip])}, ${miles(mi[trip])}`;
  const parts = [`loaded ${leg(trips.outMin, trips.outMi)}`, `empty ${leg(trips.backMin, trips.backMi)}`];
  const turns = ["", "at the dump site", "at the fill site", "at both ends"][trips.turn[trip]];
  if (turns) parts.push(`turns round ${turns}`);
  if (trips.bridges[trip] > 0) parts.push(`bridges without a posted weight: ${trips.bridges[trip]}`);
  const shut = shutMonths(trip);
  return `${leg(trips.min, trips.mi)} (${parts.join("; ")})${shut ? `; ${shut} another way` : ""}`;
}

function levelFacts(address, at) {
  const lines = [...crewFacts(address, at), ["Dump site", dumpWords(address, at)]];
  lines.push(["Fill site", siteName(answers.site[at])], ...noteOf(answers.site[at]));
  lines.push(["Round trip", tripWords(answers.trip[at])]);
  if (answers.split[at] >= 0) {
    lines.push(["Second fill site", `${siteName(answers.split[at])}: tankers are split`], ...noteOf(answers.split[at]));
    lines.push(["Round trip to it", tripWords(answers.splitTrip[at])]);
  }
  lines.push(...backupFacts(at));
  if (at % levelCount > 0) lines.push(["If called on arrival", onArrivalWords(at)]);
  lines.push(["Steady flow", `${tensGpm(answers.steady[at])}${lastingWords(at)}`]);
  lines.push(["Held back by", data.answers.limits[answers.limit[at]]]);
  lines.push(["Longest cycle", minutes(answers.cycle[at])]);
  const spare = data.answers.crews[answers.crew[at]][4].length > 0;
  lines.push(["With any one tanker out", `holds ${tensGpm(answers.oneOut[at])}${spare ? ", none in its place" : ""}`]);
  const short = shortWords(at);
  if (short) lines.push(["Level short of", short]);
  const season = data.answers.seasons[answers.season[at]];
  if (season) lines.push(["Worst season", `${season}; these figures are for it`]);
  // one season decides for all levels: another one may hold less in others
  const by = seasonLinesOf(at);
  if (by.length && at % levelCount !== startLevel(address)) lines.push(["By months", by.join(" ")]);
  return lines;
}

// What stands in for the fill site, in which months, and what does in the others, as the card says it.
function backupFacts(at) {
  const { told, lines } = backupThen(at);
  const named = `Backup${told ? ` in ${told}` : ""}`;
  const others = lines.length ? [["Backup in other months", `${lines.join(". ")}.`]] : [];
  if (answers.backup[at] < 0) return [[named, "none"], ...others];
  return [
    [named, `${siteName(answers.backup[at])}: ${backupWords(at)}`],
    ...others,
    ["Backup round trip", tripWords(answers.backupTrip[at])],
  ];
}

// What the backup holds; where much more comes of it later, or nothing is held, that too.
function backupWords(at) {
  const [held, tens] = [answers.backupFlow[at], answers.backupTens[at]];
  const later = ` without a break, later ${tensGpm(tens * CARD_STEP_GPM)} steady`;
  const told = tens > Math.floor(held / CARD_STEP_GPM) ? later : tens ? "" : ", nor later";
  return `holds ${heldGpm(held, Math.floor(at / levelCount))}${tens < 0 ? "" : told}`;
}

function backupThen(at) {
  return data.answers.backupsThen[answers.backupThen[at]];
}

// What the district's table notes of a fill site.
function noteOf(site) {
  const { note } = data.sites[site];
  return note ? [["Its note", note]] : [];
}

// How long a steady flow lasts where a source holds little.
function lastingWords(at) {
  const [own, other] = [answers.site[at], answers.split[at]].map((site) => (site < 0 ? "" : data.sites[site].lasting));
  if (answers.split[at] < 0) return own;
  return own || other ? " while what the two fill sites store lasts" : "";
}

// What is left where the officer who arrives first calls the units beyond the first level.
function onArrivalWords(at) {
  const short = answers.gapOnArrival[at];
  const dry = short - answers.someOnArrival[at];
  const most = short > dry ? "too little flows" : "nothing flows";
  const some = dry > 0 && short > dry ? `, nothing for ${minutes(dry)} of it` : "";
  const lacks = `; ${most} for ${minutes(short)} in all${some}`;
  const gap = short < 0 ? "" : short > 0 ? lacks : "; enough flows throughout";
  // a later call may spread the loads and hold a little more by the sum: nobody should wait for that
  return `holds ${heldGpm(Math.min(answers.onArrival[at], answers.flow[at]), Math.floor(at / levelCount))}${gap}`;
}

// Where the first water flows, if that is far from the building: the plan's clock ends where the engine leaves the road.
function atRoad(address) {
  return flagsOf(address).some(({ code }) => code === data.longDriveway) ? ", at the road" : "";
}

// What an officer asks first: what to call and by when, where tankers fill, from when water flows; and where the card is.
function firstFacts(address) {
  const card = cardWords(address);
  const paper = card ? [["Card", card]] : [];
  const level = answers.level[address];
  if (level < 0) return paper;
  const water = answers.firstWater[address];
  const named = (site) => siteName(site) + (isLost(site) ? " (off in this what-if)" : "");
  const months = monthsTold(address, level);
  const sites = sitesOf(address, level).map(named).join("; some at ") + (months ? ` (${months})` : "");
  return [
    ...callFacts(address, level),
    ["Tankers fill at", sites || "no fill site"],
    ["First water", water < 0 ? data.notKnown : `${minutes(water)} after alerting${atRoad(address)}`],
    ...paper,
  ];
}

function callFacts(address, level) {
  const at = row(address, level);
  const named = data.levels[level].words;
  if (level === 0) return [["Call", named]];
  if (answers.meets[at] === 1) {
    const by = answers.callBy[address]; // for all of its card, as that says; below 0: a call on arrival comes too late
    const late = by < 0;
    const hurried = answers.hurried[address] === 1;
    const soon = hurried ? "best with the first alarm" : "on arrival";
    const sooner = flagsOf(address).find(({ code }) => code === data.firstAlarmIn);
    const but = !late && sooner ? [["But", sooner.said]] : [];
    return [["Call", `${named}, ${late ? "with the first alarm" : `${soon}, by minute ${by} at the latest`}`], ...but];
  }
  const later = `, with the first alarm: called on arrival it ${onArrivalWords(at)}`;
  return [["Call", named + (answers.callBy[address] === 0 ? later : "")]]; // 0: none meets, and a late call brings less
}

// The page on which an address's card is; '' where it has none.
function cardWords(address) {
  const { [address]: place } = cards.place;
  if (place < 0) return "";
  if (!cards.size) return `page ${place + cards.first} of cards.pdf`;
  const file = String(Math.floor(place / cards.size) + 1).padStart(3, "0");
  return `page ${(place % cards.size) + 1} of cards/${file}.pdf`;
}

// The building's side as loaded tankers arrive, as the card says it; nothing where two circuits differ.
function dumpWords(address, at) {
  const sides = [answers.trip[at], answers.splitTrip[at]].slice(0, answers.split[at] < 0 ? 1 : 2).map((trip) => {
    const leaf = trip < 0 ? -1 : trips.outLeaf[trip];
    const side = addresses.side[address];
    if (leaf < 0 || !side || forest.road[leaf] !== addresses.road[address]) return 0;
    return forest.forward[leaf] ? side : 3 - side;
  });
  const same = sides[0] && sides.every((side) => side === sides[0]);
  const building = same ? `Building on the ${["", "left", "right"][sides[0]]} as loaded tankers arrive. ` : "";
  const oneLane = roads.mark[addresses.road[address]] & 8 ? 1 : 0;
  return building + data.lane[oneLane];
}

function crewFacts(address, at) {
  const [attack, fill, dump, used, leftOut, rest, second, there, hose] = data.answers.crews[answers.crew[at]];
  const name = (unit) => (unit < 0 ? "none" : data.units[unit].id);
  const timed = (unit, min) => name(unit) + (unit >= 0 && min >= 0 ? ` at ${said(min, "min")}` : "");
  const loaded = (unit) => `${data.units[unit].id} (${said(data.units[unit].gal, "gal")})`;
  const both = dump >= 0 && dump === attack;
  const atSite = (unit, site) => {
    if (unit < 0) return data.sites[site].needsEngine ? "none" : "none is needed";
    return timed(unit, data.sites[site].engineMin[unit]);
  };
  const drafts = both ? ", drafts at the dump site too" : "";
  const lines = [["Attack engine", timed(attack, answers.attackMin[address]) + drafts]];
  lines.push(["Engine at fill site", atSite(fill, answers.site[at])]);
  if (there.length) lines.push(["Engine at second fill site", atSite(second, answers.split[at])]);
  if (!both) lines.push(["Engine at dump site", timed(dump, answers.dumpMin[at])]);
  const here = used.filter((unit) => !there.includes(unit));
  lines.push([there.length ? "Tankers, fill site" : "Tankers", here.map(loaded).join(", ") || "none"]);
  if (there.length) lines.push(["Tankers, second fill site", there.map(loaded).join(", ")]);
  const why = used.length ? "Tankers left out" : "Cannot shuttle, bring their water";
  if (leftOut.length) lines.push([why, leftOut.map(loaded).join(", ")]);
  const idle = rest.filter((unit) => !hose.includes(unit));
  if (hose.length) lines.push(["Lays hose", hose.map(name).join(", ")]);
  if (idle.length) lines.push(["Sent, no job yet", idle.map(name).join(", ")]);
  return lines;
}

function shortWords(at) {
  const count = (number, word) => (number > 0 ? [`${number} ${word}${number > 1 ? "s" : ""}`] : []);
  return [...count(answers.shortEngines[at], "engine"), ...count(answers.shortTankers[at], "tanker")].join(" and ");
}

// ------------------------------------------------------------------------------------------- places

function showSite(site) {
  const place = data.sites[site];
  const off = isLost(site) ? [boldLine("What if: this fill site is off. What stands below is the plan's.")] : [];
  const parts = [...off, facts([...place.facts, ["Latitude, longitude", `${place.lat.toFixed(5)}, ${place.lon.toFixed(5)}`]])];
  if (!place.road) parts.push(make("p", "Off the roads that a tanker can use: no trips from here."));
  if (place.flags.length) parts.push(flagList(place.flags));
  const title = `Fill site ${site + 1}: ${place.name}`;
  showDepends(title, parts, servedFrom(site), (count) => `Fill site of ${addressesWords(count)}`);
  view.siteChosen = site;
  chart.redraw();
}

function showStation(station) {
  clearChoice();
  const place = data.stations[station];
  const units = data.units.filter((unit) => unit.station === station);
  const text = (unit) => `${unit.id}: ${unit.kind}, ${said(unit.gal, "gal")}`;
  const show = (unit) => button(text(unit), () => showUnit(data.units.indexOf(unit)), { name: "plain" });
  const items = units.map((unit) => make("li", "", { inside: [show(unit)] }));
  openPanel(`Station ${station + 1}: ${place.name}`, [
    facts([["Turnout", place.turnout], ["Aid", place.aid]]),
    make("h3", "Units in service"), units.length ? make("ul", "", { name: "served", inside: items }) : make("p", "none"),
  ]);
}

function clearChoice() {
  if (view.address >= 0) view.before = view.address;
  view.address = -1;
  view.siteChosen = -1;
  view.depends = null;
  view.roadsChosen = [];
  view.circuit = null;
  view.dim = false;
}

// ------------------------------------------------------------------------------------------- legend

function legendLine(draw, text, wide, high) {
  return make("li", "", { inside: [chip(draw, wide, high), make("span", text)] });
}

function showLegend() {
  clearChoice();
  openPanel("Legend and filter", [
    ...(view.whatIf ? [make("h3", "What if"), whatIfLegend()] : []),
    make("h3", "Addresses"), statusFilter(), levelFilter(), flagFilter(), siteFilter(),
    make("p", shownWords(), { id: "shown", name: "note" }),
    make("p", "Status colours are not hydrant flow classes.", { name: "note" }),
    make("h3", "Fill sites"), siteLegend(),
    make("h3", "Also on the map"), placeLegend(),
  ]);
}

function statusFilter() {
  const lines = data.statuses.map((status, k) => {
    const box = make("input", "", { type: "checkbox", checked: !view.hidden.has(k) });
    box.onchange = () => {
      if (box.checked) view.hidden.delete(k);
      else view.hidden.add(k);
      filterChanged();
    };
    const text = make("span", `${status.words} (${status.count.toLocaleString("en-US")})`);
    const label = make("label", "", { inside: [box, chip((pen, x, y) => drawStatus(pen, k, x, y, 10)), text] });
    return make("li", "", { inside: [label] });
  });
  return make("ul", "", { name: "legend", inside: lines });
}

// A labelled choice; each option is a value and its words.
function selectField(label, id, options, value, choose) {
  const select = make("select", "", { id });
  select.append(...options.map(([one, text]) => make("option", text, { value: String(one) })));
  select.value = String(value);
  select.onchange = () => choose(typeof options[0][0] === "number" ? Number(select.value) : select.value);
  const chosen = make("span", "", { name: "chosen" }); // on paper, in the place of the box
  const tell = () => (chosen.textContent = select.selectedOptions[0] ? select.selectedOptions[0].textContent : "");
  select.addEventListener("change", tell);
  tell();
  return make("label", "", { name: "field", inside: [make("span", label), select, chosen] });
}

function levelFilter() {
  const options = [[-1, "Any response level"], ...data.levels.map(({ words }, k) => [k, `Answered by ${words}`])];
  return selectField("Show", "level-filter", options, view.level, (value) => {
    view.level = value;
    filterChanged();
  });
}

function flagFilter() {
  const counts = new Map();
  const last = new Map(); // address by code: an address that has a flag twice counts once
  for (let a = 0; a < addresses.count; a += 1) {
    for (let k = flags.start[a]; k < flags.start[a + 1]; k += 1) {
      const { code } = flags.all[flags.of[k]];
      if (last.get(code) !== a) counts.set(code, (counts.get(code) || 0) + 1);
      last.set(code, a);
    }
  }
  const line = ([code, count]) => [code, `${capital(code)} (${count.toLocaleString("en-US")})`];
  const options = [["", "Any flag or none"], ...[...counts].sort((a, b) => (a[0] < b[0] ? -1 : 1)).map(line)];
  return selectField("Flag, on either circuit", "flag-filter", options, view.flag, (value) => {
    view.flag = value;
    filterChanged();
  });
}

function siteFilter() {
  const options = [[-1, "Any fill site"], ...data.sites.map((_, k) => [k, `Fill site ${siteName(k)}`])];
  return selectField("From, in the months that decide", "site-filter", options, view.site, (value) => {
    view.site = value;
    filterChanged();
  });
}

// As long as some addresses are hidden, a line above the map says so and takes the filter off.
function showFiltered() {
  const place = document.getElementById("filtered");
  const count = countOf(markAddresses(isShown));
  place.hidden = count === addresses.count;
  place.replaceChildren();
  if (!place.hidden) place.append(make("p", `Filter: ${shownWords()}`), button("Show all", showAll));
  planMap.invalidateSize({ pan: false });
}

function showAll() {
  view.hidden.clear();
  [view.level, view.flag, view.site] = [-1, "", -1];
  showFiltered();
  if (document.getElementById("shown")) showLegend();
  focusPanel();
  chart.redraw();
}

function shownWords() {
  const count = countOf(markAddresses(isShown));
  const named = count === addresses.count ? "" : ` ${filterWords()}`;
  return `${count.toLocaleString("en-US")} of ${addresses.count.toLocaleString("en-US")} addresses shown.${named}`;
}

// What the filter keeps or hides, so that nobody takes a map without a status for a district without one.
function filterWords() {
  const parts = [];
  const hidden = data.statuses.filter((_, k) => view.hidden.has(k)).map(({ words }) => words);
  if (hidden.length) parts.push(`hidden: ${hidden.join(", ")}`);
  if (view.level >= 0) parts.push(`only answered by ${data.levels[view.level].words}`);
  if (view.flag) parts.push(`only flag ${view.flag}`);
  if (view.site >= 0) parts.push(`only fill site ${view.site + 1}`);
  return parts.length ? `${capital(parts.join("; "))}.` : "";
}

function filterChanged() {
  document.getElementById("shown").textContent = shownWords();
  showFiltered();
  chart.redraw();
}

function siteLegend() {
  const draw = (site) => (pen, x, y) => drawSite(pen, site, "1", x, y + 2, 15);
  const plain = { seasonal: false, inService: true };
  return make("ul", "", {
    name: "legend",
    inside: [
      ...data.kinds.map((kind, k) => legendLine(draw({ ...plain, kind: k }), kind, 44, 44)),
      legendLine(draw({ ...plain, kind: -1, seasonal: true }), "dashed outline: some months only", 44, 44),
      legendLine(draw({ kind: -1, seasonal: false, inService: false }), "crossed: out of service", 44, 44),
    ],
  });
}

function placeLegend() {
  const leg = (loaded) => (pen, x, y) => drawLeg(pen, [[4, y], [2 * x - 4, y]], loaded, DAY);
  const road = (dash) => (pen, x, y) => {
    pen.strokeStyle = DAY.roads[1];
    pen.lineWidth = 3;
    pen.setLineDash(dash);
    pen.beginPath();
    line(pen, [4, y], [2 * x - 4, y]);
    pen.stroke();
    pen.setLineDash([]);
  };
  const bridge = (mark) => (pen, x, y) => {
    road([])(pen, x, y);
    drawBridge(pen, mark, x, y, 0, DAY);
  };
  const closure = (pen, x, y) => {
    road([])(pen, x, y);
    drawClosure(pen, x, y, 0, DAY);
  };
  const barrier = (pen, x, y) => {
    road([])(pen, x, y);
    drawBarrier(pen, x, y, 0, DAY);
  };
  return make("ul", "", {
    name: "legend",
    inside: [
      legendLine((pen, x, y) => drawStation(pen, "1", x, y, 11), "fire station", 56),
      legendLine((pen, x, y) => drawHydrant(pen, x, y, DAY), "hydrant", 56),
      legendLine(leg(true), "loaded tankers, fill site to dump site", 56),
      legendLine(leg(false), "the empty way back", 56),
      legendLine((pen, x, y) => drawStar(pen, x, y, 12), "dump site of the chosen address", 56),
      legendLine((pen, x, y) => drawCorners(pen, x, y, 11, DAY), "the chosen address", 56),
      legendLine(bridge(1), "posted weight, height or width", 56),
      legendLine(bridge(2), "bridge without a posted weight: unknown, not safe", 56),
      legendLine(road([4, 4]), "road closed to tankers", 56),
      legendLine(barrier, "gate, bollard or ford that no truck passes", 56),
      legendLine(closure, "closed by the district, or in some months by signs", 56),
    ],
  });
}
