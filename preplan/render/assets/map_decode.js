// The page's data: packed columns back to numbers, and places to map units.
// A map unit is the width of the world in the web's usual projection; 1 x 2^zoom x 256 pixels.

const data = JSON.parse(document.getElementById("plan-data").textContent);

// The inverse of pack(): base64, seven bits a byte, zigzag; or =count,number.
function unpack(text) {
  if (text[0] === "=") {
    const [count, number] = text.slice(1).split(",").map(Number);
    return new Array(count).fill(number);
  }
  const bytes = atob(text);
  const numbers = [];
  let value = 0;
  let shift = 1;
  for (let k = 0; k < bytes.length; k += 1) {
    const byte = bytes.charCodeAt(k);
    value += (byte & 127) * shift;
    shift *= 128;
    if (byte < 128) {
      numbers.push(value % 2 ? -(value + 1) / 2 : value / 2);
      value = 0;
      shift = 1;
    }
  }
  return numbers;
}

// The inverse of rare(): a column that is mostly 0.
function unpackRare({ n, at, value }) {
  const column = new Float64Array(n);
  const values = unpack(value);
  running(at).forEach((place, k) => (column[place] = values[k]));
  return column;
}

function running(text) {
  let sum = 0;
  return unpack(text).map((step) => (sum += step));
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

function unpackColumns(packed, names) {
  return Object.fromEntries(names.map((name) => [name, unpack(packed[name])]));
}

const roads = {
  ...unpackLines(data.roads),
  ...unpackColumns(data.roads, ["rank", "name", "mark", "post"]),
  names: data.roads.names,
  posts: data.roads.posts,
};
const ground = {
  water: unpackLines(data.ground.water),
  streams: unpackLines(data.ground.streams),
  buildings: unpackLines(data.ground.buildings),
  hydrants: unpackPlaces(running(data.ground.hydrantLon), running(data.ground.hydrantLat)),
};
const driven = running(data.forest.driven);
const forest = {
  road: driven.map((one) => Math.floor(one / 2)),
  forward: driven.map((one) => one % 2),
  up: unpack(data.forest.up),
};
const trips = unpackColumns(data.trips, [
  "outMin", "backMin", "moreMin", "outMi", "backMi", "moreMi", "bridges", "turn", "outLeaf", "backLeaf",
]);
trips.min = trips.moreMin.map((more, k) => more + trips.outMin[k] + trips.backMin[k]);
trips.mi = trips.moreMi.map((more, k) => more + trips.outMi[k] + trips.backMi[k]);
const CASE_COLUMNS = ["site", "backup", "split", "meets", "shortEngines", "shortTankers", "crew", "limit", "season"];
const answers = unpackAnswers(data.answers);
const addresses = unpackAddresses(data.addresses);
const levelCount = data.levels.length;
for (const place of [...data.sites, ...data.stations]) {
  place.x = unitX(place.lon);
  place.y = unitY(place.lat);
}

function unpackAnswers(packed) {
  const columns = unpackColumns(packed, [
    "status", "level", "hydrant", "first", "flagCount", "flag", "case", "cycle", "flow", "backupFlow", "oneOut",
  ]);
  CASE_COLUMNS.forEach((name, k) => {
    columns[name] = columns.case.map((one) => packed.cases[one][k]);
  });
  return { ...columns, trip: running(packed.trip), backupTrip: running(packed.backupTrip) };
}

function unpackAddresses(packed) {
  const lon = running(packed.lon);
  const lat = running(packed.lat);
  const columns = unpackColumns(packed, ["road", "driveway", "gpm", "gal", "min", "basis"]);
  const frontLon = unpack(packed.frontLon).map((step, k) => step + lon[k]);
  const frontLat = unpack(packed.frontLat).map((step, k) => step + lat[k]);
  let flagStart = 0;
  const flagPlaces = answers.flagCount.map((count) => {
    flagStart += count;
    return answers.flag.slice(flagStart - count, flagStart);
  });
  columns.flags = flagPlaces.map((some) => some.map((one) => data.answers.flags[one]));
  const codes = unpack(data.answers.code);
  columns.flagCodes = flagPlaces.map((some) => some.map((one) => data.answers.codes[codes[one]]));
  return {
    ...columns,
    ...unpackPlaces(lon, lat),
    count: packed.label.length,
    label: packed.label,
    lon: lon.map((one) => one / 1e5),
    lat: lat.map((one) => one / 1e5),
    front: unpackPlaces(frontLon, frontLat),
  };
}

// A row of the columns by address and level.
function row(address, level) {
  return address * levelCount + level;
}
