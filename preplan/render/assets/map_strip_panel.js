// The timeline strip in the panel: out of its columns, drawn with the page's own shades, and said in words.

const ON_SCREEN = { least: 240, most: 720, text: 15, high: 116 }; // text as large as the panel's own figures
const ON_PAPER = { least: 710, most: 710, text: 12, high: 92 }; // as wide as the map there; text larger than a card's
const MARK_DUMP = 1; // bits of a point
const MARK_GAP = 2;
const MARK_ENOUGH = 4;
const MARK_NOTHING = 8;
const MARK_SOME = 16;
const SVG = "http://www.w3.org/2000/svg";

// Unpacked when an address is first shown: most of them are never looked at.
let strips = null;

function unpackStrips() {
  if (strips) return strips;
  const packed = data.strips;
  const ends = (counts) => {
    let end = 0;
    return [0, ...counts.map((count) => (end += count))];
  };
  const named = unpackColumns(packed, ["call", "nurse", "tick", "gap", "flow", "longest", "first", "demand", "crew", "points"], running);
  const steps = unpackColumns(packed, ["stepMin", "stepUp", "stepMark", "arrive", "kind"]);
  return (strips = {
    ...named, ...steps,
    of: alongRoads(packed.of),
    lead: running(packed.lead).map((place) => along[place]),
    kindFrom: ends(named.points),
    arriveFrom: ends(named.crew.map((crew) => packed.crews[crew].length)),
  });
}

// Strip k: minutes, and water on scene as a share of the scale's upper end.
function readStrip(k) {
  const { strips: packed } = data;
  const from = unpackStrips();
  const strip = { ticks: packed.ticks[from.tick[k]], gapWords: packed.gaps[from.gap[k]], longest: from.longest[k] };
  strip.flowWords = packed.flows[from.flow[k]];
  let minute = 0;
  const arrivals = packed.crews[from.crew[k]].map((name, n) => {
    minute += from.arrive[from.arriveFrom[k] + n];
    return [minute / 10, name];
  });
  const demand = packed.demands[from.demand[k]].map(([after, said]) => [(from.first[k] + after) / 10, said]);
  const kinds = from.kind.slice(from.kindFrom[k], from.kindFrom[k + 1]);
  return { ...strip, arrivals, demand, ...readPoints(kinds.map((kind) => (kind < 0 ? -2 * kind - 1 : 2 * kind))) };
}

function readPoints(kinds) {
  const { stepMin, stepUp, stepMark } = strips;
  const [points, dumps] = [[], []];
  const [gaps, nothing] = [openSpans(MARK_GAP, MARK_ENOUGH), openSpans(MARK_NOTHING, MARK_SOME)];
  let [tenths, up] = [0, 0];
  for (const kind of kinds) {
    tenths += stepMin[kind];
    up += stepUp[kind];
    points.push({ minute: tenths / 10, share: up / data.strips.most });
    const mark = stepMark[kind];
    if (mark & MARK_DUMP) dumps.push(tenths / 10);
    gaps.read(mark, tenths / 10);
    nothing.read(mark, tenths / 10);
  }
  return { points, dumps, gaps: gaps.found, nothing: nothing.found };
}

// Collects stretches of minutes from the marks at which they begin and end; both may be those of one point.
function openSpans(begins, ends) {
  const found = [];
  let since = -1;
  const close = (minute) => {
    found.push([since, minute]);
    since = -1;
  };
  const read = (mark, minute) => {
    const open = since >= 0;
    if (open && mark & ends) close(minute);
    if (mark & begins) since = minute;
    if (!open && mark & ends && since >= 0) close(minute);
  };
  return { found, read };
}

// ------------------------------------------------------------------------------------------- drawn

function shape(tag, attributes, text = "") {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, String(value));
  if (text) element.textContent = text;
  return element;
}

function stripShape(part, high) {
  const path = (points) => `M${points.map(([x, y]) => `${x.toFixed(2)} ${(high - y).toFixed(2)}`).join("L")}`;
  if (part.said !== undefined) return shape("text", { x: part.x.toFixed(2), y: (high - part.y).toFixed(2) }, part.said);
  if (part.points) return shape("path", { d: `${path(part.points)}Z`, class: `fill-${part.shade}` });
  const dash = part.dash ? { "stroke-dasharray": part.dash.join(" ") } : {};
  const d = part.paths.map(path).join("");
  return shape("path", { d, class: `line-${part.shade}`, "stroke-width": part.wide, ...dash });
}

function stripSvg(strip, label, widePx, { text: textPx, high }) {
  const perPt = textPx / TEXT_PT;
  const wide = widePx / perPt;
  const pen = document.createElement("canvas").getContext("2d");
  pen.font = `${textPx}px ${getComputedStyle(document.body).fontFamily}`;
  const measure = (text) => pen.measureText(text).width / perPt;
  const parts = stripParts(strip, { left: 0, bottom: 0, right: wide, top: high }, measure);
  const size = { width: widePx, height: high * perPt, viewBox: `0 0 ${wide} ${high}` };
  const svg = shape("svg", { ...size, role: "img", "aria-label": label, "font-size": TEXT_PT });
  svg.append(...parts.map((part) => stripShape(part, high)));
  return svg;
}

// ------------------------------------------------------------------------------------------- in the panel

// The strip of the card that an address is on; nothing where that card has none.
function stripPart(address) {
  const k = unpackStrips().of[address];
  if (k < 0) return [];
  const lead = strips.lead[k];
  const caption = make("figcaption", `${stripLevel(lead)}${data.strips.calls[strips.call[k]]}`);
  // In full: a step of a few minutes is too narrow for its words.
  const strip = readStrip(k);
  const nurse = data.strips.nurses[strips.nurse[k]];
  const said = make("p", `${nurse}${demandWords(strip)}. `, { inside: [make("strong", `${dryWords(strip)}.`)] });
  const parts = [caption, make("div", "", { name: "drawing" }), said, make("p", data.strips.legend, { name: "note" })];
  if (lead !== address) {
    parts.unshift(make("p", "", {
      inside: [make("strong", `As at ${addresses.label[lead]}`), ", on the same card."],
    }));
  }
  const figure = make("figure", "", { name: "strip", inside: parts });
  figure.dataset.strip = String(k);
  return [make("div", "", { id: "timeline", inside: [make("h3", "Timeline"), figure] })];
}

function stripLevel(lead) {
  const level = answers.level[lead];
  return level < 0 ? "" : `${capital(data.levels[level].words)}. `;
}

// On paper the strip stands on the first sheet, below the map; on the screen below the units.
function placeStrip(onPaper) {
  const strip = document.getElementById("timeline");
  if (!strip) return;
  if (onPaper) {
    strip.before(make("div", "", { id: "timeline-place" }));
    document.querySelector("#panel-body .level").before(strip);
  } else {
    document.getElementById("timeline-place")?.replaceWith(strip);
  }
}

// Draw what stands in the panel, on the screen at the width that it has there.
function drawStrips(form = ON_SCREEN) {
  const figures = document.querySelectorAll("figure.strip");
  document.body.classList.toggle("with-strip", figures.length > 0);
  for (const figure of figures) {
    const drawing = figure.querySelector(".drawing");
    const k = Number(figure.dataset.strip);
    const wide = Math.max(form.least, Math.min(form.most, drawing.clientWidth));
    const strip = readStrip(k);
    drawing.replaceChildren(stripSvg(strip, stripWords(strip, strips.lead[k]), wide, form));
  }
}

const tenth = (minute) => minute.toFixed(1);

function demandWords({ demand }) {
  const asked = demand.filter(([, said]) => said).map(([from, said]) => `${said} gpm from minute ${tenth(from)}`);
  return asked.length ? `Demand ${asked.join(", ")}` : "No demand";
}

// With its minutes: where many gaps stand side by side a name alone does not tell which is meant.
function dryWords({ gaps, longest, gapWords, flowWords: [begins, more] }) {
  if (!gaps.length) return "Enough flows throughout";
  const [from, to] = gaps[longest];
  const times = gaps.length === 1 ? "once" : `${gaps.length} times`;
  return `${begins} ${times}: ${gapWords}, from minute ${tenth(from)} to ${tenth(to)}${more}`;
}

// The same for who cannot see it.
function stripWords(strip, lead) {
  const water = answers.firstWater[lead];
  const said = [
    `${stripLevel(lead)}Water on scene by minutes after the alarm`,
    `First water ${water < 0 ? data.notKnown : `at minute ${tenth(water / 10)}${atRoad(lead)}`}`,
    demandWords(strip),
    dryWords(strip),
    `On scene: ${strip.arrivals.map(([minute, name]) => `${name} at ${tenth(minute)}`).join(", ") || "no tanker"}`,
  ];
  return `${said.join(". ")}.`;
}
