// Choosing, buttons, paper: what a hand does with the map.

const REACH_PX = 22; // a finger's reach round an address
const BRIDGE_REACH_PX = 16;

const chart = new Chart();

function goTo(address) {
  showAddress(address);
  if (view.circuit && view.circuit.dump) fitCircuit();
  else fitPoints([[addresses.x[address], addresses.y[address]]], 14);
}

function fitPoints(points, maxZoom = 16) {
  if (!points.length) return;
  const bounds = L.latLngBounds(points.map(([x, y]) => latLng(x, y)));
  const { x, y } = planMap.getSize();
  const pad = Math.min(45, Math.max(28, 0.1 * Math.min(x, y))); // room for a drop or a star, and on a phone no more
  const above = pad + document.getElementById("drawn").offsetHeight; // the caption hides nothing of it
  const left = pad + document.querySelector(".leaflet-control-zoom").offsetWidth; // nor do the buttons
  planMap.fitBounds(bounds, { paddingTopLeft: [left, above], paddingBottomRight: [pad, pad], maxZoom, animate: false });
}

function fitCircuit() {
  if (!view.circuit) return;
  const points = [...view.circuit.out, ...view.circuit.back, [addresses.x[view.address], addresses.y[view.address]]];
  fitPoints(points, planMap.getMaxZoom()); // a circuit may be a few hundred feet
}

function goToStation(station) {
  showStation(station);
  fitPoints([[data.stations[station].x, data.stations[station].y]], 15);
}

// A road is chosen as all else is: the card of an address that was open before would seem to be its answer.
function goToRoad(name) {
  const some = [...Array(roads.count).keys()].filter((k) => roads.name[k] === name);
  const on = markAddresses((address) => addresses.road[address] >= 0 && roads.name[addresses.road[address]] === name);
  showDepends(roads.names[name], [], on, (count) => `${addressesWords(count)} stand${count === 1 ? "s" : ""} on it`);
  fitRoads(some);
}

function fitRoads(some, maxZoom) {
  const points = [];
  for (const k of some) {
    for (let p = roads.start[k]; p < roads.start[k + 1]; p += 1) points.push([roads.x[p], roads.y[p]]);
  }
  fitPoints(points, maxZoom);
}

// How many pixels lie between a place and a point of the window.
function distances() {
  const corner = planMap.getPixelBounds().min;
  const scale = 256 * 2 ** planMap.getZoom();
  return (place, at) => Math.hypot(place.x * scale - corner.x - at.x, place.y * scale - corner.y - at.y);
}

function farFrom(place, at) {
  return place ? distances()(place, at) : Infinity;
}

// The nearest of some places to a point of the window, within a reach; -1 where there is none.
function nearest(places, at, reach, keep = () => true) {
  let [best, bestFar] = [-1, reach];
  const from = distances();
  for (let k = 0; k < places.length; k += 1) {
    const far = from(places[k], at);
    if (far <= bestFar && keep(k)) [best, bestFar] = [k, far];
  }
  return best;
}

const addressPlaces = Array.from(addresses.x, (x, k) => ({ x, y: addresses.y[k] }));

// Bridges and closures by the middle of their road, as they are drawn.
const roadThings = [
  ...BRIDGES.map((road) => ({ ...roadMiddle(road), show: () => showBridge(road) })),
  ...data.closures.flatMap(({ shut, roads: on }, k) =>
    (shut ? on : []).map((road) => ({ ...roadMiddle(road), show: () => showClosure(k) }))),
];

function roadMiddle(road) {
  const points = [];
  for (let p = roads.start[road]; p < roads.start[road + 1]; p += 1) points.push([roads.x[p], roads.y[p]]);
  const path = pathMeasure(points);
  return path.place(path.long / 2);
}

// What a click means: a drop or a house that is hit, else the nearest address or bridge in reach, else a site in reach.
function pick(at) {
  const body = placeSize(planMap.getZoom());
  const address = nearest(addressPlaces, at, REACH_PX, isShown);
  const thing = planMap.getZoom() < BRIDGES_FROM_ZOOM ? -1 : nearest(roadThings, at, BRIDGE_REACH_PX);
  const thingFirst = address < 0 || farFrom(roadThings[Math.max(thing, 0)], at) < farFrom(addressPlaces[address], at);
  const tries = [
    [nearest(data.sites, at, body), showSite],
    [nearest(data.stations, at, body * 0.75), showStation],
    [thingFirst ? thing : -1, (one) => roadThings[one].show()],
    [address, showAddress],
    [nearest(data.sites, at, REACH_PX), showSite],
  ];
  return tries.find(([index]) => index >= 0) || null;
}

function startButtons() {
  const night = document.getElementById("night");
  const setNight = (on) => {
    view.night = on;
    document.documentElement.classList.toggle("night", on);
    night.setAttribute("aria-pressed", String(on));
    chart.redraw();
  };
  night.onclick = () => setNight(!view.night);
  document.getElementById("legend").onclick = showLegend;
  document.getElementById("lists").onclick = showLists;
  if (whatIf) document.getElementById("what-if").onclick = showWhatIf;
  document.getElementById("whole").onclick = fitDistrict;
  document.getElementById("print").onclick = () => window.print();
  document.getElementById("close").onclick = closePanel;
  if (window.matchMedia("(prefers-color-scheme: dark)").matches) setNight(true);
  startPrint(setNight);
  startTiles();
}

function closePanel() {
  clearChoice();
  view.before = -1;
  document.getElementById("panel-body").replaceChildren();
  nameChosen();
  setSheetHead("");
  showDrawn();
  document.body.classList.remove("panel-open");
  planMap.invalidateSize({ pan: false });
  chart.redraw();
}

// On paper the map is drawn again at the size that it has there, by day; all that was in view stays in view.
function startPrint(setNight) {
  let before = { night: false };
  const show = (centre, zoom) => {
    planMap.setView(centre, zoom, { animate: false });
    chart.redrawNow(); // the paper does not wait
  };
  window.addEventListener("beforeprint", () => {
    before = { night: view.night, centre: planMap.getCenter(), zoom: planMap.getZoom(), bounds: planMap.getBounds() };
    document.body.classList.add("on-paper");
    setNight(false);
    placeStrip(!view.whatIf); // the timeline is the plan's: in a what-if it stays below 'as planned'
    drawStrips(ON_PAPER);
    planMap.invalidateSize({ pan: false, animate: false });
    show(before.centre, Math.min(before.zoom, planMap.getBoundsZoom(before.bounds)));
  });
  window.addEventListener("afterprint", () => {
    document.body.classList.remove("on-paper");
    placeStrip(false);
    setNight(before.night);
    drawStrips();
    planMap.invalidateSize({ pan: false, animate: false });
    show(before.centre, before.zoom);
  });
}

function startTiles() {
  const toggle = document.getElementById("tiles");
  if (!toggle) return;
  toggle.onclick = () => {
    view.tiles = !view.tiles;
    toggle.setAttribute("aria-pressed", String(view.tiles));
    if (view.tiles) tile_layer_online.addTo(planMap);
    else tile_layer_online.remove();
    chart.redraw();
  };
}

function fitDistrict() {
  const [west, south, east, north] = data.view;
  planMap.fitBounds([[south, west], [north, east]], { animate: false });
}

function start() {
  planMap.attributionControl.remove(); // the credit stands in the footer
  const drawn = L.control({ position: "topright" });
  drawn.onAdd = () => make("div", "", { id: "drawn", hidden: true });
  drawn.addTo(planMap);
  planMap.getContainer().setAttribute("role", "region");
  planMap.getContainer().setAttribute("aria-label", "Map: arrow keys move it, plus and minus change its scale");
  document.addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || !document.body.classList.contains("panel-open")) return;
    closePanel();
    document.getElementById("search").focus();
  });
  L.control.scale({ metric: false, maxWidth: 160 }).addTo(planMap);
  planMap.on("click", (event) => {
    const hit = pick(event.containerPoint);
    if (hit) hit[1](hit[0]);
  });
  planMap.on("mousemove", (event) => {
    planMap.getContainer().classList.toggle("over", pick(event.containerPoint) !== null);
  });
  window.addEventListener("resize", () => drawStrips(document.body.classList.contains("on-paper") ? ON_PAPER : ON_SCREEN));
  startSearch();
  startButtons();
  setSheetHead("");
  if (window.matchMedia("(min-width: 800px)").matches) showLegend();
  fitDistrict();
  chart.addTo(planMap);
  document.body.classList.add("ready");
  (window.requestIdleCallback || setTimeout)(() => searchable()); // before the first key is pressed
  if (whatIf) workAhead();
}

start();
