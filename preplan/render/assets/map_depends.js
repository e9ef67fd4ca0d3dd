// What depends on a fill site, a tanker, a bridge or a closure: the addresses whose answer uses it stand out.

// The trips of the response level that an address's answer shows: none, one, or two where tankers are split.
function chosenTrips(address) {
  const level = answers.level[address];
  if (level < 0) return [];
  return [answers.trip, answers.splitTrip].map((trip) => trip[row(address, level)]).filter((trip) => trip >= 0);
}

// Tells of a leaf whether the way from it drives over one of some roads.
function waysOver(some) {
  const roadsAsked = new Set(some);
  const known = new Int8Array(forest.road.length).fill(-1);
  return (leaf) => {
    const rows = [];
    let at = leaf;
    while (at >= 0 && known[at] < 0) {
      if (roadsAsked.has(forest.road[at])) known[at] = 1;
      else rows.push(at);
      if (known[at] < 0) at = forest.up[at] === 0 ? -1 : at - forest.up[at];
    }
    const found = at >= 0 ? known[at] : 0;
    for (const one of rows) known[one] = found;
    return leaf >= 0 && known[leaf] === 1;
  };
}

// Mark the addresses whose chosen circuit drives over one of some roads, either way; `more` marks those of which
// another circuit does so, in other months.
function driveOver(some) {
  const over = waysOver(some);
  const drives = ({ outLeaf, backLeaf }, k) => over(outLeaf[k]) || over(backLeaf[k]);
  const marks = markAddresses((address) => chosenTrips(address).some((trip) => drives(trips, trip)));
  const then = new Set([...sheets.lead.keys()].filter((k) => drives(sheets, k)).map((k) => cards.place[sheets.lead[k]]));
  return { marks, more: markAddresses((address) => !marks[address] && then.has(cards.place[address])) };
}

function markAddresses(keep) {
  const marks = new Uint8Array(addresses.count);
  for (let a = 0; a < addresses.count; a += 1) if (keep(a)) marks[a] = 1;
  return marks;
}

function countOf(marks) {
  return marks.reduce((sum, one) => sum + one, 0);
}

// Mark the addresses whose answer, at the level it shows, gives a unit a job.
function countOn(unit) {
  const busy = data.answers.crews.map(([attack, fill, dump, used, , , second]) => {
    return [attack, fill, dump, second, ...used].includes(unit);
  });
  return markAddresses((address) => {
    const level = answers.level[address];
    return level >= 0 && busy[answers.crew[row(address, level)]];
  });
}

function servedFrom(site) {
  return markAddresses((address) => servedBy(address, site));
}

// The panel of one thing and the addresses that depend on it, which stand out on the map.
function showDepends(title, parts, marks, heading, roadsChosen = [], below = []) {
  clearChoice();
  view.depends = marks;
  view.roadsChosen = roadsChosen;
  view.dim = true;
  const some = [...marks.keys()].filter((address) => marks[address]);
  openPanel(title, [
    ...planNote(), ...parts, make("h3", `${heading(some.length)}, ${highlightedWords(some)}`), addressList(some), ...below,
  ]);
}

// What depends on what is asked of the plan alone.
function planNote() {
  return view.whatIf ? [boldLine("Numbers of the plan, not of the what-if.")] : [];
}

function highlightedWords(some) {
  const seen = some.filter(isShown).length;
  if (seen === some.length) return "highlighted on the map";
  return `${seen.toLocaleString("en-US")} of them on the map: the filter hides the others`;
}

// Addresses as buttons; beyond the first hundred only their number is said.
function addressList(some) {
  const item = (address) => button(addresses.label[address], () => goTo(address), { name: "plain" });
  const items = some.slice(0, MOST_LISTED).map((address) => make("li", "", { inside: [item(address)] }));
  const more = some.length - MOST_LISTED;
  if (more > 0) items.push(make("li", `and ${more.toLocaleString("en-US")} more.`));
  return make("ul", "", { name: "served", inside: items });
}

// The addresses that drive over some roads in other months alone.
function moreParts(more) {
  const some = [...more.keys()].filter((address) => more[address]);
  if (!some.length) return [];
  const heading = make("summary", `In other months those of ${some.length.toLocaleString("en-US")} more`);
  return [make("details", "", { inside: [heading, addressList(some)] })];
}

const drivenHeading = (count) => `The chosen circuits of ${addressesWords(count)} drive over it`;

const BRIDGES = [...roads.mark.keys()].filter((road) => roads.mark[road] & 3);
const wayOf = new Map(BRIDGES.map((road, k) => [road, data.roads.ways[k]]));

// In the words of the map, or in full, as the sign has it.
function bridgeTitle(road, texts = roads.posts) {
  const { [roads.post[road]]: said } = texts;
  if (roads.mark[road] & 1) return said.startsWith("rated") ? `Bridge ${said}` : `Posted: ${said}`;
  return said ? `Bridge ${said}` : "Bridge without a posted weight";
}

function showBridge(road) {
  const parts = [facts([["Road", roadName(road)], ["OpenStreetMap way", String(wayOf.get(road))]])];
  if (roads.posts[roads.post[road]].includes("rated")) {
    parts.push(make("p", "Its rating stands in the bridge table, not on a sign: ask its owner what it carries."));
  } else if (roads.mark[road] & 2) {
    parts.push(make("p", "What it carries is unknown. It is not known to be safe."));
  }
  for (const own of data.closures.filter((one) => one.roads.includes(road))) {
    parts.push(make("h3", own.title), facts(own.facts));
  }
  const { marks, more } = driveOver([road]);
  showDepends(bridgeTitle(road, roads.signs), parts, marks, drivenHeading, [road], moreParts(more));
}

// A closure that has no name of its own with its road.
function closureTitle({ own, title, roads: on }) {
  return own ? title : `${title}: ${closedNames(on)}`;
}

function closedNames(on) {
  return [...new Set(on.map(roadName))].join(", ");
}

function showClosure(closure) {
  const { title, facts: said, roads: on } = data.closures[closure];
  const names = closedNames(on);
  const { marks, more } = driveOver(on);
  const parts = [facts([["Road", names || data.notKnown], ...said])];
  showDepends(title, parts, marks, drivenHeading, on, moreParts(more));
}

function showUnit(unit) {
  const { id, kind, gal, station } = data.units[unit];
  const home = station < 0 ? data.notKnown : `${station + 1}, ${data.stations[station].name}`;
  const parts = [facts([["Kind", kind], ["Tank", said(gal, "gal")], ["Station", home]])];
  const then = sheets.lead.length ? " in the months that decide" : "";
  showDepends(`Unit ${id}`, parts, countOn(unit), (count) => `The answers of ${addressesWords(count)} give it a job${then}`);
}

// ------------------------------------------------------------------------------------------- the lists

// Beyond the first hundred only the number of the things is said: `line` writes one, with what a press of it does.
function listPart(heading, things, line) {
  const items = things.slice(0, MOST_LISTED).map((one, k) => {
    const [text, show] = line(one, k);
    return make("li", "", { inside: [button(text, show, { name: "plain" })] });
  });
  const more = things.length - MOST_LISTED;
  if (more > 0) items.push(make("li", `and ${more.toLocaleString("en-US")} more.`));
  return [make("h3", heading), items.length ? make("ul", "", { name: "served", inside: items }) : make("p", "none")];
}

// Every thing that something may depend on, for hands that find no symbol on the map and for the keyboard.
function showLists() {
  clearChoice();
  const onCircuits = new Set();
  for (let a = 0; a < addresses.count; a += 1) {
    for (const trip of chosenTrips(a)) for (const leaf of [trips.outLeaf[trip], trips.backLeaf[trip]]) onCircuits.add(leaf);
  }
  for (const leaf of [...sheets.outLeaf, ...sheets.backLeaf]) onCircuits.add(leaf);
  const driven = drivenRoads(onCircuits);
  const many = (marks) => addressesWords(countOf(marks));
  const besides = (one) => [
    one.more ? `${one.more.toLocaleString("en-US")} more in other months` : "",
    one.backups ? `backup of ${one.backups.toLocaleString("en-US")}` : "",
  ].filter(Boolean);
  const site = (one, k) => [[`${siteName(k)}: ${many(servedFrom(k))}`, ...besides(one)].join(", "), () => goToSite(k)];
  const unit = (one, k) => [`${one.id}, ${one.kind}, ${said(one.gal, "gal")}: ${many(countOn(k))}`, () => goToUnit(k)];
  const bridge = (road) => {
    const { marks, more } = driveOver([road]);
    const counts = [many(marks), ...besides({ more: countOf(more) })].join(", ");
    return [`${bridgeTitle(road)}, ${roadName(road)}: ${counts}`, () => goToBridge(road)];
  };
  const closures = data.closures.filter((one) => one.own || one.roads.length);
  const closure = (one) => [closureTitle(one), () => goToClosure(data.closures.indexOf(one))];
  const posted = BRIDGES.filter((road) => roads.mark[road] & 1);
  const weak = data.roads.weak.filter((road) => !(roads.mark[road] & 1)); // no circuit need drive there to be told
  const unposted = BRIDGES.filter((road) => roads.mark[road] & 2 && driven.has(road) && !weak.includes(road));
  openPanel("What depends on what", [
    ...planNote(),
    ...listPart("Fill sites", data.sites, site),
    ...listPart("Tankers and engines", data.units, unit),
    ...listPart("Posted roads and bridges", posted, bridge),
    ...listPart("Bridges rated below the weight of a unit, without a sign", weak, bridge),
    ...listPart("Bridges without a posted weight on chosen circuits", unposted, bridge),
    ...listPart("The district's own closures", closures.filter(({ own }) => own), closure),
    ...listPart("Roads shut in some months", closures.filter(({ own }) => !own), closure),
  ]);
}

// The roads that are driven on the ways of some leaves.
function drivenRoads(leaves) {
  const seen = new Uint8Array(forest.road.length);
  const found = new Set();
  for (const leaf of leaves) {
    for (let at = leaf; at >= 0 && !seen[at]; at = forest.up[at] === 0 ? -1 : at - forest.up[at]) {
      seen[at] = 1;
      found.add(forest.road[at]);
    }
  }
  return found;
}

function goToSite(site) {
  showSite(site);
  fitDepends([data.sites[site]]);
}

function goToUnit(unit) {
  showUnit(unit);
  fitDepends([]);
}

// Bring some places and the addresses that depend on what is chosen into view.
function fitDepends(places) {
  const some = [...view.depends.keys()].filter((address) => view.depends[address]);
  fitPoints([...places.map(({ x, y }) => [x, y]), ...some.map((address) => [addresses.x[address], addresses.y[address]])], 14);
}

function goToBridge(road) {
  showBridge(road);
  fitRoads([road], 15);
}

function goToClosure(closure) {
  showClosure(closure);
  fitRoads(data.closures[closure].roads, 15);
}
