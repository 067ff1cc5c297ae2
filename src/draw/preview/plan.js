// The plan: reading at the pointer and at a point that keys move, the line of section E-E, and which
// map is shown.

const plans = {};
const readingWords = document.getElementById('reading');
/** The point that was read last. */
let point = null;
/** Where section E-E cuts, mm from the rear of the heel. */
let freeAt = data.feet[0].free.at;
const freeField = document.getElementById('free-at');
/** What else wants to know when the point or the section moves. */
const followers = [];

for (const box of document.querySelectorAll('[data-plan]')) {
  const side = box.dataset.plan;
  if (feet[side]) setUpPlan(side, box);
}

function setUpPlan(side, box) {
  const plan = { box, svg: null, line: freeLine(side), cross: pen('g', { visibility: 'hidden' }) };
  plans[side] = plan;
  attachPlan(side);
  box.tabIndex = 0;
  box.setAttribute('role', 'group');
  box.setAttribute('aria-label', 'Plan of the ' + sideWords(side) + ' footbed: reading point');
  box.setAttribute('aria-describedby', 'plan-keys');
  const read = (event) => {
    const p = onPaper(plan.svg, event);
    if (p) movePoint(side, ...onFoot(feet[side], p));
  };
  box.addEventListener('pointermove', read);
  box.addEventListener('pointerdown', read);
  box.addEventListener('keydown', (event) => {
    if (event.target !== box) return;
    const here = point && point.side === side ? point : { x: 0, y: freeAt };
    const by = event.shiftKey ? 5 : 1, foot = feet[side];
    const step = { ArrowUp: [0, by], ArrowDown: [0, -by], ArrowRight: [foot.medial * by, 0], ArrowLeft: [-foot.medial * by, 0] }[event.key];
    if (step) {
      event.preventDefault();
      const to = [here.x + step[0], here.y + step[1]];
      if (foot.holds(...to)) movePoint(side, ...to);
    } else if (event.key === 'Enter') {
      event.preventDefault();
      moveFree(here.y);
    }
  });
  box.addEventListener('focus', () => {
    const box = feet[side].box;
    if (!point || point.side !== side) movePoint(side, 0, Math.min(Math.max(freeAt, box.y0 + 2), box.y1 - 2));
  });
}

/** Lays the reading point and the line of section E-E on the drawing that stands in the page now. */
function attachPlan(side) {
  const plan = plans[side];
  plan.svg = plan.box.querySelector('svg');
  plan.svg.append(plan.line, plan.cross);
}

function sideWords(side) {
  return side === 'L' ? 'left' : 'right';
}

/** From a plan's paper to the foot, and back. */
function onFoot(foot, p) {
  return [(foot.medial * (p.x - foot.plan.x)) / foot.plan.scale, (foot.plan.y - p.y) / foot.plan.scale];
}

function onPlan(foot, x, y) {
  return [foot.plan.x + foot.medial * foot.plan.scale * x, foot.plan.y - foot.plan.scale * y];
}

/** Reads a place and shows it; nothing happens outside the outline. */
function movePoint(side, x, y) {
  const read = readAt(side, x, y);
  if (!read) return;
  point = read;
  for (const other of sides) plans[other].cross.setAttribute('visibility', other === side ? 'visible' : 'hidden');
  drawCross(plans[side].cross, onPlan(feet[side], x, y), read.thickness.toFixed(2));
  showReading(read);
  followers.forEach((follow) => follow());
}

function drawCross(group, at, words) {
  const d = 'M' + (at[0] - 3) + ' ' + at[1] + 'h6M' + at[0] + ' ' + (at[1] - 3) + 'v6';
  group.replaceChildren(
    pen('path', { class: 'cross-halo', d }),
    pen('path', { class: 'cross', d }),
    pen('text', { class: 'read', x: at[0] + 1.6, y: at[1] - 1.4 }, words)
  );
}

function showReading(read) {
  const share = Math.round((100 * read.y) / feet[read.side].foot_length);
  const across = Math.abs(read.x).toFixed(1) + (read.x >= 0 ? ' medial' : ' lateral');
  const strong = document.createElement('b');
  strong.textContent = read.side + ' thickness ' + read.thickness.toFixed(2) + ' mm';
  const rest = '  top ' + read.top.toFixed(2) + ', underside ' + Math.abs(read.under).toFixed(2) + '; ' + read.y.toFixed(1) + ' from rear (' + share + ' %), ' + across + ' of the axis';
  readingWords.replaceChildren(strong, document.createTextNode(rest));
}

/** The line of section E-E in a plan: to be dragged, or moved by keys. */
function freeLine(side) {
  const group = pen('g', { class: 'free-line', tabindex: 0, role: 'slider', 'aria-orientation': 'vertical' });
  group.setAttribute('aria-label', 'Section E-E in the ' + sideWords(side) + ' plan');
  group.addEventListener('pointerdown', (event) => {
    event.stopPropagation();
    group.setPointerCapture(event.pointerId);
    const drag = (move) => moveFree(onFoot(feet[side], onPaper(plans[side].svg, move))[1]);
    const end = () => group.removeEventListener('pointermove', drag);
    group.addEventListener('pointermove', drag);
    group.addEventListener('pointerup', end, { once: true });
    group.addEventListener('pointercancel', end, { once: true });
  });
  group.addEventListener('keydown', (event) => {
    const by = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1, PageUp: 10, PageDown: -10 }[event.key];
    const to = event.key === 'Home' ? -Infinity : event.key === 'End' ? Infinity : by && freeAt + by * (event.shiftKey ? 5 : 1);
    if (to === undefined) return;
    event.preventDefault();
    moveFree(to);
  });
  return group;
}

function drawFreeLine(side) {
  const foot = feet[side];
  const group = plans[side].line;
  const a = onPlan(foot, foot.box.x0, freeAt), b = onPlan(foot, foot.box.x1, freeAt);
  const out = foot.medial * 4.6;
  const d = 'M' + (a[0] - out) + ' ' + a[1] + 'L' + (b[0] + out) + ' ' + b[1];
  const end = (x, by) => pen('path', { class: 'end', d: 'M' + x + ' ' + a[1] + 'h' + by });
  group.replaceChildren(
    pen('path', { class: 'reach', d }),
    pen('path', { class: 'chain', d }),
    end(a[0] - out, foot.medial * 3.4),
    end(b[0] + out, -foot.medial * 3.4),
    pen('text', { class: 't letter', x: b[0] + out + foot.medial * 1.6, y: b[1] + 0.9, 'text-anchor': 'middle' }, 'E')
  );
  group.setAttribute('aria-valuemin', Math.ceil(foot.box.y0));
  group.setAttribute('aria-valuemax', Math.floor(foot.box.y1));
  group.setAttribute('aria-valuenow', Math.round(freeAt * 10) / 10);
  group.setAttribute('aria-valuetext', freeAt.toFixed(1) + ' mm from the rear');
}

/** Cuts section E-E elsewhere, where every foot has width. */
function moveFree(y) {
  const lo = Math.max(...sides.map((side) => feet[side].box.y0)) + 2;
  const hi = Math.min(...sides.map((side) => feet[side].box.y1)) - 2;
  if (Number.isNaN(y)) return;
  freeAt = Math.min(Math.max(y, lo), hi);
  sides.forEach(drawFreeLine);
  if (document.activeElement !== freeField) freeField.value = Math.round(freeAt * 10) / 10;
  followers.forEach((follow) => follow());
}

function showReach() {
  freeField.min = Math.ceil(Math.max(...sides.map((side) => feet[side].box.y0)) + 2);
  freeField.max = Math.floor(Math.min(...sides.map((side) => feet[side].box.y1)) - 2);
}

showReach();
freeField.addEventListener('input', () => freeField.value !== '' && moveFree(Number(freeField.value)));
freeField.addEventListener('change', () => (freeField.value = Math.round(freeAt * 10) / 10));

for (const button of document.querySelectorAll('[data-map]')) {
  button.addEventListener('click', () => {
    for (const map of ['thickness', 'stays', 'change']) document.getElementById('sheet').classList.toggle('show-' + map, button.dataset.map === map);
    for (const other of document.querySelectorAll('[data-map]')) other.setAttribute('aria-pressed', String(other === button));
  });
}
