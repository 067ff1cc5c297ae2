// Values changed on their dimensions: every dimension's words are a control of their own, which keeps its place while
// the drawing under it is drawn anew.

/** Steps in mm or degrees: the plain one, with Shift, by pages. */
const steps = { plain: 0.5, fine: 0.1, page: 1 };
/** Changes that follow each other sooner than this on one dimension are one step back, ms. */
const oneGesture = 1200;
const names = Object.keys(state.feet[0].values);
/** Controls by side and name. */
const handles = {};
/** Which shapes this page has. */
const have = {};
for (const foot of state.feet) have[foot.side] = foot.shape;

/** The words of a dimension in the drawings of a foot. */
function dimensionWords(side) {
  const found = {};
  const svgs = [plans[side].svg, ...sections.filter((section) => section.side === side && section.letter !== 'E').map((section) => section.svg)];
  for (const svg of svgs) {
    for (const text of svg.querySelectorAll('text.t')) {
      const name = names.find((name) => text.textContent.trim().startsWith(words(name) + ' '));
      if (name && !text.classList.contains('soft')) found[name] = text;
    }
  }
  return found;
}

function makeHandle(side, name) {
  const handle = document.createElement('div');
  handle.className = 'handle live';
  handle.tabIndex = 0;
  handle.setAttribute('role', 'spinbutton');
  handle.setAttribute('aria-label', words(name) + ', ' + footName(side));
  handle.addEventListener('focus', () => hold(side, name));
  handle.addEventListener('click', () => {
    handle.focus();
    hold(side, name);
  });
  handle.addEventListener('keydown', (event) => keyOnHandle(event, side, name));
  handle.addEventListener('wheel', (event) => wheelOnHandle(event, handle, side, name), { passive: false });
  return handle;
}

/** Lays the controls of a foot over their words. */
function placeHandles(side) {
  const found = dimensionWords(side);
  handles[side] = handles[side] || {};
  for (const name of names) {
    const value = valueOf(side, name), text = found[name];
    const handle = (handles[side][name] = handles[side][name] || makeHandle(side, name));
    handle.hidden = !text || !value.open;
    if (handle.hidden) continue;
    const host = text.closest('.plan-of, .cut-of');
    if (handle.parentNode !== host) host.append(handle);
    handle.text = text;
    const a = text.getBoundingClientRect(), b = host.getBoundingClientRect();
    handle.style.left = (100 * ((a.left + a.right) / 2 - b.left)) / b.width + '%';
    handle.style.top = (100 * ((a.top + a.bottom) / 2 - b.top)) / b.height + '%';
    handle.style.width = (100 * (a.width + 6)) / b.width + '%';
    handle.style.height = (100 * (a.height + 4)) / b.height + '%';
  }
}

/** Writes the numbers of a foot's dimensions. */
function tellHandles(side) {
  for (const name of names) {
    const handle = handles[side][name], value = valueOf(side, name);
    if (!handle.text) continue;
    const unit = name === 'rearfoot_post' ? '\u00b0' : '';
    const number = value.asked === null ? '(' + value.read_back.toFixed(1) + unit + ')' : told(value.asked).replace('\u2212', '-') + unit;
    handle.text.textContent = words(name) + ' ' + number;
    handle.text.classList.toggle('changed', value.asked !== value.saved);
    const out = value.asked !== null && value.feasible !== null && (value.asked < value.feasible[0] - 1e-6 || value.asked > value.feasible[1] + 1e-6);
    handle.classList.toggle('out', out);
    handle.setAttribute('aria-valuenow', Math.round(standing(value) * 100) / 100);
    handle.setAttribute('aria-valuemin', value.range[0]);
    handle.setAttribute('aria-valuemax', value.range[1]);
    handle.setAttribute('aria-valuetext', told(standing(value)) + (unit ? ' degrees' : ' mm') + (out ? ', past a limit' : ''));
  }
}

/** Takes a dimension up, or puts it down. */
function hold(side, name) {
  held = side === null ? null : { side, name };
  for (const of of sides) for (const other of names) handles[of][other].classList.toggle('held', held !== null && held.side === of && held.name === other);
  showStrip();
  if (held) placeStrip();
}

/** Beside the words of the dimension, inside the sheet; a narrow window has it at its lower edge. */
function placeStrip() {
  const handle = handles[held.side][held.name];
  const host = strip.parentNode.getBoundingClientRect(), at = handle.getBoundingClientRect();
  const width = strip.offsetWidth, height = strip.offsetHeight;
  const left = Math.min(Math.max((at.left + at.right) / 2 - width / 2, host.left + 4), host.right - width - 4);
  // A dimension of the plan has it below the plan, one of a section above its words: what is turned stays in sight.
  const plan = handle.parentNode.classList.contains('plan-of');
  const above = at.top - height - 10;
  const top = plan ? document.getElementById('plans').getBoundingClientRect().bottom + 2 : above > host.top ? above : at.bottom + 60;
  strip.style.left = left - host.left + 'px';
  strip.style.top = top - host.top + 'px';
}

function keyOnHandle(event, side, name) {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  const value = valueOf(side, name), by = event.shiftKey ? steps.fine : steps.plain;
  // Put down and turned again, it is taken up again.
  if (!held && event.key !== 'Escape' && event.key !== 'Tab' && event.key !== 'Shift') hold(side, name);
  const step = { ArrowUp: by, ArrowRight: by, ArrowDown: -by, ArrowLeft: -by, PageUp: steps.page, PageDown: -steps.page }[event.key];
  if (step) turnBy(side, name, step);
  else if (event.key === 'Home' && value.feasible) turnTo(side, name, Math.ceil(value.feasible[0] * 10 - 1e-6) / 10);
  else if (event.key === 'End' && value.feasible) turnTo(side, name, Math.floor(value.feasible[1] * 10 + 1e-6) / 10);
  else if (event.key === 'Enter') {
    stripField.focus();
    stripField.select();
  } else if (/^[0-9.,-]$/.test(event.key)) {
    stripField.focus();
    stripField.value = '';
    return;
  } else if (event.key === 'Escape') hold(null);
  else return;
  event.preventDefault();
}

let wheeled = 0;

/** Only the dimension in hand turns by the wheel: the page scrolls over all others. */
function wheelOnHandle(event, handle, side, name) {
  if (document.activeElement !== handle || event.ctrlKey) return;
  event.preventDefault();
  wheeled += Math.max(-1, Math.min(1, -event.deltaY / 60));
  const whole = Math.trunc(wheeled);
  if (!whole) return;
  wheeled -= whole;
  turnBy(side, name, whole * (event.shiftKey ? steps.fine : steps.plain));
}

/** One step on the ruled marks: from 18.2 by 0.5 to 18.5, not to 18.7. */
function turnBy(side, name, step) {
  const value = valueOf(side, name), by = Math.abs(step), now = standing(value) / by;
  const next = step > 0 ? Math.floor(now + 1e-6) + 1 : Math.ceil(now - 1e-6) - 1;
  turnTo(side, name, next * by);
}

let lastTurn = { side: null, name: null, at: 0 };

/** Asks another number of a value; its words, its ruler and the drawing follow. */
function turnTo(side, name, to) {
  const value = valueOf(side, name);
  const kept = to === null ? null : Math.round(Math.min(Math.max(to, value.range[0]), value.range[1]) * 100) / 100;
  if (kept === value.asked || (kept !== null && Number.isNaN(kept))) return;
  const at = performance.now();
  const more = lastTurn.side === side && lastTurn.name === name && at - lastTurn.at < oneGesture;
  lastTurn = { side, name, at };
  if (kept !== null) {
    value.asked = kept;
    tellHandles(side);
    showStrip();
  }
  ask({ ask: 'change', side: footName(side), value: name, to: kept, more });
}

/** What is still to be asked, the next first; of turns of one dimension only the last one. */
const asks = [];
let asking = false;
/** Milliseconds from asking to the drawn surface, for whoever measures. */
const trips = [];

function ask(what) {
  const last = asks[asks.length - 1];
  if (last && what.more && last.ask === 'change' && last.side === what.side && last.value === what.value) {
    what.more = last.more;
    asks[asks.length - 1] = what;
  } else asks.push(what);
  if (!asking) askNext();
}

async function askNext() {
  asking = true;
  while (asks.length) {
    const what = asks.shift(), began = performance.now();
    const answer = await post('ask', { have, ask: what });
    if (answer.error) say(answer.error, true);
    else if (what.ask !== 'change') say(what.ask === 'save' ? 'Saved as revision ' + answer.revision + '.' : '');
    if (answer.feet) {
      take(answer);
      if (what.ask === 'change') trips.push(performance.now() - began);
      if (what.ask === 'save') afterSave();
    } else await refresh();
  }
  asking = false;
  wantDrawing();
}

/** What the desk is, after something asked was refused. */
async function refresh() {
  const now = await post('wait', { have, news: 0 });
  if (now.feet) take(now, true);
}

async function post(word, what) {
  try {
    const answer = await fetch(word, { method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify(what), cache: 'no-store', redirect: 'error' });
    const told = await answer.json();
    gone(false);
    return told;
  } catch (fault) {
    gone(true);
    return { error: 'The desk does not answer: has it been ended in its terminal? Nothing was saved by this.' };
  }
}

/** Takes what the desk tells, unless something newer was told. */
function take(next, again) {
  if (next.news <= state.news && !again) return;
  if (next.page !== state.page) {
    location.reload();
    return;
  }
  const revised = next.revision !== state.revision, notes = state.words.notes;
  state = next;
  for (const shape of next.shapes) feet[shape.side].reshape(shape, data);
  for (const foot of next.feet) have[foot.side] = foot.shape;
  // What is still to be asked stands already.
  for (const what of asks) if (what.ask === 'change' && what.to !== null) valueOf(what.side === 'left' ? 'L' : 'R', what.value).asked = what.to;
  document.getElementById('values').innerHTML = next.words.values;
  document.getElementById('notes').innerHTML = next.words.notes;
  document.getElementById('checksum').textContent = next.words.checksum;
  document.getElementById('revision').textContent = next.revision;
  const changed = next.shapes.map((shape) => shape.side);
  if (revised) for (const side of sides) saved[side].reshape(feet[side], data);
  for (const side of sides) tellHandles(side);
  for (const side of changed) drawNow(side, true);
  if (revised) for (const side of sides) drawGhosts(side);
  tableButtons();
  if (held) showStrip();
  showSaving();
  showReach();
  if (point) movePoint(point.side, point.x, point.y);
  moveFree(freeAt);
  changed.forEach(wantMesh);
  if (changed.length || notes !== next.words.notes || revised) undrawn = true;
  if (!asking) wantDrawing();
}

/** Whether the drawing is not of the present state. */
let undrawn = false;
let drawing = false;

let pause = 0;

/** Has the drawing drawn anew when nothing has been turned for a moment. */
function wantDrawing() {
  clearTimeout(pause);
  if (undrawn) pause = setTimeout(redrawAll, 80);
}

async function redrawAll() {
  if (!undrawn || drawing || asking) return;
  drawing = true;
  undrawn = false;
  const drawn = await post('drawing', {});
  drawing = false;
  if (drawn.feet && !asking) showDrawing(drawn);
  else if (drawn.feet) undrawn = true;
  wantDrawing();
}

const sizes = new CSSStyleSheet();
document.adoptedStyleSheets = [sizes];

function showDrawing(drawn) {
  sizes.replaceSync(drawn.rules);
  for (const foot of drawn.feet) {
    Object.assign(feet[foot.side], foot.places);
    put(plans[foot.side].box, foot.plan);
    attachPlan(foot.side);
    for (const [letter, svg] of foot.cuts) {
      const section = sections.find((section) => section.side === foot.side && section.letter === letter);
      put(section.box, svg);
      attachSection(section);
    }
  }
  document.getElementById('still').innerHTML = drawn.pictorial;
  document.getElementById('bar').innerHTML = drawn.check_bar;
  if (drawn.apart) document.getElementById('apart').innerHTML = drawn.apart;
  for (const scale of document.querySelectorAll('.scale')) scale.textContent = drawn.scale;
  for (const side of sides) {
    placeHandles(side);
    tellHandles(side);
    drawGhosts(side);
  }
  moveFree(freeAt);
  if (point) movePoint(point.side, point.x, point.y);
}

/** Another picture in place of the one in a box. */
function put(box, svg) {
  const made = document.createElement('template');
  made.innerHTML = svg;
  box.querySelector('svg').replaceWith(made.content.firstElementChild);
}

const meshes = new Set();

/** The piece in the round is formed anew a moment later: its triangles take longer than a turn may. */
function wantMesh(side) {
  if (!meshes.size) setTimeout(() => {
    const all = Array.from(meshes);
    meshes.clear();
    all.forEach(remesh);
  }, 60);
  meshes.add(side);
}

/** The table's asked numbers lead to their dimensions. */
function tableButtons() {
  for (const row of document.querySelectorAll('#values tbody:not(.boot) tr')) {
    const name = row.querySelector('th').textContent.trim().replace(/ /g, '_');
    row.querySelectorAll('td.from').forEach((cell, k) => {
      const side = state.feet[k].side, value = valueOf(side, name);
      if (!value || !value.open) return;
      const button = document.createElement('button');
      button.type = 'button';
      button.className = value.asked === value.saved ? 'asked' : 'asked changed';
      button.textContent = cell.textContent;
      button.setAttribute('aria-label', words(name) + ', ' + footName(side) + ', ' + (value.asked === null ? 'not asked' : told(value.asked)) + ': change');
      button.addEventListener('click', () => {
        hold(side, name);
        handles[side][name].scrollIntoView({ block: 'nearest' });
        handles[side][name].focus();
      });
      cell.replaceChildren(button);
    });
  }
}

stripField.addEventListener('change', () => {
  if (held && stripField.value !== '') turnTo(held.side, held.name, Number(stripField.value));
});
stripField.addEventListener('keydown', (event) => {
  if (event.key === 'ArrowUp' || event.key === 'ArrowDown') {
    event.preventDefault();
    turnBy(held.side, held.name, (event.key === 'ArrowUp' ? 1 : -1) * (event.shiftKey ? steps.fine : steps.plain));
    stripField.value = Math.round(standing(valueOf(held.side, held.name)) * 100) / 100;
  } else if (event.key === 'Enter') {
    event.preventDefault();
    if (stripField.value !== '') turnTo(held.side, held.name, Number(stripField.value));
    handles[held.side][held.name].focus();
  } else if (event.key === 'Escape') handles[held.side][held.name].focus();
});
for (const [id, sign] of [['strip-less', -1], ['strip-more', 1]]) {
  document.getElementById(id).addEventListener('click', () => turnBy(held.side, held.name, sign * steps.plain));
}
document.getElementById('strip-rule').addEventListener('click', () => turnTo(held.side, held.name, null));
document.getElementById('strip-close').addEventListener('click', () => {
  const { side, name } = held;
  handles[side][name].focus();
  hold(null);
});
stripRuler.addEventListener('pointerdown', (event) => {
  stripRuler.setPointerCapture(event.pointerId);
  const slide = (move) => {
    const p = onPaper(stripRuler, move);
    if (p) turnTo(held.side, held.name, Math.round(fromRuler(valueOf(held.side, held.name), p.x) / steps.fine / 5) * steps.fine * 5);
  };
  const end = () => stripRuler.removeEventListener('pointermove', slide);
  slide(event);
  stripRuler.addEventListener('pointermove', slide);
  stripRuler.addEventListener('pointerup', end, { once: true });
  stripRuler.addEventListener('pointercancel', end, { once: true });
});
document.addEventListener('focusin', (event) => {
  if (held && !strip.contains(event.target) && !event.target.classList.contains('handle')) hold(null);
});
document.addEventListener('pointerdown', (event) => {
  // By its path: what was pressed in the ruler may have been drawn anew by now.
  if (held && !event.composedPath().includes(strip) && !event.target.classList.contains('handle')) hold(null);
});

for (const side of sides) {
  placeHandles(side);
  tellHandles(side);
  drawGhosts(side);
}
tableButtons();
new ResizeObserver(() => {
  sides.forEach(placeHandles);
  if (held) placeStrip();
}).observe(document.getElementById('plans'));
