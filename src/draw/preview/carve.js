// Programs as the page plays them: what is left of the blank at any moment, on a lattice of 1 mm. The
// proof on the job sheet is carved finer and judged; this is to be looked at.

/** A program's movements: places, times, which are rapids. */
class Path {
  constructor(told, steps) {
    Object.assign(this, told);
    const flat = integers(told.moves);
    const count = flat.length < 3 ? 0 : (flat.length - 3) / 4;
    /** x, y, z of the place before the first movement and after each. */
    this.places = new Float32Array(3 * (count + 1));
    /** Time at each place, s. */
    this.times = new Float64Array(count + 1);
    this.rapid = new Uint8Array(count + 1);
    const here = flat.slice(0, 3);
    for (let c = 0; c < 3; c++) this.places[c] = here[c] / steps;
    for (let k = 0; k < count; k++) {
      const at = 3 + 4 * k;
      this.times[k + 1] = this.times[k] + Math.floor(flat[at] / 2) / 1000;
      this.rapid[k + 1] = flat[at] & 1;
      for (let c = 0; c < 3; c++) {
        here[c] += flat[at + 1 + c];
        this.places[3 * (k + 1) + c] = here[c] / steps;
      }
    }
    this.count = count;
  }

  /** The movement under way at a time. */
  moveAt(time) {
    let lo = 0, hi = this.count;
    while (lo < hi) {
      const mid = (lo + hi) >> 1;
      if (this.times[mid] < time) lo = mid + 1;
      else hi = mid;
    }
    return lo;
  }

  /** Where the tip is at a time. */
  tipAt(time) {
    const k = this.moveAt(time);
    const p = (j) => [this.places[3 * j], this.places[3 * j + 1], this.places[3 * j + 2]];
    if (k === 0) return p(0);
    const a = p(k - 1), b = p(k);
    const span = this.times[k] - this.times[k - 1];
    const t = span > 0 ? Math.min(1, Math.max(0, (time - this.times[k - 1]) / span)) : 1;
    return a.map((v, c) => v + (b[c] - v) * t);
  }
}

/** What is left of a blank: heights of its upper face, and of its underside as it is cut from below. */
class Stock {
  constructor(foot) {
    const b = foot.blank;
    this.step = 1;
    this.x0 = b.x0;
    this.y0 = b.y0;
    this.nx = Math.floor(b.x1 - b.x0) + 1;
    this.ny = Math.floor(b.y1 - b.y0) + 1;
    this.top = new Float32Array(this.nx * this.ny).fill(b.top);
    this.under = new Float32Array(this.nx * this.ny);
  }

  copy() {
    const other = Object.create(Stock.prototype);
    Object.assign(other, this, { top: this.top.slice(), under: this.under.slice() });
    return other;
  }

  /** The cutter with its tip at a place: everything above its surface goes. */
  stamp(path, x, y, z) {
    const r = path.radius;
    const i0 = Math.max(0, Math.ceil((x - r - this.x0) / this.step)), i1 = Math.min(this.nx - 1, Math.floor((x + r - this.x0) / this.step));
    const j0 = Math.max(0, Math.ceil((y - r - this.y0) / this.step)), j1 = Math.min(this.ny - 1, Math.floor((y + r - this.y0) / this.step));
    for (let j = j0; j <= j1; j++) {
      const dy = this.y0 + j * this.step - y;
      for (let i = i0; i <= i1; i++) {
        const dx = this.x0 + i * this.step - x;
        const q = Math.sqrt(dx * dx + dy * dy);
        if (q > r) continue;
        const at = q / path.profile_step, k = Math.floor(at);
        const low = path.profile[k], high = path.profile[Math.min(k + 1, path.profile.length - 1)];
        const lift = low + (high - low) * (at - k);
        const node = j * this.nx + i;
        if (path.under) this.under[node] = Math.max(this.under[node], z - lift);
        else this.top[node] = Math.min(this.top[node], z + lift);
      }
    }
  }

  /** Carves what a path cuts between two times. */
  carve(path, from, to) {
    if (path.dry) return;
    const first = path.moveAt(from), last = path.moveAt(to);
    for (let k = Math.max(1, first); k <= last; k++) {
      if (path.rapid[k]) continue;
      const a = path.tipAt(Math.max(from, path.times[k - 1])), b = path.tipAt(Math.min(to, path.times[k]));
      const length = Math.hypot(b[0] - a[0], b[1] - a[1], b[2] - a[2]);
      const count = Math.max(1, Math.ceil(length / (0.5 * this.step)));
      for (let s = 0; s <= count; s++) {
        const t = s / count;
        this.stamp(path, a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t, a[2] + (b[2] - a[2]) * t);
      }
    }
  }
}
