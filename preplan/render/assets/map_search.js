// The search: by word, in any order, however street words are spelt; house numbers whole.

const MOST_FOUND = 12;
const ROADS_FIRST = 0; // ranks of what is found, the first shown first
const ADDRESSES_NEXT = 1;

// Upper case, accents, apostrophes and the like off, other marks to spaces; ½ as 1/2.
function plain(text) {
  const parts = text.replace(/[¼½¾]/g, (one) => ` ${one.normalize("NFKD").replace("\u2044", "/")} `);
  const bare = parts.normalize("NFKD").replace(/[\u0300-\u036f'`\u2018\u2019\u02bb\u02bc.]/g, "").toUpperCase();
  const joined = bare.replace(/[&@]|(?<=\p{L})\/(?=\p{L})/gu, " AND ");
  return joined.replace(/[^\p{L}\p{N}/]+/gu, " ").trim();
}

const closed = (text) => plain(text).replace(/ /g, "");

const shortOf = new Map();
const spelt = new Map(Object.entries(data.search.spellings).map(([short, words]) => [short, [short, ...words]]));
for (const [short, words] of spelt) for (const word of words) shortOf.set(word, short);
const beforeNumber = new Set(data.search.beforeNumber);

const inShort = (word) => shortOf.get(word) || word;

// A numbered road's word and number, written as one: US7.
function parted(word) {
  const [, letters, number] = /^([A-Z]+)(\d+[A-Z]?)$/.exec(word) || [];
  return beforeNumber.has(letters) ? [letters, number] : [word];
}

const COUNTY = ["COUNTY", "CNTY", "CTY", "CO"];
const ROAD = ["ROAD", "RD"]; // neither it nor CO stands before a road's number alone

// Where the words of a numbered road begin whose number comes next.
function routeStart(words) {
  const { length } = words;
  const [road, county] = [words[length - 1], words[length - 2]];
  let from = length;
  if (county && ROAD.includes(road.word) && COUNTY.includes(county.word)) from -= 2;
  while (from && beforeNumber.has(words[from - 1].word)) from -= 1;
  return from && from < length && words[from - 1].word === "CO" ? from - 1 : from;
}

// The words of a text; those of a numbered road, whatever its class, become one with the number. 007 is 7.
function wordsOf(text, routes = true) {
  const words = [];
  const typed = plain(text).split(" ").filter(Boolean).map((word) => word.replace(/^0+(?=\d)/, ""));
  for (const word of routes ? typed.flatMap(parted) : typed) {
    const from = routes && /^\d+[A-Z]?$/.test(word) ? routeStart(words) : words.length;
    const before = words.splice(from).map((one) => one.typed);
    words.push({ word: before.length ? `RTE${word}` : word, typed: [...before, word].join(" ") });
  }
  return words.map((one) => ({ ...one, short: inShort(one.word) }));
}

// A word that no house number is: of a name, or of a numbered road.
const isOfRoad = ({ word }) => !hasNumber(word) || word.startsWith("RTE");

const isStreetWord = ({ word, short }) => shortOf.has(word) || spelt.has(short);

const hasNumber = (word) => /^(RTE)?\d/.test(word) && !/^\d+(ST|ND|RD|TH)$/.test(word);

// Every distinct word of the page's names, by number.
const vocabulary = [];
const numberOfWord = new Map();

function indexed(text) {
  return wordsOf(text).map(({ word, short }) => {
    if (!numberOfWord.has(word)) {
      numberOfWord.set(word, vocabulary.length);
      vocabulary.push({ word, short, forms: spelt.get(short) || [word] });
    }
    return numberOfWord.get(word);
  });
}

// What is searched, made when somebody first types: roads, places and units, and the distinct ends of addresses.
let searched = null;

function searchable() {
  if (searched) return searched;
  const thing = (text, show, more = "") => ({ text, show, words: indexed(`${text} ${more}`) });
  const named = roads.names.map((text, road) => ({ ...thing(text, () => goToRoad(road)), tag: "road", road }));
  const sites = data.sites.map((site, k) => thing(`Fill site ${k + 1}: ${site.name}`, () => goToSite(k), site.id));
  const stations = data.stations.map((station, k) => (
    thing(`Station ${k + 1}: ${station.name}`, () => goToStation(k), station.id)));
  const units = data.units.map((unit, k) => ( // Tanker 31 is T31
    thing(`Unit ${unit.id}, ${unit.kind}`, () => goToUnit(k), (/\d+/.exec(unit.id) || [""])[0])));
  const ends = data.addresses.rests.map(indexed);
  const crosses = data.addresses.crosses.map(indexed);
  const ids = new Map();
  const labels = new Map();
  for (let a = 0; a < addresses.count; a += 1) {
    const id = plain(addresses.id(a));
    if (id) ids.set(id, [...(ids.get(id) || []), a]);
    const key = labelKey(a);
    labels.set(key, (labels.get(key) || 0) + 1);
  }
  const tagged = (some, tag) => some.map((one) => ({ ...one, tag }));
  const manned = tagged(units, "unit");
  searched = {
    things: [
      ...named.filter(({ text }) => text), ...tagged(sites, "site"), ...tagged(stations, "station"), ...manned,
    ],
    ends, crosses, ids, labels, units: new Map(manned.map((one, k) => [closed(data.units[k].id), one])),
  };
  return searched;
}

function labelKey(address) {
  return addresses.rest[address] * 2 ** 24 + addresses.number[address];
}

function labelIsShared(address) {
  return searchable().labels.get(labelKey(address)) > 1;
}

// What tells an address from others of its label.
function besideWords(address) {
  const cross = data.addresses.crosses[addresses.cross[address]];
  const id = addresses.id(address);
  return [cross ? `near ${cross}` : "", id ? `ID ${id}` : ""].filter(Boolean).join(", ");
}

const NEAREST_SHOWN = 5; // addresses about a place
const FEET_A_DEGREE = 364567; // of latitude, mid-latitudes: good enough to say who is nearest
const FEET_A_MILE = 5280;
const OUTSIDE_MI = 25; // a place so far from any address is none of the district
const TYPO_FROM = 4; // letters of a word in which one may be wrong
const TWO_TYPOS_FROM = 8;

// Whether a word as typed begins a word of the page but for a letter or two wrong, missing, too many or swapped.
function isNearly(typed, word) {
  const most = typed.length < TWO_TYPOS_FROM ? 1 : 2;
  const start = word.slice(0, typed.length + most);
  let [last, above] = [[], [...Array(start.length + 1).keys()]];
  for (let i = 1; i <= typed.length; i += 1) {
    const row = [i];
    for (let k = 1; k <= start.length; k += 1) {
      row[k] = Math.min(above[k] + 1, row[k - 1] + 1, above[k - 1] + (typed[i - 1] === start[k - 1] ? 0 : 1));
      const swapped = i > 1 && k > 1 && typed[i - 1] === start[k - 2] && typed[i - 2] === start[k - 1];
      if (swapped) row[k] = Math.min(row[k], last[k - 2] + 1);
    }
    [last, above] = [above, row];
  }
  return Math.min(...above) <= most;
}

// The words asked for that no word of the page begins with, though they might be meant for one.
function misspelt(asked) {
  const { found } = bitsOfWords(asked);
  const known = found.reduce((all, bits) => all | bits, 0);
  return asked.filter(({ word }, bit) => !(known & (1 << bit)) && word.length >= TYPO_FROM && !/\d/.test(word));
}

// Which of the words asked for each word of the page is, as bits; and which it is in full. Those that are `loose` may
// be misspelt.
function bitsOfWords(asked, loose = []) {
  const found = new Int32Array(vocabulary.length);
  const whole = new Int32Array(vocabulary.length);
  vocabulary.forEach(({ word, short, forms }, k) => {
    asked.forEach((one, bit) => {
      const same = word === one.word || short === one.short;
      if (same) whole[k] |= 1 << bit;
      const begins = !hasNumber(one.word) && forms.some((form) => form.startsWith(one.word));
      if (same || begins || (loose.includes(one) && isNearly(one.word, word))) found[k] |= 1 << bit;
    });
  });
  return { found, whole };
}

// The addresses of an id: of several that differ by marks alone, as 5.12 and 51.2, the one that is typed to the letter.
function idsOf(text) {
  const some = searchable().ids.get(plain(text)) || [];
  const typed = text.trim().toUpperCase();
  const same = some.filter((address) => addresses.id(address).toUpperCase() === typed);
  return same.length ? same : some;
}

// The first few hits, how many there are, and, where a house number is not among them, the nearest numbers.
function find(text) {
  const crossing = findCrossing(text);
  if (crossing) return crossing;
  const { things, ends, units } = searchable();
  const named = idsOf(text);
  const place = named.length ? null : findDegrees(text);
  if (place) return place;
  const unit = units.get(closed(text)); // T 31 is T31
  const first = [...named.map(addressHit), ...(unit ? [unit] : [])].slice(0, MOST_FOUND);
  const exact = named.length === 1 || (!named.length && Boolean(unit));
  let nearest = null;
  for (const routes of [true, false]) {
    const found = findWords(wordsOf(text, routes).slice(0, 30), things, ends, { but: [...named, unit] });
    const hits = [...first, ...found.hits].slice(0, MOST_FOUND);
    if (found.count) return { hits, count: found.count + first.length, things: found.things, exact };
    if (found.nearest && routes && !first.length) nearest = found;
  }
  if (first.length) return { hits: first, count: first.length, exact };
  const joined = findJoined(text);
  if (joined) return joined;
  const without = lessOf(text, townDrops(text));
  if (nearest && without) return { ...without, hits: [...without.hits, ...nearest.hits].slice(0, MOST_FOUND) };
  return nearest || findSquare(text) || findCrossed(text) || findBegun(text) || findMisspelt(text) || without
    || findLess(text) || { hits: [], count: 0 };
}

// What is found with two words written as one, or one as two: School House for Schoolhouse.
function findJoined(text) {
  const { things, ends } = searchable();
  const asked = wordsOf(text).slice(0, 30);
  const known = (word) => numberOfWord.has(word);
  for (const [k, { word }] of asked.entries()) {
    const next = asked[k + 1];
    const tries = [];
    if (next && !hasNumber(word) && !hasNumber(next.word) && known(word + next.word)) tries.push([[word + next.word], 2]);
    // 12 A is 12A
    const lettered = next && /^\d+$/.test(word) && /^[A-Z]$/.test(next.word) && known(word + next.word);
    if (lettered) tries.push([[word + next.word], 2]);
    for (let cut = 2; cut < word.length - 1; cut += 1) {
      const both = [word.slice(0, cut), word.slice(cut)];
      if (!hasNumber(word) && both.every(known)) tries.push([both, 1]);
    }
    for (const [words, drop] of tries) {
      const put = words.map((one) => ({ word: one, typed: one, short: inShort(one) }));
      const found = findWords([...asked.slice(0, k), ...put, ...asked.slice(k + drop)], things, ends);
      if (found.count) return { hits: found.hits, count: 0, nearest: `Read as ${words.map(lower).join(" ")}:` };
    }
  }
  return null;
}

const lower = (word) => (hasNumber(word) ? word : capital(word.toLowerCase()));

// Where two roads meet: the place, and the addresses about it.
function findCrossing(text) {
  const sides = plain(text).split(/ (?:AND|AT) /);
  if (sides.length !== 2 || sides.some((side) => !side || /^\d/.test(side))) return null;
  const { things } = searchable();
  const named = (side) => {
    const asked = wordsOf(side).slice(0, 30);
    const { found } = bitsOfWords(asked);
    const every = 2 ** asked.length - 1;
    const has = ({ words }) => words.reduce((all, word) => all | found[word], 0) === every;
    return new Set(things.filter((one) => one.road >= 0 && has(one)).map(({ road }) => road));
  };
  const [here, there] = sides.map(named);
  const ends = new Map(); // ends of the roads asked for first: where stretches meet all have an end
  const endsOf = (k) => [roads.start[k], roads.start[k + 1] - 1].map((p) => [roads.x[p], roads.y[p]]);
  for (let k = 0; k < roads.count; k += 1) {
    if (here.has(roads.name[k])) for (const end of endsOf(k)) ends.set(end.join(), roads.name[k]);
  }
  for (let k = 0; k < roads.count; k += 1) {
    const { [k]: name } = roads.name;
    const met = there.has(name) && endsOf(k).find((end) => ends.has(end.join()) && ends.get(end.join()) !== name);
    if (met) return crossingAt(met, [ends.get(met.join()), name].map((road) => roads.names[road]).join(" and "));
  }
  return null;
}

function crossingAt([x, y], named) {
  const show = () => {
    closePanel();
    fitPoints([[x, y]], 16);
  };
  const { lat, lng } = latLng(x, y);
  const place = { text: named, tag: "crossing", show };
  return { hits: [place, ...nearestTo(lat, lng)], count: 0, nearest: "The crossing, and the addresses nearest to it:" };
}

// An address by its cross street too, as the list tells those of one label apart; a crossing by both its roads.
function findCrossed(text) {
  const { things, ends } = searchable();
  const asked = wordsOf(text).filter(({ word }) => word !== "AND" && word !== "AT");
  const found = findWords(asked.slice(0, 30), things, ends, { crossed: true });
  return found.count ? found : null;
}

// Words by their place that a text may have too many, as of a town: behind its comma, or the last ones. Those of
// streets are none, nor is a number in front.
function townDrops(text) {
  const asked = wordsOf(text).slice(0, 30);
  const places = [...asked.keys()];
  const behind = wordsOf(text.split(",")[0]).length;
  const last = [1, 2, 3].map((count) => places.slice(-count)).filter((some) => (
    some[0] > 0 && some.every((k) => !isStreetWord(asked[k]) && isOfRoad(asked[k]))));
  return [places.slice(behind), ...last].filter((some) => some.length);
}

// What is found in full without some words of a text, those of the first drop that finds any; where none does and
// `numbers` will do, the nearest house numbers. Nothing opens but what is picked.
function lessOf(text, drops, { numbers = false } = {}) {
  const { things, ends } = searchable();
  const asked = wordsOf(text).slice(0, 30);
  let near = null;
  for (const dropped of drops) {
    const kept = asked.filter((_, k) => !dropped.includes(k));
    if (!kept.some(isOfRoad)) continue;
    const { hits, count, nearest } = findWords(kept, things, ends, { full: true });
    const lacking = dropped.map((k) => asked[k].typed).filter((typed) => typed !== "AND");
    if (count) return { hits, count: 0, nearest: `Nothing has ${lacking.join(" ")} too; without it:` };
    if (numbers && hits.length && !near) near = { hits, count: 0, nearest };
  }
  return near;
}

// What is found by fewer words: without a town behind the road, else without one word, the shortest first, such as the
// N of N Main St.
function findLess(text) {
  const asked = wordsOf(text).slice(0, 30);
  const named = [...asked.keys()].filter((k) => !hasNumber(asked[k].word));
  const short = [...named].sort((a, b) => asked[a].word.length - asked[b].word.length);
  const last = [2, 3].map((count) => [...asked.keys()].slice(-count));
  return lessOf(text, [...townDrops(text), ...short.map((k) => [k]), ...last], { numbers: true });
}

// The addresses of a square of the national grid, as cards print it.
function findSquare(text) {
  const square = /(\d{4})\s+(\d{4})$/.exec(text.trim());
  if (square) {
    const hits = [...Array(addresses.count).keys()].filter((a) => addresses.grid(a).endsWith(`${square[1]} ${square[2]}`));
    if (hits.length) return { hits: hits.slice(0, MOST_FOUND).map(addressHit), count: 0, nearest: `In grid square ${square[0]}:` };
  }
  return null;
}

// The addresses nearest to a latitude and longitude; null where a text is none.
function findDegrees(text) {
  const place = placeOf(text);
  if (!place || !addresses.count) return null;
  const [lat, lon] = place;
  const shown = `${lat.toFixed(5)}, ${lon.toFixed(5)}`;
  const hits = nearestTo(lat, lon);
  const miles = feetFrom(lat, lon)(hits[0].address) / FEET_A_MILE;
  if (miles <= OUTSIDE_MI) return { hits, count: 0, nearest: `Nearest to ${shown}:` };
  return { hits: [], count: 0, nearest: `${shown} lies ${said(miles, "mi")} from the nearest address: outside the district.` };
}

// Latitude and longitude of a text in degrees, degrees and minutes, or degrees, minutes and seconds, with or without
// marks, signs and letters; null where it is none.
function placeOf(text) {
  const bare = text.toUpperCase().replace(/\b(LATITUDE|LONGITUDE|LAT|LONG|LON|DEG)\b|[\u00b0\u00ba'\u2019\u2032"\u201d\u2033:,;()]/g, " ");
  if (!/^[\s\d.NSEW+-]+$/.test(bare)) return null;
  const letters = bare.match(/[NSEW]/g) || [];
  const numbers = (bare.match(/[+-]?\d+(?:\.\d*)?/g) || []).map(Number);
  const size = numbers.length / 2;
  const marked = /[\u00b0\u00ba]/.test(text) || size === 3;
  const exact = (bare.match(/\.\d\d/g) || []).length === 2; // 450 N 300 W is an address
  if (![1, 2, 3].includes(size) || !(exact || (marked && letters.length === 2))) return null;
  if (![0, 2].includes(letters.length) || letters.filter((one) => "NS".includes(one)).length * 2 !== letters.length) return null;
  if (size > 1 && !letters.length && !/[\u00b0\u00ba]/.test(text)) return null;
  const halves = [numbers.slice(0, size), numbers.slice(size)];
  if (halves.some(([, ...parts]) => parts.some((one) => one < 0 || one >= 60))) return null;
  const values = halves.map(([degrees, minutes = 0, seconds = 0]) => (
    (degrees < 0 ? -1 : 1) * (Math.abs(degrees) + minutes / 60 + seconds / 3600)));
  return letters.length ? lettered(values, letters) : unlettered(values);
}

function lettered(values, letters) {
  const signed = values.map((value, k) => ("SW".includes(letters[k]) ? -Math.abs(value) : value));
  const [lat, lon] = "EW".includes(letters[0]) ? signed.reverse() : signed;
  return Math.abs(lat) <= 90 && Math.abs(lon) <= 180 ? [lat, lon] : null;
}

// Without letters: a longitude without its sign lies on the district's side of the world, and of two orders the one
// counts that lies nearer.
function unlettered([first, second]) {
  const sided = (lon) => (lon > 0 && data.view[2] < 0 ? -lon : lon);
  const both = [[first, sided(second)], [second, sided(first)]].filter(([lat, lon]) => Math.abs(lat) <= 90 && Math.abs(lon) <= 180);
  const feet = ([lat, lon]) => (addresses.count ? feetFrom(lat, lon)(0) : 0);
  return both.sort((a, b) => feet(a) - feet(b))[0] || null;
}

// How far an address lies from a place, in feet.
function feetFrom(lat, lon) {
  const shrink = Math.cos((lat * Math.PI) / 180);
  return (a) => Math.hypot(addresses.lat[a] - lat, (addresses.lon[a] - lon) * shrink) * FEET_A_DEGREE;
}

// The addresses nearest to a place, with how far off they are.
function nearestTo(lat, lon) {
  const far = feetFrom(lat, lon);
  const near = [...Array(addresses.count).keys()].sort((a, b) => far(a) - far(b)).slice(0, NEAREST_SHOWN);
  const away = (a) => (far(a) < FEET_A_MILE ? said(far(a), "ft away") : said(far(a) / FEET_A_MILE, "mi away", 1, 1));
  return near.map((a) => ({ ...addressHit(a), more: [away(a), addressHit(a).more].filter(Boolean).join(", ") }));
}

// What may be meant while the number of a road is still to be typed, as after '1533 State': its words are one with it.
function findBegun(text) {
  const words = plain(text).split(" ");
  while (beforeNumber.has(words[words.length - 1])) words.pop();
  if (!words.length || words.length === plain(text).split(" ").length) return null;
  const { things, ends } = searchable();
  const { hits, count } = findWords(wordsOf(words.join(" ")).slice(0, 30), things, ends);
  return count ? { hits, count: 0, nearest: "Go on with the road's number; so far:" } : null;
}

// What may be meant where nothing is spelt as asked: nothing opens but what is picked.
function findMisspelt(text) {
  const { things, ends } = searchable();
  const asked = wordsOf(text).slice(0, 30);
  const loose = misspelt(asked);
  const { hits, nearest } = loose.length ? findWords(asked, things, ends, { loose }) : { hits: [] };
  if (!hits.length) return null;
  const named = loose.map(({ word }) => capital(word.toLowerCase())).join(" or ");
  return { hits, count: 0, nearest: nearest || `Nothing is spelt ${named}; near it:` };
}

function addressHit(address) {
  return { address, text: addresses.label[address], more: labelIsShared(address) ? besideWords(address) : "" };
}

// Things and addresses that have all words asked for; `crossed`: those of an address's cross street count as its own;
// `full`: no word may be a beginning.
function findWords(asked, things, ends, { but = [], loose = [], crossed = false, full = false } = {}) {
  if (!asked.length) return { hits: [], count: 0 };
  const every = 2 ** asked.length - 1;
  const bits = bitsOfWords(asked, loose);
  const { whole } = bits;
  const found = full ? whole : bits.found;
  const bitsOf = (words, bits) => words.reduce((all, word) => all | bits[word], 0);
  const numbers = asked.map(({ word }) => (/^\d{1,8}$/.test(word) ? Number(word) : -2));
  const ranks = new Map();
  let [count, among] = [0, 0];
  const keep = (rank, hit) => {
    count += 1;
    if (!ranks.has(rank)) ranks.set(rank, []);
    if (ranks.get(rank).length < MOST_FOUND) ranks.get(rank).push(hit);
  };
  // Those that begin with the words first, then roads and places before addresses, then words in full.
  const rankOf = (begins, kind, full) => (begins ? 0 : 4) + kind * 2 + (full ? 0 : 1);
  for (const one of things) {
    if (bitsOf(one.words, found) !== every || but.includes(one)) continue;
    among += 1;
    keep(rankOf(found[one.words[0]] & 1, ROADS_FIRST, bitsOf(one.words, whole) === every), one);
  }
  const [endFound, endWhole] = [found, whole].map((bits) => ends.map((words) => bitsOf(words, bits)));
  const crossFound = crossed ? searchable().crosses.map((words) => bitsOf(words, found)) : [];
  for (let a = 0; a < addresses.count; a += 1) {
    const { [a]: number } = addresses.number;
    const end = addresses.rest[a];
    let own = 0;
    for (let k = 0; k < numbers.length; k += 1) if (numbers[k] === number) own |= 1 << k;
    const beside = crossed ? crossFound[addresses.cross[a]] : 0;
    if ((endFound[end] | own | beside) !== every || but.includes(a)) continue;
    const begins = own & 1 || (!own && found[ends[end][0]] & 1);
    keep(rankOf(begins, ADDRESSES_NEXT, (endWhole[end] | own) === every), a);
  }
  const sorted = () => [...ranks].sort((a, b) => a[0] - b[0]).flatMap(([, some]) => some).slice(0, MOST_FOUND);
  if (sorted().every((hit) => typeof hit === "number" && isLettered(hit, asked))) {
    for (const a of count ? letteredTwins(asked, numbers, endFound, every) : []) keep(Infinity, a);
  }
  const hits = sorted();
  if (count) return { hits: hits.map((hit) => (typeof hit === "number" ? addressHit(hit) : hit)), count, things: among };
  // a house number with a letter is no number here, and yet the nearest ones help
  return nearestNumbers(asked, asked.map(({ word }) => Number(/^(\d{1,8})[A-Z]?$/.exec(word)?.[1] ?? -2)), endFound, every);
}

// Whether a letter that nobody typed stands behind an address's number: 100 B Main St for 100 Main St.
function isLettered(address, asked) {
  const [, letter] = /^\d+ ([A-Z]) /.exec(plain(addresses.label[address])) || [];
  return letter !== undefined && !asked.some(({ word }) => word === letter);
}

// The addresses that have the number asked for with a letter that is one word with it, and all other words: 100A.
function letteredTwins(asked, numbers, endFound, every) {
  const given = numbers.findIndex((one) => one >= 0);
  return [...addresses.number.keys()].filter((a) => addresses.number[a] < 0
    && endFound[addresses.rest[a]] === (every & ~(1 << given))
    && leadingNumber(data.addresses.rests[addresses.rest[a]]) === numbers[given]);
}

// Where the road is there and the house number is not.
function nearestNumbers(asked, numbers, endFound, every) {
  const given = numbers.findIndex((one, k) => one >= 0 && endFound.some((bits) => bits === (every & ~(1 << k)) && bits));
  if (given < 0) return { hits: [], count: 0 };
  // 12A, which is no plain number, stands in the rest of its label
  const numberOf = (a) => (addresses.number[a] >= 0 ? addresses.number[a] : leadingNumber(data.addresses.rests[addresses.rest[a]]));
  const far = (a) => Math.abs(numberOf(a) - numbers[given]);
  const some = [...addresses.number.keys()].filter((a) => (
    numberOf(a) >= 0 && endFound[addresses.rest[a]] === (every & ~(1 << given))));
  if (!some.length) return { hits: [], count: 0 };
  some.sort((a, b) => far(a) - far(b));
  const road = asked.filter((_, k) => k !== given).map(({ word }) => capital(word.toLowerCase())).join(" ");
  return { hits: some.slice(0, MOST_FOUND).map(addressHit), count: 0, nearest: `No ${asked[given].word} ${road}; nearest numbers:` };
}

function leadingNumber(label) {
  return Number(/^(\d{1,8})[A-Za-z]?\b/.exec(label)?.[1] ?? -1);
}

// ------------------------------------------------------------------------------------------- the box

// What was chosen stands back while the box says something else.
function showAstray() {
  const box = document.getElementById("search");
  const chosen = view.address < 0 ? "" : addresses.label[view.address];
  const typed = box.value.trim();
  document.body.classList.toggle("astray", view.address >= 0 && typed !== "" && box.value !== chosen);
}

// The box names the address that is chosen, and nothing else.
function nameChosen() {
  document.getElementById("search").value = view.address < 0 ? "" : addresses.label[view.address];
  showAstray();
}

function startSearch() {
  const box = document.getElementById("search");
  const list = document.getElementById("found");
  let [found, at] = [{ hits: [], count: 0 }, -1];
  const close = () => {
    list.replaceChildren();
    list.hidden = true;
    box.setAttribute("aria-expanded", "false");
    box.removeAttribute("aria-activedescendant");
    at = -1;
  };
  const mark = (next) => {
    const { length } = found.hits;
    if (!length || list.hidden) return;
    at = (next + length) % length;
    const items = [...list.querySelectorAll("[role=option]")];
    items.forEach((item, k) => item.setAttribute("aria-selected", String(k === at)));
    items[at].scrollIntoView({ block: "nearest" });
    box.setAttribute("aria-activedescendant", `found-${at}`);
  };
  const take = (hit) => {
    close();
    if (hit.address === undefined) hit.show();
    else goTo(hit.address);
    focusPanel(); // the next step of the keyboard is the first button there
  };
  const fill = () => {
    found = find(box.value);
    close();
    const items = found.hits.map((hit, k) => foundItem(hit, k, () => take(hit)));
    const said = box.value.trim() ? foundWords(found) : "";
    const note = make("li", said, { name: "none" });
    note.setAttribute("role", "presentation");
    if (found.nearest) list.append(note, ...items);
    else list.append(...items, ...(said && found.count !== items.length || !items.length && said ? [note] : []));
    list.hidden = !list.children.length;
    box.setAttribute("aria-expanded", String(!list.hidden));
    document.getElementById("said").textContent = said;
    showAstray();
  };
  // With no house of that number or name, and nothing picked from the list, nothing opens.
  const enter = () => {
    if (at >= 0) take(found.hits[at]);
    else if (found.count && isSure(found, box.value)) take(found.hits[0]);
    else if (found.count) {
      mark(0);
      document.getElementById("said").textContent = "Several are meant: pick one.";
    } else if (box.value.trim()) clearAll();
  };
  const keys = {
    ArrowDown: () => mark(at + 1),
    ArrowUp: () => mark(at < 0 ? -1 : at - 1),
    Enter: enter,
    Escape: () => {
      if (list.hidden) nameChosen();
      close();
    },
  };
  const clearAll = () => {
    const { value } = box;
    closePanel();
    box.value = value;
  };
  box.addEventListener("input", fill);
  box.addEventListener("focus", () => (view.address < 0 ? box.value && fill() : box.select()));
  box.addEventListener("blur", close);
  box.addEventListener("keydown", (event) => {
    if (!keys[event.key]) return;
    event.preventDefault();
    event.stopPropagation();
    keys[event.key]();
  });
}

// Whether the first hit is what is meant: else a press of Enter only marks it, and the next one opens it.
function isSure({ hits, count, things = 0, exact = false }, text) {
  const [{ address, text: named }] = hits;
  const asked = plain(text);
  if (count === 1 || exact) return true;
  if (address === undefined) return things === 1 || plain(named) === asked;
  const meant = hits.filter((hit) => inShorts(hit.text) === inShorts(text)); // 60 Mill Road is 60 Mill Rd
  return meant.length === 1 && !labelIsShared(address) && meant[0] === hits[0];
}

function inShorts(text) {
  return wordsOf(text).map(({ short }) => short).join(" ");
}

function foundWords({ hits, count, nearest }) {
  if (nearest) return nearest;
  if (!count) return "Nothing found.";
  return hits.length < count ? `First ${hits.length} of ${count.toLocaleString("en-US")}.` : `${count} found.`;
}

function foundItem(hit, k, take) {
  const item = make("li", "", { id: `found-${k}` });
  item.setAttribute("role", "option");
  item.setAttribute("aria-selected", "false");
  const draw = (pen, x, y) => drawStatus(pen, answers.status[hit.address], x, y, 8);
  item.append(hit.address === undefined ? make("span", hit.tag, { name: "tag" }) : chip(draw, 26, 26));
  const text = make("span", hit.text);
  if (hit.more) text.append(make("small", hit.more));
  item.append(text);
  // Before the box loses its focus and the list closes.
  item.addEventListener("mousedown", (event) => {
    event.preventDefault();
    take();
  });
  return item;
}
