// The page's data: packed columns back to numbers, and places to map units.
// A map unit is the width of the world in the web's usual projection; 1 x 2^zoom x 256 pixels.

const data = JSON.parse(document.getElementById("plan-data").textContent);

// Letters of packed numbers: those below LAST end a number, after each other one the next is worth MORE times as much.
const LAST = 58;
const letters = Array.from({ length: 95 }, (_, k) => k + 32).filter((code) => !'"&,<=>\\^~'.includes(String.fromCharCode(code)));
const MORE = letters.length - LAST;
const digitOf = new Uint8Array(128);
letters.forEach((code, digit) => (digitOf[code] = digit));

// The inverse of pack(): digits of letters, zigzag; or =count,number; or ~count,places,numbers; or ^numbers,copies.
function unpack(text) {
  if (text[0] === "=") {
    const [count, number] = text.slice(1).split(",").map(Number);
    return new Array(count).fill(number);
  }
  if (text[0] === "~") {
    const [count, places, values] = text.slice(1).split(",");
    const column = new Array(Number(count)).fill(0);
    const given = unpack(values);
    running(places).forEach((place, k) => (column[place] = given[k]));
    return column;
  }
  if (text[0] === "^") {
    const [numbers, copies] = text.slice(1).split(",").map(unpack);
    return repeated(numbers, copies);
  }
  const numbers = [];
  let value = 0;
  let worth = 1;
  for (let k = 0; k < text.length; k += 1) {
    const digit = digitOf[text.charCodeAt(k)];
    value += digit * worth;
    worth *= MORE;
    if (digit < LAST) {
      numbers.push((value >>> 1) ^ -(value & 1));
      value = 0;
      worth = 1;
    }
  }
  return numbers;
}

// Numbers with runs that came before put back: each copy is new numbers before it, length, how far back.
function repeated(numbers, copies) {
  const whole = [];
  let taken = 0;
  for (let k = 0; k < copies.length; k += 3) {
    for (const end = taken + copies[k]; taken < end; taken += 1) whole.push(numbers[taken]);
    const from = whole.length - copies[k + 2];
    for (let n = 0; n < copies[k + 1]; n += 1) whole.push(whole[from + n]);
  }
  for (; taken < numbers.length; taken += 1) whole.push(numbers[taken]);
  return whole;
}

function running(text) {
  let sum = 0;
  return unpack(text).map((step) => (sum += step));
}

// A column by address, or by address and level, that is packed as steps along the roads.
function alongRoads(text) {
  const stepped = unpack(text);
  const width = along.length ? stepped.length / along.length : 1;
  const column = new Array(stepped.length);
  const last = new Array(width).fill(0);
  let at = 0;
  for (const address of along) {
    for (let k = 0; k < width; k += 1, at += 1) {
      last[k] += stepped[at];
      column[address * width + k] = last[k];
    }
  }
  return column;
}

function unitX(lon) {
  return lon / 360 + 0.5;
}

function unitY(lat) {
  const sine = Math.sin((Math.max(-85, Math.min(85, lat)) * Math.PI) / 180);
  return 0.5 - Math.log((1 + sine) / (1 - sine)) / (4 * Math.PI);
}

function latLng(x, y) {
  const lat = (Math.atan(Math.sinh(Math.PI * (1 - 2 * y))) * 180) / Math.PI;
  return L.latLng(lat, (x - 0.5) * 360);
}

function unpackPlaces(lon, lat) {
  return {
    x: Float64Array.from(lon, (one) => unitX(one / 1e5)),
    y: Float64Array.from(lat, (one) => unitY(one / 1e5)),
  };
}

// Lines as one run of points; line k is points start[k] to start[k + 1], its box is four columns.
function unpackLines(packed) {
  const counts = unpack(packed.n);
  const { x, y } = unpackPlaces(running(packed.lon), running(packed.lat));
  const start = new Int32Array(counts.length + 1);
  const box = new Float64Array(4 * counts.length);
  counts.forEach((count, k) => {
    start[k + 1] = start[k] + count;
    let [west, north, east, south] = [Infinity, Infinity, -Infinity, -Infinity];
    for (let p = start[k]; p < start[k + 1]; p += 1) {
      west = Math.min(west, x[p]);
      east = Math.max(east, x[p]);
      north = Math.min(north, y[p]);
      south = Math.max(south, y[p]);
    }
    box.set([west, north, east, south], 4 * k);
  });
  return { count: counts.length, start, x, y, box };
}

function unpackColumns(packed, names, how = unpack) {
  return Object.fromEntries(names.map((name) => [name, how(packed[name])]));
}

// A sentence as it is, or put together from its form and its numbers.
function spoken(one) {
  if (typeof one === "string") return one;
  const [form, numbers] = one;
  const put = numbers.split(" ").values();
  return data.answers.forms[form].replace(/\0/g, () => put.next().value);
}

for (const name of ["flags", "builtUpWords"]) data.answers[name] = data.answers[name].map(spoken);
data.answers.seasonLines = data.answers.seasonLines.map((lines) => lines.map(spoken));
data.answers.backupsThen = data.answers.backupsThen.map(
  ([told, stands, lines]) => ({ told, stands, lines: lines.map(spoken) }),
);

const along = running(data.along);
const levelCount = data.levels.length;

const roads = {
  ...unpackLines(data.roads),
  ...unpackColumns(data.roads, ["rank", "name", "mark", "post"]),
  names: data.roads.names,
  posts: data.roads.posts,
  signs: data.roads.signs,
};
const ground = {
  water: unpackLines(data.ground.water),
  islands: unpackLines(data.ground.islands),
  streams: unpackLines(data.ground.streams),
  buildings: unpackLines(data.ground.buildings),
  barriers: unpackLines(data.ground.barriers), // each from its place to the road's next point
  hydrants: unpackPlaces(running(data.ground.hydrantLon), running(data.ground.hydrantLat)),
};
const driven = running(data.forest.driven);
const forest = {
  road: driven.map((one) => Math.floor(one / 2)),
  forward: driven.map((one) => one % 2),
  up: unpack(data.forest.up),
};
const trips = unpackColumns(data.trips, [
  "site", "place", "outMin", "backMin", "moreMin", "outMi", "backMi", "moreMi", "bridges", "shut", "turn", "outLeaf",
  "backLeaf",
], running);
trips.min = trips.moreMin.map((more, k) => more + trips.outMin[k] + trips.backMin[k]);
trips.mi = trips.moreMi.map((more, k) => more + trips.outMi[k] + trips.backMi[k]);
const sheets = unpackColumns(data.sheets, ["lead", "when", "site", "level", "outLeaf", "backLeaf"], running);
sheets.lead = sheets.lead.map((place) => along[place]);
const tripTo = tripFinder();
const CASE_COLUMNS = [
  "site", "backup", "split", "meets", "shortEngines", "shortTankers", "crew", "limit", "season", "request", "lines", "told",
];
const answers = unpackAnswers(data.answers);
const addresses = unpackAddresses(data.addresses);
const cards = { ...data.cards, place: alongRoads(data.cards.place) };
for (const place of [...data.sites, ...data.stations]) {
  place.x = unitX(place.lon);
  place.y = unitY(place.lat);
}

function unpackAnswers(packed) {
  const columns = unpackColumns(packed, [
    "status", "level", "hydrant", "first", "flagCount", "case", "cycle", "flow", "backupFlow", "backupTens", "backupThen",
    "oneOut", "steady", "onArrival", "gapOnArrival", "someOnArrival", "firstWater", "callBy", "hurried", "byHose", "tight", "builtUp",
    "apart", "dumpMin", "attackMin", "hydrantCounts",
  ], alongRoads);
  CASE_COLUMNS.forEach((name, k) => {
    columns[name] = columns.case.map((one) => packed.cases[one][k]);
  });
  const tripOf = (site, at) => tripTo(Math.floor(at / levelCount), site);
  const [trip, backupTrip, splitTrip] = ["site", "backup", "split"].map((name) => columns[name].map(tripOf));
  return { ...columns, trip, backupTrip, splitTrip };
}

// Finds the trip of an address to a site; -1 where none is in the page.
function tripFinder() {
  const start = new Int32Array(along.length + 1);
  for (const place of trips.place) start[along[place] + 1] += 1;
  for (let a = 0; a < along.length; a += 1) start[a + 1] += start[a];
  const end = start.slice();
  const rows = new Int32Array(trips.place.length);
  trips.place.forEach((place, trip) => {
    rows[end[along[place]]] = trip;
    end[along[place]] += 1;
  });
  return (address, site) => {
    for (let k = start[address]; k < end[address]; k += 1) if (trips.site[rows[k]] === site) return rows[k];
    return -1;
  };
}

function unpackAddresses(packed) {
  const columns = unpackColumns(packed, [
    "lon", "lat", "frontLon", "frontLat", "road", "driveway", "gpm", "gal", "min", "basis", "number", "rest",
    "cross", "side", "idStem", "idNumber", "zone", "east", "north",
  ], alongRoads);
  const { lon, lat, number, rest } = columns;
  const frontLon = columns.frontLon.map((step, k) => step + lon[k]);
  const frontLat = columns.frontLat.map((step, k) => step + lat[k]);
  return {
    ...columns,
    ...unpackPlaces(lon, lat),
    count: lon.length,
    grid: (address) => {
      const [east, north] = [columns.east, columns.north].map((some) => String(some[address]).padStart(4, "0"));
      return columns.zone[address] ? `${packed.zones[columns.zone[address]]} ${east} ${north}` : "";
    },
    id: (address) => {
      const [stem, digits] = packed.stems[columns.idStem[address]];
      return digits ? stem + String(columns.idNumber[address]).padStart(digits, "0") : stem;
    },
    label: rest.map((one, k) => (number[k] < 0 ? packed.rests[one] : `${number[k]} ${packed.rests[one]}`)),
    lon: lon.map((one) => one / 1e5),
    lat: lat.map((one) => one / 1e5),
    front: unpackPlaces(frontLon, frontLat),
  };
}

const flags = unpackFlags(data.answers);

// The distinct flags as what each says, its code, whether it goes before others, and the stretches near fill sites whose
// limit it tells; those of address a are numbers start[a] to start[a + 1] of `of`.
function unpackFlags(packed) {
  const start = new Int32Array(addresses.count + 1);
  answers.flagCount.forEach((count, a) => (start[a + 1] = start[a] + count));
  const code = unpack(packed.code);
  const near = new Map(packed.flagsNear);
  const all = packed.flags.map((said, k) => ({
    said, code: packed.codes[code[k]], bold: packed.bold.findIndex((some) => some.includes(code[k])), near: near.get(k) || [],
  }));
  return { start, of: unpack(packed.flag), all };
}

function flagsOf(address) {
  return flags.of.slice(flags.start[address], flags.start[address + 1]).map((one) => flags.all[one]);
}

// A row of the columns by address and level.
function row(address, level) {
  return address * levelCount + level;
}
