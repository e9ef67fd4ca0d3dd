// Routes: a trip's leaf, and the way from there through the shared trees to the fill site.

function roadName(road) {
  return roads.names[roads.name[road]] || "unnamed road";
}

function wayRows(leaf) {
  const rows = [];
  let at = leaf;
  while (at >= 0 && rows.length <= forest.up.length) {
    rows.push(at);
    at = forest.up[at] === 0 ? -1 : at - forest.up[at];
  }
  return rows;
}

function stretchPoints(at) {
  const road = forest.road[at];
  const points = [];
  for (let p = roads.start[road]; p < roads.start[road + 1]; p += 1) points.push([roads.x[p], roads.y[p]]);
  return forest.forward[at] ? points : points.reverse();
}

// The place on a line nearest to a point: its piece, the place itself, and how far it lies.
function nearestOnLine(points, x, y) {
  let best = { piece: 0, place: points[0], far: Infinity };
  for (let k = 0; k + 1 < points.length; k += 1) {
    const [ax, ay] = points[k];
    const [dx, dy] = [points[k + 1][0] - ax, points[k + 1][1] - ay];
    const long = dx * dx + dy * dy;
    const share = long ? Math.max(0, Math.min(1, ((x - ax) * dx + (y - ay) * dy) / long)) : 0;
    const place = [ax + share * dx, ay + share * dy];
    const far = Math.hypot(place[0] - x, place[1] - y);
    if (far < best.far) best = { piece: k, place, far };
  }
  return best;
}

function cutBefore(points, [x, y]) {
  const { piece, place } = nearestOnLine(points, x, y);
  return [place, ...points.slice(piece + 1)];
}

function cutAfter(points, place) {
  return cutBefore([...points].reverse(), place).reverse();
}

// One leg in the direction of travel, cut at the fill site and, where the leg ends on the address's own stretch,
// at the frontage; a dump site at a junction needs no cut.
function legLine(leaf, loaded, site, address) {
  const rows = wayRows(leaf);
  if (!rows.length) return [];
  const onFrontage = forest.road[leaf] === addresses.road[address];
  const parts = (loaded ? rows.reverse() : rows).map(stretchPoints);
  const last = parts.length - 1;
  const [cutAtSite, cutAtDump] = loaded ? [cutBefore, cutAfter] : [cutAfter, cutBefore];
  const [siteEnd, dumpEnd] = loaded ? [0, last] : [last, 0];
  parts[siteEnd] = cutAtSite(parts[siteEnd], [site.x, site.y]);
  if (onFrontage) parts[dumpEnd] = cutAtDump(parts[dumpEnd], [addresses.front.x[address], addresses.front.y[address]]);
  return parts.flat().filter((point, k, all) => !k || point[0] !== all[k - 1][0] || point[1] !== all[k - 1][1]);
}

// The circuit of one address and trip: both legs, the names of their roads and the dump site; null where there is no trip.
function circuit(address, trip, siteIndex) {
  if (trip < 0 || siteIndex < 0) return null;
  return circuitOver(address, siteIndex, trips.outLeaf[trip], trips.backLeaf[trip]);
}

// The same by the leaves of both legs.
function circuitOver(address, siteIndex, outLeaf, backLeaf) {
  const site = data.sites[siteIndex];
  const out = legLine(outLeaf, true, site, address);
  const back = legLine(backLeaf, false, site, address);
  const names = new Set([...wayRows(outLeaf), ...wayRows(backLeaf)].map((at) => roadName(forest.road[at])));
  return { address, out, back, names, site: siteIndex, dump: out.length ? out[out.length - 1] : null };
}
