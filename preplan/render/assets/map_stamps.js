// Symbols by tens of thousands: stamped on a sheet pixel by pixel, since a canvas takes some microseconds for each copy.

const SHEET_MARGIN = 40; // pixels; no symbol reaches farther from its place

// Some browsers hand out false pixels, lest pages tell people apart by them; there the canvas has to copy by itself.
const TRUE_PIXELS = (() => {
  const canvas = document.createElement("canvas");
  canvas.width = canvas.height = 8;
  const pen = canvas.getContext("2d");
  pen.fillStyle = "#0072b2";
  pen.fillRect(0, 0, 8, 4);
  const { data: bytes } = pen.getImageData(0, 0, 8, 8);
  return bytes.every((byte, k) => byte === (k < 128 ? [0x00, 0x72, 0xb2, 0xff][k % 4] : 0));
})();

// The four bytes of a colour, each times a share of 255.
function faded(colour, share) {
  const even = Math.imul(colour & 0xff00ff, share) + 0x800080;
  const odd = Math.imul((colour >>> 8) & 0xff00ff, share) + 0x800080;
  return (((even + ((even >>> 8) & 0xff00ff)) >>> 8) & 0xff00ff) | ((odd + ((odd >>> 8) & 0xff00ff)) & 0xff00ff00);
}

// The other way: a colour that was multiplied by its opacity.
function unfaded(colour) {
  const opacity = colour >>> 24;
  let plain = opacity << 24;
  for (let bit = 0; bit < 24; bit += 8) plain |= Math.round((((colour >>> bit) & 255) * 255) / opacity) << bit;
  return plain;
}

// A symbol to be stamped, `half` as wide as its square, in pixels of the sheet.
class Stamp {
  constructor(draw, half, ratio) {
    this.half = half;
    this.canvas = document.createElement("canvas");
    this.canvas.width = this.canvas.height = 2 * half;
    const pen = this.canvas.getContext("2d");
    pen.scale(ratio, ratio);
    draw(pen, half / ratio, half / ratio);
    const colours = new Uint32Array(pen.getImageData(0, 0, 2 * half, 2 * half).data.buffer);
    this.pixels = [...colours.keys()].filter((k) => colours[k] >>> 24);
    this.colours = Uint32Array.from(this.pixels, (k) => {
      const opacity = colours[k] >>> 24;
      return (faded(colours[k], opacity) & 0xffffff) | (opacity << 24);
    });
  }
}

// A clear sheet as large as a canvas, with a margin for symbols that reach over its edge; it is used again and again.
class Sheet {
  constructor() {
    this.canvas = document.createElement("canvas");
    this.pen = this.canvas.getContext("2d");
    this.image = new ImageData(1, 1);
    this.stamps = new Map(); // places of each stamp's pixels in rows of this sheet
  }

  clear({ width, height }) {
    this.canvas.width = width; // which clears it too
    this.canvas.height = height;
    const [wide, high] = [width + 2 * SHEET_MARGIN, height + 2 * SHEET_MARGIN];
    if (this.image.width !== wide || this.image.height !== high) {
      this.image = new ImageData(wide, high);
      this.ink = new Uint32Array(this.image.data.buffer);
      this.stamps.clear();
    }
    this.ink.fill(0);
  }

  placesOf(stamp) {
    const side = 2 * stamp.half;
    const place = (k) => this.image.width * Math.floor(k / side) + (k % side);
    if (!this.stamps.has(stamp)) this.stamps.set(stamp, Int32Array.from(stamp.pixels, place));
    return this.stamps.get(stamp);
  }

  // Stamp with the middle of a symbol between whole pixels.
  stamp(stamp, x, y) {
    const [left, top] = [x - stamp.half, y - stamp.half];
    if (!TRUE_PIXELS) {
      this.pen.drawImage(stamp.canvas, left, top);
      return;
    }
    const { ink } = this;
    const { colours } = stamp;
    const places = this.placesOf(stamp);
    const from = this.image.width * (top + SHEET_MARGIN) + left + SHEET_MARGIN;
    for (let k = 0; k < places.length; k += 1) {
      const at = from + places[k];
      const through = 255 - (colours[k] >>> 24);
      ink[at] = through ? colours[k] + faded(ink[at], through) : colours[k];
    }
  }

  // What was stamped, as a canvas.
  done() {
    if (!TRUE_PIXELS) return this.canvas;
    const { ink } = this;
    for (let k = 0; k < ink.length; k += 1) {
      const opacity = ink[k] >>> 24;
      if (opacity && opacity < 255) ink[k] = unfaded(ink[k]);
    }
    this.pen.putImageData(this.image, -SHEET_MARGIN, -SHEET_MARGIN);
    return this.canvas;
  }
}
