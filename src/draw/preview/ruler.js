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

function shortLimit(side) {
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

/** The dimension line: ends where a limit ends it, the stretch beyond hatched, saved and present place. */
function drawRuler(value) {
  const y = 30;
  const parts = [pen('path', { class: 'beyond', d: 'M4 ' + y + 'H' + (rulerWide - 4) })];
  if (value.feasible) {
    const [a, b] = value.feasible.map((x) => Math.min(Math.max(onRuler(value, x), 4), rulerWide - 4));
    parts.push(pen('path', { class: 'may', d: 'M' + a + ' ' + y + 'H' + b }));
    for (const [x, by] of [[a, 1], [b, -1]]) {
      parts.push(pen('path', { class: 'end', d: 'M' + x + ' ' + (y - 8) + 'v16' }));
      if (b - a > 20) parts.push(arrow(x, y, by));
    }
    const close = b - a < 70;
    parts.push(pen('text', { class: 'soft', x: Math.max(a, 2), y: y + 21, 'text-anchor': close ? 'end' : a < 30 ? 'start' : 'middle' }, told(Math.ceil(value.feasible[0] * 10 - 1e-6) / 10)));
    parts.push(pen('text', { class: 'soft', x: Math.min(b, rulerWide - 2), y: y + 21, 'text-anchor': close ? 'start' : b > rulerWide - 30 ? 'end' : 'middle' }, told(Math.floor(value.feasible[1] * 10 + 1e-6) / 10)));
  }
  if (value.saved !== null && value.saved !== value.asked) {
    const x = onRuler(value, value.saved);
    parts.push(pen('path', { class: 'was', d: 'M' + x + ' ' + (y - 9) + 'v18' }));
  }
  const x = onRuler(value, standing(value));
  parts.push(pen('path', { class: 'here', d: 'M' + x + ' ' + (y - 1) + 'l-6 -11h12z' }));
  parts.push(pen('text', { class: 'b', x: Math.min(Math.max(x, 20), rulerWide - 20), y: 13, 'text-anchor': 'middle' }, told(standing(value))));
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
  stripField.setAttribute('aria-label', words(held.name) + ', ' + shortLimit(held.side) + ', ' + (unitOf(held.name).trim() === 'mm' ? 'mm' : 'degrees'));
  if (document.activeElement !== stripField) stripField.value = Math.round(standing(value) * 100) / 100;
  drawRuler(value);
}
