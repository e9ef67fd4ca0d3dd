// The timeline strip as plain geometry, in points up from the lower left: the page's home of what render/strip.py
// does for paper. A test holds the two together mark by mark, so that who reads one reads the other.

const TEXT_PT = 8;
const ROW_PT = TEXT_PT * 1.15;
const LANE_PT = TEXT_PT * 1.4; // the demand's lane
const BARS_PT = 6; // the dumps' lane
const AXIS_PT = TEXT_PT * 1.5;
const APART_PT = 3; // least from the end of a name to the next stem or name of its row
const BESIDE_PT = 1.5; // from a stem to its name
const MOST_ROWS = 3;
const LEAST_PLOT_PT = 18;
const HATCH_PT = 3.2;
const CROSSED_PT = 1.2; // what crosses the hatching where nothing flows
const LEAST_GAP_PT = 1.6; // a dry stretch is never drawn thinner, so that it is seen
const TICK_PT = 2.5;
const MINUTE_PT = 22; // least from one labelled minute to the next
const EMPTY_MIN = 60; // shown where nothing happens
const DEMAND = "demand";

const stroke = (paths, wide, shade = "black", dash = null) => ({ paths, wide, shade, dash });
const area = (points, shade) => ({ points, shade });
const lettering = (x, y, said) => ({ x, y, said });

// Lay a strip out in a box; `measure` gives the width of a text of TEXT_PT. Later parts lie over earlier ones.
function stripParts(strip, page, measure) {
  const low = page.bottom + AXIS_PT + LANE_PT + BARS_PT;
  const left = page.left + Math.max(...[...strip.ticks, DEMAND].map(measure)) + APART_PT;
  const right = page.right - measure("0");
  const rows = Math.max(0, Math.min(MOST_ROWS, Math.floor((page.top - low - LEAST_PLOT_PT) / ROW_PT)));
  const last = Math.max(0, ...strip.points.map((point) => point.minute)) || EMPTY_MIN;
  const x = (minute) => left + (minute * (right - left)) / last;
  const across = { left, right, bottom: low, last, x, measure };
  const flags = stripFlags(strip, across, rows);
  const used = 1 + Math.max(-1, ...flags.map((flag) => flag.row));
  const top = page.top - used * ROW_PT - APART_PT;
  const scale = { ...across, top, y: (share) => low + share * (top - low) };
  return [
    ...waterParts(strip, scale), ...wideGap(strip, scale), ...upAxis(strip, scale), ...stemParts(flags, scale),
    ...barParts(strip, scale), ...laneParts(strip, scale), ...minuteAxis(scale),
  ];
}

// ------------------------------------------------------------------------------------------- the plot

function waterParts(strip, scale) {
  if (!strip.points.length) return gapParts(strip, scale);
  const line = strip.points.map((point) => [scale.x(point.minute), scale.y(point.share)]);
  const start = [line[0][0], scale.bottom];
  const ends = [[line[line.length - 1][0], scale.bottom], start];
  return [area([...line, ...ends], "light"), ...gapParts(strip, scale), stroke([[start, ...line]], 1.2)];
}

function gapParts(strip, scale) {
  const rising = strip.gaps.flatMap((span) => {
    const box = gapBox(scale, span);
    const sides = [box.left, box.right].map((x) => [[x, box.bottom], [x, box.top]]);
    return [stroke(hatching(box), 0.5), stroke(sides, 0.6)];
  });
  const falling = strip.nothing.flatMap((span) => fallingLines(gapBox(scale, span)));
  return strip.nothing.length ? [...rising, stroke(falling, CROSSED_PT)] : rising;
}

function gapBox(scale, [from, to]) {
  const [one, other] = [scale.x(from), scale.x(to)];
  const [middle, half] = [(one + other) / 2, Math.max(other - one, LEAST_GAP_PT) / 2];
  return { left: middle - half, right: middle + half, bottom: scale.bottom - BARS_PT - LANE_PT, top: scale.top };
}

// What crosses the hatching where nothing flows.
function fallingLines(box) {
  const lines = hatching({ ...box, left: -box.right, right: -box.left });
  return lines.map((ends) => ends.map(([x, y]) => [-x, y]));
}

// Lines at 45 degrees on one raster of the page, cut at the edges of a box.
function hatching(box) {
  const lines = [];
  const end = Math.floor((box.right - box.bottom) / HATCH_PT);
  for (let at = Math.ceil((box.left - box.top) / HATCH_PT); at <= end; at += 1) {
    const shift = at * HATCH_PT;
    const [low, high] = [Math.max(box.bottom, box.left - shift), Math.min(box.top, box.right - shift)];
    if (high > low) lines.push([[low + shift, low], [high + shift, high]]);
  }
  return lines;
}

function fitsGap({ gaps, longest, gapWords }, { x, measure }) {
  const [from, to] = gaps[longest];
  return measure(gapWords) + 2 * APART_PT <= x(to) - x(from);
}

// How long the longest dry stretch is, where it has room; else it stands among the names.
function wideGap(strip, scale) {
  if (!strip.gaps.length || !fitsGap(strip, scale)) return [];
  const [from, to] = strip.gaps[strip.longest];
  return boxed(strip.gapWords, scale.x((from + to) / 2), scale.top - TEXT_PT * 1.5, scale);
}

// A text on the paper's shade, centred as far as a box allows.
function boxed(said, middle, y, within) {
  const width = within.measure(said);
  const left = Math.min(Math.max(middle - width / 2, within.left + 1), within.right - width - 1);
  const ground = {
    left: left - 1.5, bottom: y - TEXT_PT * 0.25, right: left + width + 1.5, top: y + TEXT_PT * 0.95,
  };
  return [area(corners(ground), "white"), lettering(left, y, said)];
}

function corners({ left, bottom, right, top }) {
  return [[left, bottom], [right, bottom], [right, top], [left, top]];
}

function upAxis({ ticks }, { left, right, top, bottom, y, measure }) {
  const heights = ticks.map((_, k) => y(k / (ticks.length - 1)));
  const parts = [
    stroke(heights.slice(1).map((at) => [[left, at], [right, at]]), 0.4, "mid", [1, 2]),
    stroke([[[left, top], [left, bottom], [right, bottom]]], 0.8),
  ];
  let free = Infinity;
  for (let k = ticks.length - 1; k >= 0; k -= 1) { // the top one has the unit: it stands
    if (free - heights[k] < TEXT_PT) continue;
    parts.push(lettering(left - APART_PT - measure(ticks[k]), heights[k] - TEXT_PT * 0.36, ticks[k]));
    free = heights[k];
  }
  return parts;
}

// ------------------------------------------------------------------------------------------- who comes

// The units by their arrival, and the longest dry stretch where it is too narrow for words.
function stripFlags(strip, scale, rows) {
  const flags = strip.arrivals.map(([minute, unit]) => nameFlag([scale.x(minute)], unit, scale));
  if (strip.gaps.length && !fitsGap(strip, scale)) {
    flags.push({ ...nameFlag([scale.x(strip.gaps[strip.longest][0])], strip.gapWords, scale), extra: true });
  }
  return placeNames(flags, rows, scale);
}

// A name right of its stem, or left of it at the right edge, shortened to the room.
function nameFlag(stems, name, { left, right, measure }) {
  let said = Array.from(name);
  while (measure(said.join("")) > right - left - 2 * BESIDE_PT && said.length > 1) {
    said = [...Array.from(said.slice(0, -2).join("").trimEnd()), "\u2026"];
  }
  said = said.join("");
  const width = measure(said);
  const beside = stems[0] + BESIDE_PT;
  const at = beside + width > right ? Math.max(left, stems[0] - BESIDE_PT - width) : beside;
  return { stems, said, left: at, width, row: 0, extra: false };
}

// Names join, then extra ones go, until all have a row.
function placeNames(flags, rows, scale) {
  const names = flags.filter((flag) => !flag.extra);
  const placed = joinNames(names, flags.filter((flag) => flag.extra), rows, scale);
  return placed.length ? placed : joinNames(names, [], rows, scale);
}

function joinNames(names, extra, rows, scale) {
  const left = [...names];
  while (left.length || extra.length) {
    const placed = inRows([...left, ...extra].sort((one, other) => one.stems[0] - other.stems[0]));
    if (placed.every((flag) => flag.row < rows)) return placed;
    if (left.length < 2) break;
    const spaces = left.slice(1).map((flag, k) => flag.stems[0] - left[k].stems[left[k].stems.length - 1]);
    const at = spaces.indexOf(Math.min(...spaces));
    const [one, other] = left.slice(at, at + 2);
    left.splice(at, 2, nameFlag([...one.stems, ...other.stems], `${one.said}, ${other.said}`, scale));
  }
  return [];
}

// Each of some names, from left to right, gets the lowest row in which it does not run into a later one.
function inRows(flags) {
  const placed = [];
  for (const flag of [...flags].reverse()) {
    const end = flag.left + flag.width + APART_PT;
    const below = placed.filter((other) => Math.min(other.left, other.stems[0]) < end).map((other) => other.row);
    placed.push({ ...flag, row: 1 + Math.max(-1, ...below) });
  }
  return placed.reverse();
}

// Each stem from the base line up to its name; of units that share one, the later up to the plot's top.
function stemParts(flags, { bottom, top }) {
  const stems = [];
  const names = [];
  for (const flag of flags) {
    const base = top + APART_PT + flag.row * ROW_PT;
    stems.push([[flag.stems[0], flag.extra ? top : bottom], [flag.stems[0], base + ROW_PT * 0.8]]);
    for (const x of flag.stems.slice(1)) stems.push([[x, bottom], [x, top + APART_PT * 0.6]]);
    names.push(lettering(flag.left, base + TEXT_PT * 0.12, flag.said));
  }
  return flags.length ? [stroke(stems, 0.6, "dark"), ...names] : [];
}

// ------------------------------------------------------------------------------------------- below the base line

// A bar below the base line for each load that starts to dump.
function barParts(strip, { bottom, x }) {
  const top = bottom - 0.8;
  const bars = strip.dumps.map((minute) => [[x(minute), top], [x(minute), top - BARS_PT + 1.6]]);
  return bars.length ? [stroke(bars, 1.6)] : [];
}

// What the fire asks for: one box a step, with its gpm where that fits.
function laneParts(strip, { left, bottom, last, x, measure }) {
  const top = bottom - BARS_PT;
  const base = top - LANE_PT + TEXT_PT * 0.33;
  const parts = [lettering(left - APART_PT - measure(DEMAND), base, DEMAND)];
  strip.demand.forEach(([start, gpmWords], k) => {
    if (!gpmWords || start >= last) return;
    const stop = k + 1 < strip.demand.length ? Math.min(strip.demand[k + 1][0], last) : last;
    const box = { left: x(start), bottom: top - LANE_PT, right: x(stop), top };
    parts.push(stroke([[...corners(box), [box.left, box.bottom]]], 0.6));
    const fitting = [`${gpmWords} gpm`, gpmWords].find((said) => measure(said) <= box.right - box.left - 4);
    if (fitting) parts.push(...boxed(fitting, (box.left + box.right) / 2, base, { ...box, measure }));
  });
  return parts;
}

// The minutes below the lane of demand.
function minuteAxis({ left, right, bottom, last, x, measure }) {
  const top = bottom - BARS_PT - LANE_PT;
  const base = top - TICK_PT - TEXT_PT * 0.85;
  const step = niceStep((last * MINUTE_PT) / (right - left));
  const minuteTicks = Array.from({ length: Math.floor(last / step + 1e-9) + 1 }, (_, k) => step * k);
  const ticks = minuteTicks.map((minute) => [[x(minute), top], [x(minute), top - TICK_PT]]);
  const digits = step >= 1 && Number.isInteger(step) ? 0 : 1;
  return [
    stroke([[[left, top], [right, top]], ...ticks], 0.6),
    lettering(left - APART_PT - measure("0") - measure(" min"), base, "min"),
    ...minuteTicks.map((minute) => {
      const text = minute.toFixed(digits);
      const at = Math.min(x(minute) - measure(text) / 2, right + measure("0") - measure(text));
      return lettering(at, base, text);
    }),
  ];
}

// The next round number from some least up: 1, 2, 2.5, 5 or 10 times a power of ten.
function niceStep(least) {
  const power = 10 ** Math.floor(Math.log10(least));
  return [1, 2, 2.5, 5, 10].map((nice) => nice * power).find((step) => step >= least * (1 - 1e-9)) || 10 * power;
}
