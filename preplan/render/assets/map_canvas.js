// One canvas for everything that is drawn on the map.

const ROAD_WIDTHS = [4.5, 3.6, 3, 2.2, 1.1];
const ROAD_FROM_ZOOM = [0, 0, 0, 10, 13];
const LABEL_FROM_ZOOM = [11, 12, 13, 14, 14];
const PAD_SHARE = 0.3; // drawn beyond the window on each side, so that dragging shows no edge
const BRIDGES_FROM_ZOOM = 12;
const BESIDE_PX = 22; // from a road to its name beside the circuit
const NEAR_PX = 15; // names nearer than this to a leg would cover it
const CELL_PX = 2;
const LINE_PX = 16;
const CORNERS_PX = 17; // from a chosen bridge to the corners round it
// Marks of addresses: the five statuses by their place, then the four verdicts of a what-if.
const VERDICT_MARK = 5;
const DRAW_ORDER = [4, 0, 1, 2, 6, 8, 7, 5, 3]; // hydrant first, what is not met or has no route on top

const view = {
  night: false,
  hidden: new Set(), // statuses that the filter hides
  level: -1, // response level that the filter keeps; -1: any
  flag: "", // code of the flag that the filter keeps; "": any
  site: -1, // fill site that the filter keeps; -1: any
  address: -1,
  before: -1, // the address that was looked at before
  drawn: { level: -1, which: "site", site: -1, trip: -1 }, // the circuit that is asked for
  siteChosen: -1,
  roadsChosen: [], // the bridge or closure that is chosen
  depends: null, // a mark for each address that depends on what is chosen
  whatIf: null, // flows and verdicts with something changed
  circuit: null,
  dim: false, // the addresses that are not looked at stand back
  tiles: false,
};

function isShown(address) {
  if (view.hidden.has(answers.status[address])) return false;
  if (view.level >= 0 && answeredBy(address) !== view.level) return false;
  if (view.site >= 0 && !servedBy(address, view.site)) return false;
  return !view.flag || flagsOf(address).some(({ code }) => code === view.flag);
}

// What is drawn for an address.
function markOf(address) {
  return view.whatIf && view.whatIf.shuttled[address] ? VERDICT_MARK + verdictShown(address) : answers.status[address];
}

// The response level that meets an address's need; -1 where none does, whatever level its numbers show.
function answeredBy(address) {
  const { code } = data.statuses[answers.status[address]];
  return code === "served" || code === "higher level" ? answers.level[address] : -1;
}

// Whether an address stands back behind those that are looked at, and how much is then seen of it.
function standsBack(address) {
  if (view.dim && view.depends) return !view.depends[address];
  if (view.dim && view.circuit) return true;
  return Boolean(view.whatIf && view.whatIf.some && !view.whatIf.changed[address]);
}

function backOpacity() {
  if (view.dim && view.depends) return 0.2;
  return view.dim && view.circuit ? 0.4 : 0.45;
}

// The site an address counts on: the fill site at the response level its answer shows.
function servedBy(address, site) {
  const level = answers.level[address];
  if (level < 0) return false;
  return answers.site[row(address, level)] === site || answers.split[row(address, level)] === site;
}

const Chart = L.Layer.extend({
  onAdd(map) {
    this.canvas = L.DomUtil.create("canvas", "chart leaflet-zoom-hide", map.getPane("overlayPane"));
    this.ground = document.createElement("canvas");
    this.sheet = new Sheet();
    this.stamps = new Map();
    map.on("moveend", this.redraw, this); // comes after every zoom and change of size too
    this.redraw();
    return this;
  },

  onRemove(map) {
    map.off("moveend", this.redraw, this);
    this.canvas.remove();
  },

  // Draw when the work in hand is done, however often it asks for it on the way.
  redraw() {
    if (this.asked) return;
    this.asked = true;
    queueMicrotask(() => this.redrawNow());
  },

  redrawNow() {
    this.asked = false;
    const map = this._map;
    if (!map) return;
    const size = map.getSize();
    const pad = size.multiplyBy(PAD_SHARE).round();
    const corner = map.containerPointToLayerPoint(pad.multiplyBy(-1));
    this.window = [pad.x, pad.y, pad.x + size.x, pad.y + size.y];
    this.width = size.x + 2 * pad.x;
    this.height = size.y + 2 * pad.y;
    // Paper shows finer points than a screen.
    this.onPaper = document.body.classList.contains("on-paper");
    this.ratio = this.onPaper ? 2.5 : Math.min(2, window.devicePixelRatio || 1);
    this.canvas.width = this.width * this.ratio;
    this.canvas.height = this.height * this.ratio;
    this.canvas.style.width = `${this.width}px`;
    this.canvas.style.height = `${this.height}px`;
    L.DomUtil.setPosition(this.canvas, corner);
    const origin = map.getPixelOrigin().add(corner);
    this.scale = 256 * 2 ** map.getZoom();
    this.left = origin.x;
    this.top = origin.y;
    this.zoom = map.getZoom();
    this.colours = view.night ? NIGHT : DAY;
    this.pen = this.penOn(this.canvas);
    this.taken = this.controls(); // boxes that no text may cover
    this.late = []; // names and numbers that must stand on the circuit
    this.posts = []; // what is posted, to be written last
    this.paint();
  },

  // What stands on the map: it would hide figures of a text.
  controls() {
    const container = this._map.getContainer();
    const { left, top } = container.getBoundingClientRect();
    const [x, y] = [this.window[0] - left, this.window[1] - top];
    const boxes = [...container.querySelectorAll(".leaflet-control")].map((one) => one.getBoundingClientRect());
    return boxes.filter((box) => box.width).map((box) => [box.left + x, box.top + y, box.right + x, box.bottom + y]);
  },

  penOn(canvas) {
    const pen = canvas.getContext("2d");
    pen.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    return pen;
  },

  paint() {
    this.paintGroundOnce();
    this.paintBridges();
    this.layOut();
    this.paintLabels(); // below the symbols: a name never hides what an address gets
    this.paintAddresses();
    this.paintCircuit();
    this.late.forEach((write) => write());
    this.paintChosen();
    this.paintPlaces();
  },

  // Where legs and symbols will come, so that text keeps clear of them.
  layOut() {
    const { circuit: one } = view;
    const toPixels = (points) => points.map(([x, y]) => this.pixel(x, y));
    // Each leg keeps to the right of the road, so the two ways of one road can be told apart.
    this.legs = one ? [one.back, one.out].map((points) => shifted(toPixels(points), 6)) : [];
    const take = ({ x: unitsRight, y: unitsDown }, west, north, south = north) => {
      const [x, y] = this.pixel(unitsRight, unitsDown);
      this.taken.push([x - west, y - north, x + west, y + south]);
    };
    const reach = this.symbolSize() + 9;
    if (view.address >= 0) take({ x: addresses.x[view.address], y: addresses.y[view.address] }, reach, reach);
    const r = placeSize(this.zoom);
    for (const station of data.stations) take(station, r, r);
    for (const site of data.sites) take(site, r, 1.5 * r, 1.2 * r);
    if (one && one.dump) take({ x: one.dump[0], y: one.dump[1] }, 13, 13);
  },

  pixel(x, y) {
    return [x * this.scale - this.left, y * this.scale - this.top];
  },

  inView(lines, k) {
    const [west, north, east, south] = lines.box.subarray(4 * k, 4 * k + 4);
    const [x0, y0] = this.pixel(west, north);
    const [x1, y1] = this.pixel(east, south);
    return x1 >= 0 && y1 >= 0 && x0 <= this.width && y0 <= this.height;
  },

  trace(lines, k) {
    for (let p = lines.start[k]; p < lines.start[k + 1]; p += 1) {
      const px = lines.x[p] * this.scale - this.left;
      const py = lines.y[p] * this.scale - this.top;
      if (p === lines.start[k]) this.pen.moveTo(px, py);
      else this.pen.lineTo(px, py);
    }
  },

  traceAll(lines, keep = () => true) {
    this.pen.beginPath();
    for (let k = 0; k < lines.count; k += 1) if (keep(k) && this.inView(lines, k)) this.trace(lines, k);
  },

  // Ground and roads, kept for as long as the same piece of the world is shown in the same shades. To paper they go as
  // lines, not as a picture of lines.
  paintGroundOnce() {
    const { pen } = this;
    const shown = [this.left, this.top, this.scale, this.width, this.height, this.ratio, view.night, view.tiles].join();
    if (!this.onPaper && this.groundShown !== shown) {
      this.groundShown = shown;
      this.ground.width = this.canvas.width;
      this.ground.height = this.canvas.height;
      this.pen = this.penOn(this.ground);
      this.paintGround();
      this.pen = pen;
    }
    if (this.onPaper) this.paintGround();
    else pen.drawImage(this.ground, 0, 0, this.width, this.height);
  },

  paintGround() {
    const { pen, colours } = this;
    pen.fillStyle = colours.paper;
    if (view.tiles) pen.clearRect(0, 0, this.width, this.height);
    else pen.fillRect(0, 0, this.width, this.height);
    pen.lineJoin = "round";
    pen.strokeStyle = colours.shore;
    pen.lineWidth = 1;
    this.paintAreas(ground.water, colours.water);
    pen.globalCompositeOperation = view.tiles ? "destination-out" : "source-over"; // tiles lie below the canvas
    this.paintAreas(ground.islands, colours.paper);
    pen.globalCompositeOperation = "source-over";
    if (this.zoom >= 11) {
      this.traceAll(ground.streams);
      pen.lineWidth = this.zoom >= 14 ? 2 : 1.2;
      pen.stroke();
    }
    if (this.zoom >= 14) {
      this.traceAll(ground.buildings);
      pen.fillStyle = colours.building;
      pen.fill();
    }
    if (this.zoom >= 13) this.paintHydrants();
    this.paintRoads();
  },

  paintAreas(rings, colour) {
    this.traceAll(rings);
    this.pen.fillStyle = colour;
    this.pen.fill();
    this.pen.stroke();
  },

  paintHydrants() {
    const { x, y } = ground.hydrants;
    for (let k = 0; k < x.length; k += 1) drawHydrant(this.pen, ...this.pixel(x[k], y[k]), this.colours);
  },

  paintRoads() {
    const { pen, colours } = this;
    const grow = Math.max(0.55, Math.min(1.6, 0.4 + (this.zoom - 9) * 0.15));
    for (let rank = ROAD_WIDTHS.length - 1; rank >= 0; rank -= 1) {
      if (this.zoom < ROAD_FROM_ZOOM[rank]) continue;
      pen.strokeStyle = colours.roads[rank];
      pen.lineWidth = ROAD_WIDTHS[rank] * grow;
      this.traceAll(roads, (k) => roads.rank[k] === rank && (rank === 4 || !(roads.mark[k] & 4)));
      pen.stroke();
      if (rank === 4) continue;
      pen.setLineDash([4, 4]);
      this.traceAll(roads, (k) => roads.rank[k] === rank && Boolean(roads.mark[k] & 4));
      pen.stroke();
      pen.setLineDash([]);
    }
  },

  paintBridges() {
    if (this.zoom < BRIDGES_FROM_ZOOM) return;
    for (let k = 0; k < roads.count; k += 1) {
      const mark = roads.mark[k] & 3;
      if (!mark || !this.inView(roads, k)) continue;
      const { x, y, angle } = this.middle(k);
      drawBridge(this.pen, mark, x, y, angle, this.colours);
      const reach = view.roadsChosen.includes(k) ? CORNERS_PX + 3 : 9; // the corners would hide the first figure
      this.taken.push([x - reach, y - reach, x + reach, y + reach]);
      if (roads.posts[roads.post[k]] && this.zoom >= 13) this.posts.push([k, x, y, reach + 4]);
    }
    if (this.zoom >= 13) this.paintBarriers();
    for (const { shut, roads: on } of data.closures) {
      for (const k of shut ? on : []) {
        if (!this.inView(roads, k)) continue;
        const { x, y, angle } = this.middle(k);
        drawClosure(this.pen, x, y, angle, this.colours);
        this.taken.push([x - 9, y - 9, x + 9, y + 9]);
      }
    }
  },

  paintBarriers() {
    const { barriers } = ground;
    for (let k = 0; k < barriers.count; k += 1) {
      if (!this.inView(barriers, k)) continue;
      const p = barriers.start[k];
      const [x, y] = this.pixel(barriers.x[p], barriers.y[p]);
      const [onX, onY] = this.pixel(barriers.x[p + 1], barriers.y[p + 1]);
      drawBarrier(this.pen, x, y, Math.atan2(onY - y, onX - x), this.colours);
      this.taken.push([x - 7, y - 7, x + 7, y + 7]);
    }
  },

  middle(k) {
    const points = [];
    for (let p = roads.start[k]; p < roads.start[k + 1]; p += 1) points.push(this.pixel(roads.x[p], roads.y[p]));
    const at = pathMeasure(points);
    return at.place(at.long / 2);
  },

  paintCircuit() {
    if (!view.circuit) return;
    const { dump, address } = view.circuit;
    this.legs.forEach((leg, k) => drawLeg(this.pen, leg, k === 1, this.colours));
    if (!dump) return;
    const { pen } = this;
    pen.beginPath();
    line(pen, this.pixel(...dump), this.pixel(addresses.x[address], addresses.y[address]));
    pen.strokeStyle = this.colours.ink;
    pen.lineWidth = 2.5;
    pen.setLineDash([2, 4]);
    pen.stroke();
    pen.setLineDash([]);
  },

  symbolSize() {
    return Math.max(2.8, Math.min(9, 4 + (this.zoom - 11) * 1.1));
  },

  markStamp(mark, r) {
    const key = `${mark} ${r} ${this.ratio} ${view.night}`;
    if (!this.stamps.has(key)) {
      const draw = (pen, x, y) => drawMark(pen, mark, x, y, r);
      this.stamps.set(key, new Stamp(draw, Math.ceil((r + 4) * this.ratio), this.ratio));
    }
    return this.stamps.get(key);
  },

  paintAddresses() {
    const { pen } = this;
    const r = this.symbolSize();
    const stamps = DRAW_ORDER.map((_, mark) => this.markStamp(mark, r));
    const kept = this.uncovered();
    // One sheet for all that stand back: seen through one by one, many on one place would add up to full strength.
    for (const [some, seen] of [[kept.filter(standsBack), backOpacity()], [kept.filter((a) => !standsBack(a)), 1]]) {
      if (!some.length) continue;
      this.sheet.clear(this.canvas);
      for (const address of some) {
        const [x, y] = this.pixel(addresses.x[address], addresses.y[address]);
        this.sheet.stamp(stamps[markOf(address)], Math.round(x * this.ratio), Math.round(y * this.ratio));
      }
      pen.globalAlpha = seen;
      pen.drawImage(this.sheet.done(), 0, 0, this.width, this.height);
      pen.globalAlpha = 1;
    }
  },

  // Addresses in view in the order in which they are drawn, without those that another covers to the pixel or two.
  uncovered() {
    const across = Math.ceil(this.width / CELL_PX);
    const taken = new Uint8Array(across * Math.ceil(this.height / CELL_PX));
    const kept = [];
    const keep = (a) => {
      const x = addresses.x[a] * this.scale - this.left;
      const y = addresses.y[a] * this.scale - this.top;
      if (x < 0 || y < 0 || x >= this.width || y >= this.height) return;
      const cell = across * Math.floor(y / CELL_PX) + Math.floor(x / CELL_PX);
      if (taken[cell]) return;
      taken[cell] = 1;
      kept.push(a);
    };
    // From the top down: those looked at before those that stand back, then by mark.
    const turns = DRAW_ORDER.length;
    const heap = Array.from({ length: 2 * turns }, () => []);
    for (let a = 0; a < addresses.count; a += 1) {
      if (isShown(a)) heap[(standsBack(a) ? 0 : turns) + DRAW_ORDER.indexOf(markOf(a))].push(a);
    }
    heap.reverse().forEach((some) => some.forEach(keep));
    return kept.reverse();
  },

  paintChosen() {
    if (view.address < 0) return;
    const { pen } = this;
    const r = this.symbolSize();
    const [x, y] = this.pixel(addresses.x[view.address], addresses.y[view.address]);
    drawMark(pen, markOf(view.address), x, y, r + 2);
    drawCorners(pen, x, y, r + 8, this.colours);
  },

  paintPlaces() {
    const r = placeSize(this.zoom);
    data.stations.forEach((station, k) => {
      const [x, y] = this.pixel(station.x, station.y);
      drawStation(this.pen, k + 1, x, y, r * 0.75);
    });
    const inService = (k) => (view.whatIf ? !view.whatIf.steady.change.off.has(k) : data.sites[k].inService);
    // On top what is in service, and above all the fill site that is looked at.
    const inSight = (k) => k === view.siteChosen || (view.address >= 0 && view.circuit && k === view.drawn.site);
    const weight = (k) => 2 * inSight(k) + inService(k);
    for (const k of [...data.sites.keys()].sort((a, b) => weight(a) - weight(b))) {
      const [x, y] = this.pixel(data.sites[k].x, data.sites[k].y);
      drawSite(this.pen, { ...data.sites[k], inService: inService(k) }, k + 1, x, y, k === view.siteChosen ? r * 1.3 : r);
    }
    for (const road of view.roadsChosen) {
      const { x, y } = this.middle(road);
      drawCorners(this.pen, x, y, CORNERS_PX, this.colours);
    }
    if (view.circuit && view.circuit.dump) {
      const [x, y] = this.pixel(...view.circuit.dump);
      drawStar(this.pen, x, y, 13);
    }
  },

  inWindow([left, top, right, bottom]) {
    const [west, north, east, south] = this.window;
    return left >= west && top >= north && right <= east && bottom <= south;
  },

  // Whether the edge of the window cuts through a name of some boxes: what is seen in part is read wrongly.
  cut(boxes) {
    const [west, north, east, south] = this.window;
    const seen = ([left, top, right, bottom]) => right > west && bottom > north && left < east && top < south;
    return boxes.some(seen) && !boxes.every((box) => this.inWindow(box));
  },

  nearLegs([x, y], near = NEAR_PX) {
    return this.legs.some((leg) => leg.length > 1 && nearestOnLine(leg, x, y).far < near);
  },

  free(box) {
    return this.taken.every((one) => box[2] < one[0] || box[0] > one[2] || box[3] < one[1] || box[1] > one[3]);
  },

  text(words, x, y, options) {
    return this.lines([words], x, y, options);
  },

  // Level text with a halo, a line below the other, where nothing lies yet and no edge cuts it: all of it or nothing;
  // tells whether it is written.
  lines(words, x, y, { align = "center", bold = false, late = false, clear = () => true } = {}) {
    const { pen, colours } = this;
    pen.font = `${bold ? "bold " : ""}12px system-ui, sans-serif`;
    const wide = Math.max(...words.map((one) => pen.measureText(one).width));
    const left = x - wide * { left: 0, center: 0.5, right: 1 }[align];
    const half = (words.length * LINE_PX) / 2;
    const box = [left - 2, y - half, left + wide + 2, y + half];
    if (!this.free(box) || this.cut([box]) || !clear(box)) return false;
    this.taken.push(box);
    const { font } = pen;
    const write = () => {
      pen.font = font;
      pen.textAlign = align;
      pen.textBaseline = "middle";
      pen.lineJoin = "round";
      pen.strokeStyle = colours.halo;
      pen.lineWidth = 5;
      pen.fillStyle = colours.label;
      for (const draw of ["strokeText", "fillText"]) {
        words.forEach((one, k) => pen[draw](one, x, y - half + (k + 0.5) * LINE_PX));
      }
    };
    if (late) this.late.push(write);
    else write();
    return true;
  },

  paintLabels() {
    this.paintPosts();
    // The roads of the circuit first, and at any zoom.
    const driven = ({ name }) => Boolean(view.circuit && view.circuit.names.has(name));
    for (const chain of [...roadChains.filter(driven), ...roadChains.filter((one) => !driven(one))]) {
      const everywhere = this.zoom >= LABEL_FROM_ZOOM[chain.rank];
      if ((everywhere || driven(chain)) && this.inView(chain, 0)) this.paintRoadName(chain, everywhere, driven(chain));
    }
    if (this.zoom < 16) return;
    const r = this.symbolSize();
    for (let a = 0; a < addresses.count; a += 1) {
      const number = /^\d+\w*/.exec(addresses.label[a]);
      const [x, y] = this.pixel(addresses.x[a], addresses.y[a]);
      if (!number || !isShown(a) || x < 0 || y < 0 || x > this.width || y > this.height) continue;
      this.text(number[0], x + r + 4, y, { align: "left", late: this.nearLegs([x + r + 15, y]) });
    }
  },

  // Write what is posted beside its bridge, where neither an address nor the circuit hides a figure of it; else not at
  // all, or over them where the bridge is chosen.
  paintPosts() {
    const reach = this.symbolSize();
    const places = this.posts.length ? this.addressPlaces() : [];
    const clear = ([left, top, right, bottom]) => {
      const hides = ([x, y]) => x > left - reach && x < right + reach && y > top - reach && y < bottom + reach;
      const along = [0, 0.25, 0.5, 0.75, 1].map((share) => [left + share * (right - left), (top + bottom) / 2]);
      return !places.some(hides) && !along.some((place) => this.nearLegs(place, LINE_PX - 4));
    };
    for (const [road, x, y, aside] of this.posts) {
      const lines = roads.posts[roads.post[road]].split("; ");
      const away = aside + (lines.length * LINE_PX) / 2;
      const spots = [
        ...[0, away, -away].flatMap((down) => [[x + aside, y + down, "left"], [x - aside, y + down, "right"]]),
        [x, y + away, "center"], [x, y - away, "center"],
      ];
      const put = (how) => spots.some(([px, py, align]) => this.lines(lines, px, py, { align, bold: true, ...how }));
      if (!put({ clear }) && view.roadsChosen.includes(road)) put({ late: true });
    }
  },

  addressPlaces() {
    const found = [];
    for (let a = 0; a < addresses.count; a += 1) {
      const [x, y] = this.pixel(addresses.x[a], addresses.y[a]);
      if (x >= 0 && y >= 0 && x <= this.width && y <= this.height && isShown(a)) found.push([x, y]);
    }
    return found;
  },

  // Write a road's name every few hundred pixels, along the whole of it or along the circuit alone, where it is driven.
  paintRoadName(chain, everywhere, driven) {
    const { pen } = this;
    pen.font = `${chain.rank < 3 ? "bold " : ""}12px system-ui, sans-serif`;
    const wide = pen.measureText(chain.name).width;
    const points = [];
    for (let p = 0; p < chain.x.length; p += 1) points.push(this.pixel(chain.x[p], chain.y[p]));
    const path = pathMeasure(points);
    if (path.long < wide + 8) return;
    const sweep = (place) => {
      for (let at = wide / 2 + 4; at <= path.long - wide / 2 - 4; at += 40) {
        const [from, to, centre] = [path.place(at - wide / 2), path.place(at + wide / 2), path.place(at)];
        const straight = Math.hypot(to.x - from.x, to.y - from.y) > 0.93 * wide;
        if (straight && place({ name: chain.name, centre, from, to, wide })) at += 300;
      }
    };
    // Beside the circuit, since on it names hide which way it turns; on it once, where its road would go without a name.
    const onCircuit = ({ centre: { x, y } }) => driven && this.nearLegs([x, y]);
    const inWindow = ({ centre: { x, y } }) => this.inWindow([x, y, x, y]);
    let named = false;
    sweep((spot) => {
      const asides = onCircuit(spot) ? [BESIDE_PX, -BESIDE_PX] : everywhere ? [0] : [];
      const placed = asides.some((aside) => this.placeName(spot, aside));
      named = named || (placed && inWindow(spot));
      return placed;
    });
    sweep((spot) => !named && onCircuit(spot) && inWindow(spot) && (named = this.placeName(spot, 0, true)));
  },

  // Write a name along its road, or some pixels aside; where it would lie on the circuit only if that is wanted.
  placeName({ name, centre, from, to, wide }, aside, onCircuit = false) {
    let angle = Math.atan2(to.y - from.y, to.x - from.x);
    if (Math.abs(angle) > Math.PI / 2) angle += Math.PI;
    const [right, down] = [-aside * Math.sin(angle), aside * Math.cos(angle)];
    const places = [];
    const pieces = Math.max(2, Math.ceil(wide / 16));
    for (let k = 0; k <= pieces; k += 1) {
      places.push([right + from.x + ((to.x - from.x) * k) / pieces, down + from.y + ((to.y - from.y) * k) / pieces]);
    }
    if (places.some(([x, y]) => x < 0 || y < 0 || x > this.width || y > this.height)) return false;
    const boxes = places.map(([x, y]) => [x - 9, y - 9, x + 9, y + 9]);
    if (this.cut(boxes) || !boxes.every((box) => this.free(box))) return false;
    if (!onCircuit && places.some((place) => this.nearLegs(place))) return false;
    this.taken.push(...boxes);
    const { pen, colours } = this;
    const { font } = pen;
    const write = () => {
      pen.save();
      pen.translate(right + (centre.x + (from.x + to.x) / 2) / 2, down + (centre.y + (from.y + to.y) / 2) / 2);
      pen.rotate(angle);
      pen.font = font;
      pen.textAlign = "center";
      pen.textBaseline = "middle";
      pen.lineJoin = "round";
      pen.strokeStyle = colours.halo;
      pen.lineWidth = 6;
      pen.strokeText(name, 0, 0);
      pen.fillStyle = colours.label;
      pen.fillText(name, 0, 0);
      pen.restore();
    };
    if (onCircuit) this.late.push(write);
    else write();
    return true;
  },
});

// Half the width of a fill site's drop, in pixels; a station is a little smaller.
function placeSize(zoom) {
  return Math.max(11, Math.min(17, 11 + (zoom - 10) * 2));
}

// A line's length in pixels, and the place and angle at a distance along it.
function pathMeasure(points) {
  const along = [0];
  for (let k = 1; k < points.length; k += 1) {
    along.push(along[k - 1] + Math.hypot(points[k][0] - points[k - 1][0], points[k][1] - points[k - 1][1]));
  }
  const long = along[along.length - 1];
  return {
    long,
    place(distance) {
      let k = 1;
      while (k < points.length - 1 && along[k] < distance) k += 1;
      const [[ax, ay], [bx, by]] = [points[k - 1], points[k]];
      const share = (distance - along[k - 1]) / (along[k] - along[k - 1] || 1);
      return { x: ax + (bx - ax) * share, y: ay + (by - ay) * share, angle: Math.atan2(by - ay, bx - ax) };
    },
  };
}

// A line in pixels moved sideways, to the right of its direction.
function shifted(points, by) {
  const far = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]);
  const distinct = points.filter((point, k) => !k || far(point, points[k - 1]) > 0.5);
  return distinct.map(([x, y], k) => {
    const [ax, ay] = distinct[Math.max(0, k - 1)];
    const [cx, cy] = distinct[Math.min(distinct.length - 1, k + 1)];
    const long = Math.hypot(cx - ax, cy - ay) || 1;
    return [x - ((cy - ay) / long) * by, y + ((cx - ax) / long) * by];
  });
}

// Stretches of one name joined end to end, so that a name finds room; widest roads first.
const roadChains = joinRoads();

function joinRoads() {
  const ends = new Map();
  const key = (k, p) => `${roads.name[k]} ${roads.x[p]} ${roads.y[p]}`;
  const lastOf = (k) => roads.start[k + 1] - 1;
  for (let k = 0; k < roads.count; k += 1) {
    if (!roads.name[k]) continue;
    for (const end of new Set([key(k, roads.start[k]), key(k, lastOf(k))])) {
      if (!ends.has(end)) ends.set(end, []);
      ends.get(end).push(k);
    }
  }
  const seen = new Uint8Array(roads.count);
  const pointsOf = (k) => {
    const run = [];
    for (let p = roads.start[k]; p <= lastOf(k); p += 1) run.push(p);
    return run;
  };
  const grow = (run) => {
    for (;;) {
      const last = run[run.length - 1];
      const k = ends.get(`${roads.name[run.road]} ${roads.x[last]} ${roads.y[last]}`).find((one) => !seen[one]);
      if (k === undefined) return run;
      seen[k] = 1;
      const next = pointsOf(k);
      if (roads.x[next[0]] !== roads.x[last] || roads.y[next[0]] !== roads.y[last]) next.reverse();
      run.push(...next.slice(1));
    }
  };
  const chains = [];
  for (let k = 0; k < roads.count; k += 1) {
    if (seen[k] || !roads.name[k]) continue;
    seen[k] = 1;
    const run = grow(Object.assign(pointsOf(k), { road: k }));
    run.reverse();
    chains.push(chainOf(grow(run), k));
  }
  return chains.sort((a, b) => a.rank - b.rank || b.x.length - a.x.length);
}

function chainOf(run, k) {
  const x = run.map((p) => roads.x[p]);
  const y = run.map((p) => roads.y[p]);
  const low = (values) => values.reduce((a, b) => Math.min(a, b));
  const high = (values) => values.reduce((a, b) => Math.max(a, b));
  const box = Float64Array.of(low(x), low(y), high(x), high(y));
  return { x, y, box, rank: roads.rank[k], name: roads.names[roads.name[k]] };
}
