'use strict';
// Reads the page's data: heights on a lattice, outlines, paths. Everything here is in the foot frame,
// mm, in which left and right feet are the same numbers: x medial, y toward the toes, z up.

/** The whole numbers that `packed.rs` wrote: base64, seven bits a byte, the sign lowest. */
function integers(text) {
  const bytes = atob(text);
  const out = [];
  let at = 0;
  while (at < bytes.length) {
    let value = 0, place = 1, byte;
    do {
      byte = bytes.charCodeAt(at++);
      value += (byte & 0x7f) * place;
      place *= 128;
    } while (byte & 0x80);
    out.push(value % 2 ? -(value + 1) / 2 : value / 2);
  }
  return out;
}

/** Heights on a regular lattice, and between its nodes. */
class Field {
  constructor(lattice, text, steps) {
    this.x0 = lattice.x0;
    this.y0 = lattice.y0;
    this.step = lattice.step;
    this.nx = lattice.nx;
    this.ny = lattice.ny;
    const whole = integers(text);
    const nx = this.nx;
    for (let k = 0; k < whole.length; k++) {
      const i = k % nx, j = (k - i) / nx;
      const left = i ? whole[k - 1] : 0, below = j ? whole[k - nx] : 0;
      whole[k] += left + below - (i && j ? whole[k - nx - 1] : 0);
    }
    this.z = Float32Array.from(whole, (v) => v / steps);
  }

  /** A node's height; beyond the edge, that of the edge. */
  at(i, j) {
    const a = i < 0 ? 0 : i >= this.nx ? this.nx - 1 : i;
    const b = j < 0 ? 0 : j >= this.ny ? this.ny - 1 : j;
    return this.z[b * this.nx + a];
  }

  /** The height at a place, by cubics through four nodes each way (Catmull & Rom 1974). */
  height(x, y) {
    const u = (x - this.x0) / this.step, v = (y - this.y0) / this.step;
    const i = Math.floor(u), j = Math.floor(v);
    const a = u - i;
    const row = (k) => cubic(this.at(i - 1, k), this.at(i, k), this.at(i + 1, k), this.at(i + 2, k), a);
    return cubic(row(j - 1), row(j), row(j + 1), row(j + 2), v - j);
  }
}

function cubic(a, b, c, d, t) {
  return b + 0.5 * t * (c - a + t * (2 * a - 5 * b + 4 * c - d + t * (3 * (b - c) + d - a)));
}

/** One footbed as the page knows it. */
class Foot {
  constructor(told, data) {
    this.reshape(told, data);
  }

  /** Takes another shape, or other places on paper. */
  reshape(told, data) {
    Object.assign(this, told);
    this.topField = new Field(told.lattice, told.top, data.height_steps);
    this.underField = told.under === null ? null : new Field(told.lattice, told.under, data.height_steps);
    const flat = integers(told.outline);
    this.edge = [];
    let x = 0, y = 0;
    for (let k = 0; k + 1 < flat.length; k += 2) {
      x += flat[k];
      y += flat[k + 1];
      this.edge.push([x / data.place_steps, y / data.place_steps]);
    }
    const xs = this.edge.map((p) => p[0]), ys = this.edge.map((p) => p[1]);
    this.box = { x0: Math.min(...xs), x1: Math.max(...xs), y0: Math.min(...ys), y1: Math.max(...ys) };
  }

  topAt(x, y) {
    return this.topField.height(x, y);
  }

  underAt(x, y) {
    return this.underField ? this.underField.height(x, y) : 0;
  }

  /** Where the outline crosses the level y, ascending. */
  crossings(y) {
    const found = [];
    for (let k = 0; k < this.edge.length; k++) {
      const a = this.edge[k], b = this.edge[(k + 1) % this.edge.length];
      if ((a[1] < y) !== (b[1] < y)) found.push(a[0] + ((b[0] - a[0]) * (y - a[1])) / (b[1] - a[1]));
    }
    return found.sort((p, q) => p - q);
  }

  /** Where the outline crosses a line along the foot, ascending. */
  along(x) {
    const found = [];
    for (let k = 0; k < this.edge.length; k++) {
      const a = this.edge[k], b = this.edge[(k + 1) % this.edge.length];
      if ((a[0] < x) !== (b[0] < x)) found.push(a[1] + ((b[1] - a[1]) * (x - a[0])) / (b[0] - a[0]));
    }
    return found.sort((p, q) => p - q);
  }

  holds(x, y) {
    return this.crossings(y).filter((c) => c <= x).length % 2 === 1;
  }
}

const data = JSON.parse(document.getElementById('data').textContent);
const feet = {};
for (const told of data.feet) feet[told.side] = new Foot(told, data);
const sides = data.feet.map((told) => told.side);

/** What is read at a place of a foot; null outside its outline. */
function readAt(side, x, y) {
  const foot = feet[side];
  if (!foot || !foot.holds(x, y)) return null;
  const top = foot.topAt(x, y), under = foot.underAt(x, y);
  return { side, x, y, top, under, thickness: top - under };
}

const still = window.matchMedia('(prefers-reduced-motion: reduce)');
const svgSpace = 'http://www.w3.org/2000/svg';

/** An SVG element with its attributes. */
function pen(name, attributes, words) {
  const element = document.createElementNS(svgSpace, name);
  for (const key of Object.keys(attributes)) element.setAttribute(key, attributes[key]);
  if (words !== undefined) element.textContent = words;
  return element;
}

/** Where a pointer is on the paper of a picture, mm of paper. */
function onPaper(svg, event) {
  const matrix = svg.getScreenCTM();
  if (!matrix) return null;
  const p = svg.createSVGPoint();
  p.x = event.clientX;
  p.y = event.clientY;
  return p.matrixTransform(matrix.inverse());
}
