// Symbols: one shape and shade a meaning, drawn the same on the map and in the legend, by day and by night.

const DARK = "#1d2429";
const DAY = {
  paper: "#f8f7f4", ink: "#1d2429", halo: "#ffffff", glow: "#ffffff", label: "#333333",
  water: "#d3dfe6", shore: "#a9bfcc", building: "#d9d4cb", hydrant: "#7d8489",
  roads: ["#6e6e6e", "#808080", "#929292", "#a6a6a6", "#c6c6c6"],
};
const NIGHT = {
  paper: "#14181b", ink: "#e8ecee", halo: "#14181b", glow: "#aab4ba", label: "#d5dadd",
  water: "#263843", shore: "#3b5566", building: "#2b2f31", hydrant: "#8c9499",
  roads: ["#a8a8a8", "#949494", "#808080", "#6b6b6b", "#474747"],
};

// Draw a path twice, first with a white edge that parts it from what lies below.
function edged(pen, width, colour, fill, edge = 1.25) {
  pen.lineJoin = "round";
  pen.strokeStyle = "#ffffff";
  pen.lineWidth = width + 2 * edge;
  pen.stroke();
  if (fill) {
    pen.fillStyle = fill;
    pen.fill();
  }
  pen.strokeStyle = colour;
  pen.lineWidth = width;
  pen.stroke();
}

// Small symbols take a thinner edge, or the edges of many would hide the shades.
function thin(r) {
  return Math.min(1.25, 0.15 * r);
}

// What is dark itself would vanish in the dark: by night its white edge is wide.
function darkEdge(r) {
  return document.documentElement.classList.contains("night") ? Math.max(1.5, 0.32 * r) : thin(r);
}

const STATUS_PENS = {
  served(pen, r) {
    pen.arc(0, 0, r * 0.9, 0, 2 * Math.PI);
    edged(pen, 1, "#0072B2", "#0072B2", thin(r));
  },
  "higher level"(pen, r) {
    pen.rect(-r * 0.82, -r * 0.82, r * 1.64, r * 1.64);
    edged(pen, Math.max(1.2, r * 0.25), DARK, "#F0E442", thin(r));
  },
  "not met"(pen, r) {
    pen.moveTo(0, -r * 1.05);
    pen.lineTo(r * 1.05, r * 0.85);
    pen.lineTo(-r * 1.05, r * 0.85);
    pen.closePath();
    edged(pen, 1, "#000000", "#000000", darkEdge(r));
  },
  "no route"(pen, r) {
    const a = r * 0.8;
    pen.moveTo(-a, -a);
    pen.lineTo(a, a);
    pen.moveTo(a, -a);
    pen.lineTo(-a, a);
    edged(pen, Math.max(2, r * 0.5), DARK, "", darkEdge(r));
  },
  hydrant(pen, r) {
    pen.arc(0, 0, r * 0.55, 0, 2 * Math.PI);
    edged(pen, Math.max(1.2, r * 0.22), "#6f767b", "#ffffff", thin(r));
  },
};

function drawStatus(pen, status, x, y, r) {
  pen.save();
  pen.translate(x, y);
  pen.beginPath();
  STATUS_PENS[data.statuses[status].code](pen, r);
  pen.restore();
}

// The verdicts of a what-if have shapes of their own: a bar, a tick, a question mark, a hollow tick.
const VERDICT_PENS = [
  (pen, r) => {
    pen.rect(-r * 0.95, -r * 0.26, r * 1.9, r * 0.52);
    edged(pen, 1, "#000000", "#000000", darkEdge(r));
  },
  (pen, r) => {
    line(pen, [-r * 0.85, r * 0.1], [-r * 0.25, r * 0.7], [r * 0.9, -r * 0.75]);
    edged(pen, Math.max(2, r * 0.42), "#0072B2", "", thin(r));
  },
  (pen, r) => {
    pen.font = `bold ${2 * r}px system-ui, sans-serif`;
    pen.textAlign = "center";
    pen.textBaseline = "middle";
    pen.lineWidth = 3;
    pen.strokeStyle = "#ffffff";
    pen.strokeText("?", 0, 0);
    pen.fillStyle = DARK;
    pen.fillText("?", 0, 0);
  },
  (pen, r) => {
    line(pen, [-r * 0.85, r * 0.1], [-r * 0.25, r * 0.7], [r * 0.9, -r * 0.75]);
    edged(pen, Math.max(3.4, r * 0.62), DARK, "", thin(r));
    pen.lineWidth = Math.max(1.4, r * 0.26);
    pen.strokeStyle = "#ffffff";
    pen.stroke();
  },
];

function drawVerdict(pen, verdict, x, y, r) {
  pen.save();
  pen.translate(x, y);
  pen.beginPath();
  VERDICT_PENS[verdict](pen, r);
  pen.restore();
}

function drawMark(pen, mark, x, y, r) {
  if (mark < VERDICT_MARK) drawStatus(pen, mark, x, y, r);
  else drawVerdict(pen, mark - VERDICT_MARK, x, y, r);
}

function dropPath(pen, r) {
  pen.beginPath();
  pen.moveTo(0, -1.45 * r);
  pen.bezierCurveTo(0.35 * r, -0.85 * r, 0.92 * r, -0.35 * r, 0.92 * r, 0.25 * r);
  pen.arc(0, 0.25 * r, 0.92 * r, 0, Math.PI);
  pen.bezierCurveTo(-0.92 * r, -0.35 * r, -0.35 * r, -0.85 * r, 0, -1.45 * r);
  pen.closePath();
}

function line(pen, ...points) {
  points.forEach(([x, y], k) => (k ? pen.lineTo(x, y) : pen.moveTo(x, y)));
}

function drawSite(pen, site, number, x, y, r) {
  pen.save();
  pen.translate(x, y);
  dropPath(pen, r);
  pen.lineJoin = "round";
  pen.strokeStyle = "#ffffff";
  pen.lineWidth = 5;
  pen.stroke();
  pen.fillStyle = "#ffffff";
  pen.fill();
  pen.strokeStyle = DARK;
  pen.lineWidth = 2;
  if (site.seasonal) pen.setLineDash([3.5, 2.5]);
  pen.stroke();
  pen.setLineDash([]);
  if (data.kindLines[site.kind]) {
    pen.save();
    pen.translate(0, 0.68 * r);
    pen.scale(0.36 * r, 0.36 * r);
    pen.beginPath();
    for (const points of data.kindLines[site.kind]) line(pen, ...points);
    pen.lineWidth = 1.5 / (0.36 * r);
    pen.stroke();
    pen.restore();
  }
  if (!site.inService) {
    pen.beginPath();
    line(pen, [-1.1 * r, 1.15 * r], [1.1 * r, -1.05 * r]);
    line(pen, [-1.1 * r, -1.05 * r], [1.1 * r, 1.15 * r]);
    pen.lineWidth = 2;
    pen.stroke();
  }
  drawNumber(pen, number, 0, -0.12 * r, 0.85 * r);
  pen.restore();
}

// On white, so that it is read where a site is crossed out too.
function drawNumber(pen, number, x, y, size) {
  pen.lineJoin = "round";
  pen.strokeStyle = "#ffffff";
  pen.lineWidth = 4;
  pen.fillStyle = DARK;
  pen.font = `bold ${size}px system-ui, sans-serif`;
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  pen.strokeText(String(number), x, y);
  pen.fillText(String(number), x, y);
}

function drawStation(pen, number, x, y, r) {
  pen.save();
  pen.translate(x, y);
  pen.beginPath();
  line(pen, [-r, r], [-r, -0.25 * r], [0, -1.1 * r], [r, -0.25 * r], [r, r]);
  pen.closePath();
  edged(pen, 2, DARK, "#ffffff");
  drawNumber(pen, number, 0, 0.32 * r, 1.05 * r);
  pen.restore();
}

function drawStar(pen, x, y, r) {
  pen.save();
  pen.translate(x, y);
  pen.beginPath();
  for (let k = 0; k < 10; k += 1) {
    const reach = k % 2 ? r * 0.45 : r;
    pen.lineTo(reach * Math.sin((k * Math.PI) / 5), -reach * Math.cos((k * Math.PI) / 5));
  }
  pen.closePath();
  edged(pen, 2, DARK, "#ffffff");
  pen.restore();
}

// Two short bars beside the road; a bar across it where something is posted.
function drawBridge(pen, mark, x, y, angle, colours) {
  pen.save();
  pen.translate(x, y);
  pen.rotate(angle);
  pen.beginPath();
  for (const side of [-1, 1]) line(pen, [-8, side * 8], [-5, side * 5], [5, side * 5], [8, side * 8]);
  if (mark & 1) line(pen, [0, -9], [0, 9]);
  pen.lineJoin = "round";
  pen.strokeStyle = colours.halo;
  pen.lineWidth = 4.5;
  pen.stroke();
  pen.strokeStyle = colours.ink;
  pen.lineWidth = 1.8;
  pen.stroke();
  pen.restore();
}

// A board across the road: the district's own closure.
function drawClosure(pen, x, y, angle, colours) {
  drawAcross(pen, x, y, angle, [[colours.halo, 9, 11], [colours.ink, 6, 9.5], [colours.halo, 2, 7.5]]);
}

// A bar across the road: what no truck passes, as the road data has it.
function drawBarrier(pen, x, y, angle, colours) {
  drawAcross(pen, x, y, angle, [[colours.halo, 6, 8], [colours.ink, 3, 6.5]]);
}

// Lines across a road, one on the other: colour, width and half length of each.
function drawAcross(pen, x, y, angle, strokes) {
  pen.save();
  pen.translate(x, y);
  pen.rotate(angle);
  for (const [colour, width, long] of strokes) {
    pen.beginPath();
    line(pen, [0, -long], [0, long]);
    pen.strokeStyle = colour;
    pen.lineWidth = width;
    pen.stroke();
  }
  pen.restore();
}

function drawHydrant(pen, x, y, colours) {
  pen.beginPath();
  line(pen, [x, y - 4], [x, y + 4]);
  line(pen, [x - 3, y - 1], [x + 3, y - 1]);
  pen.strokeStyle = colours.hydrant;
  pen.lineWidth = 1.6;
  pen.stroke();
}

// Corners round the chosen address: its status symbol stays to be seen.
function drawCorners(pen, x, y, r, colours) {
  pen.beginPath();
  for (const [sx, sy] of [[-1, -1], [1, -1], [1, 1], [-1, 1]]) {
    line(pen, [x + sx * r, y + sy * r * 0.4], [x + sx * r, y + sy * r], [x + sx * r * 0.4, y + sy * r]);
  }
  pen.lineJoin = "round";
  pen.strokeStyle = colours.halo;
  pen.lineWidth = 6;
  pen.stroke();
  pen.strokeStyle = colours.ink;
  pen.lineWidth = 2.5;
  pen.stroke();
}

// One leg of the circuit, in pixels: black casing, light core, arrows; the empty way back in dashes.
function drawLeg(pen, points, loaded, colours) {
  if (points.length < 2) return;
  pen.save();
  pen.lineJoin = "round";
  pen.lineCap = "butt";
  const widths = loaded ? [11, 8, 4] : [6.5, 4.5, 1.5];
  [colours.glow, "#000000", "#ffffff"].forEach((colour, k) => {
    pen.setLineDash(!loaded && k ? [11, 7] : []);
    pen.lineWidth = widths[k];
    pen.strokeStyle = colour;
    pen.beginPath();
    line(pen, ...points);
    pen.stroke();
  });
  pen.setLineDash([]);
  drawArrows(pen, points, loaded);
  pen.restore();
}

function drawArrows(pen, points, loaded) {
  let left = 30;
  for (let k = 0; k + 1 < points.length; k += 1) {
    const [[ax, ay], [bx, by]] = [points[k], points[k + 1]];
    const long = Math.hypot(bx - ax, by - ay);
    for (; left < long; left += 75) {
      pen.save();
      pen.translate(ax + ((bx - ax) * left) / long, ay + ((by - ay) * left) / long);
      pen.rotate(Math.atan2(by - ay, bx - ax));
      pen.beginPath();
      line(pen, [8, 0], [-5, -7], [-2, 0], [-5, 7]);
      pen.closePath();
      edged(pen, 1, "#000000", loaded ? "#000000" : "#ffffff");
      pen.restore();
    }
    left -= long;
  }
}
