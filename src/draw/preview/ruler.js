// The dimension that is being changed: enlarged beside its place, with how far it may go drawn along it.

const strip = document.getElementById('strip');
const stripField = document.getElementById('strip-field');
const stripRuler = document.getElementById('strip-ruler');
const rulerWide = 320;

/** What is being changed: side and name of a value; null for nothing. */
let held = null;
/** What the desk was told last. */
let state = data.desk.state;

function valueOf(side, name) {
  const foot = state.feet.find((foot) => foot.side === side);
  return foot && foot.values[name];
}

function words(name) {
  return name.replace(/_/g, ' ');
}

function unitOf(name) {
  return name === 'rearfoot_post' ? '\u00b0' : ' mm';
}

/** At most two decimals, none where there are none, and a true minus. */
function told(number) {
  return String(Math.round(number * 100) / 100).replace('-', '\u2212');
}

/** Where a value stands: as asked, or as the design makes it. */
function standing(value) {
  return value.asked === null ? value.read_back : value.asked;
}

function footName(side) {
  return side === 'L' ? 'left' : 'right';
}

/** The span that is drawn: all that passes, and where the value stands and stood. */
function span(value) {
  const inside = [standing(value), value.saved, ...(value.feasible || [])].filter((x) => x !== null && x !== undefined);
  const lo = Math.min(...inside), hi = Math.max(...inside);
  const air = Math.max((hi - lo) * 0.1, 0.5);
  return [Math.max(lo - air, Math.min(value.range[0], lo)), Math.min(hi + air, Math.max(value.range[1], hi))];
}

function onRuler(value, x) {
  const [lo, hi] = span(value);
  return 12 + ((rulerWide - 24) * (x - lo)) / (hi - lo || 1);
}

function fromRuler(value, at) {
  const [lo, hi] = span(value);
  return lo + ((at - 12) / (rulerWide - 24)) * (hi - lo);
}

function arrow(x, y, by) {
  return pen('path', { class: 'ink-fill', d: 'M' + x + ' ' + y + 'l' + by * 8 + ' -2.2v4.4z' });
}

/** Marks every mm, longer every five; fewer where they would touch. */
function ticks(value, y) {
  const [lo, hi] = span(value);
  const every = [0.1, 0.5, 1, 5, 10].find((step) => ((rulerWide - 24) * step) / (hi - lo || 1) >= 4) || 50;
  let d = '';
  for (let k = Math.ceil(lo / every); k <= Math.floor(hi / every); k++) d += 'M' + onRuler(value, k * every).toFixed(1) + ' ' + y + 'v' + (k % 5 ? 4 : 7);
  return pen('path', { class: 'tick', d });
}

/** A number below an end of the line, kept on the paper. */
function endWords(x, y, number) {
  const anchor = x < 24 ? 'start' : x > rulerWide - 24 ? 'end' : 'middle';
  return pen('text', { class: 'soft', x: anchor === 'middle' ? x : Math.min(Math.max(x, 2), rulerWide - 2), y, 'text-anchor': anchor }, told(number));
}

/** The dimension line: ends where a limit ends it, the stretch beyond hatched, saved and present place. */
function drawRuler(value) {
  const y = 32, parts = [];
  const hatch = (a, b) => {
    let d = '';
    for (let x = a; x + 5 < b; x += 5) d += 'M' + x.toFixed(1) + ' ' + (y + 4) + 'l5 -8';
    return pen('path', { class: 'beyond', d });
  };
  if (value.feasible) {
    const [a, b] = value.feasible.map((x) => Math.min(Math.max(onRuler(value, x), 4), rulerWide - 4));
    const ends = [Math.ceil(value.feasible[0] * 10 - 1e-6) / 10, Math.floor(value.feasible[1] * 10 + 1e-6) / 10];
    parts.push(hatch(2, a - 1), hatch(b + 1, rulerWide - 2), ticks(value, y));
    parts.push(pen('path', { class: 'line', d: 'M' + a + ' ' + y + 'H' + b + 'M' + a + ' ' + (y - 9) + 'v18M' + b + ' ' + (y - 9) + 'v18' }));
    if (b - a > 24) parts.push(arrow(a, y, 1), arrow(b, y, -1));
    parts.push(endWords(a, y + 22, ends[0]));
    if (b - a > 40) parts.push(endWords(b, y + 22, ends[1]));
  } else parts.push(hatch(2, rulerWide - 2), ticks(value, y));
  if (value.saved !== null && value.saved !== value.asked) {
    const x = onRuler(value, value.saved);
    parts.push(pen('path', { class: 'then', d: 'M' + x + ' ' + (y - 12) + 'v24' }));
  }
  const x = onRuler(value, standing(value));
  parts.push(pen('path', { class: 'here', d: 'M' + x + ' ' + (y - 1) + 'l-6 -12h12z' }));
  parts.push(pen('text', { class: 'b', x: Math.min(Math.max(x, 16), rulerWide - 16), y: 14, 'text-anchor': 'middle' }, told(standing(value))));
  stripRuler.replaceChildren(...parts);
}

/** What ends the interval, in words. */
function rangeWords(value) {
  if (value.asked === null && value.feasible === null) return 'Follows from the others: no number of its own passes.';
  if (!value.feasible) return 'Nothing passes by this value alone: ' + value.by.join(' against ') + '.';
  const [low, high] = value.by;
  const open = value.found === 'outline_only' && !state.settled ? ' Its ends are still being looked for.' : '';
  return 'Ends at ' + (low === high ? low : low + ' below, ' + high + ' above') + '.' + open;
}

function showStrip() {
  strip.hidden = held === null;
  if (held === null) return;
  const value = valueOf(held.side, held.name);
  document.getElementById('strip-name').textContent = words(held.name) + ' ' + held.side;
  document.getElementById('strip-unit').textContent = unitOf(held.name).trim() === 'mm' ? 'mm' : 'deg';
  const was = value.saved === value.asked ? '' : 'saved ' + (value.saved === null ? 'not asked' : told(value.saved));
  document.getElementById('strip-was').textContent = was;
  document.getElementById('strip-rule').hidden = value.asked === null || value.rule !== null;
  document.getElementById('strip-words').textContent = (value.rule ? 'Filled in: ' + value.rule + '. ' : value.asked === null ? 'Not asked: it follows from the others. ' : '') + rangeWords(value);
  stripField.setAttribute('aria-label', words(held.name) + ', ' + footName(held.side) + ', ' + (unitOf(held.name).trim() === 'mm' ? 'mm' : 'degrees'));
  if (document.activeElement !== stripField) stripField.value = Math.round(standing(value) * 100) / 100;
  drawRuler(value);
}
