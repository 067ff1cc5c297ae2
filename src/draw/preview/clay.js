// The view in the round: turn, zoom, light, standard views; by pointer, touch and keys. Falls back to
// the drawing that stands in the page where there is no WebGL 2.

const stage = document.getElementById('stage');
const canvas = document.getElementById('clay');
const round = document.getElementById('round');
const lightButton = document.getElementById('light');
/** Yaw and tilt in degrees of each view: 0 looks straight down, 90 along the board from the heel. */
const views = { 0: [-24, 52], 1: [0, 0], 2: [180, 180], 3: [-90, 90], 4: [90, 90], 5: [0, 90], 6: [180, 90] };
const look = { yaw: -24, tilt: 52, zoom: 1, panX: 0, panY: 0, light: [-0.55, -0.3, 0.78], show: sides.length > 1 ? 'LR' : sides[0] };
/** What is played: set by play.js. */
let played = null;
let card = null;
let asked = false;
/** How the view was drawn last. */
let seen = null;

/** The drawing stands on the screen, as far as the browser tells; at the latest after a moment. */
const painted = new Promise((go) => {
  setTimeout(go, 700);
  if (!window.PerformanceObserver || !(PerformanceObserver.supportedEntryTypes || []).includes('paint')) return;
  new PerformanceObserver((list, observer) => {
    observer.disconnect();
    go();
  }).observe({ type: 'paint', buffered: true });
});

/** The view is set up after that: its triangles and programs take a while. Told whether there is one. */
const ready = painted.then(() => {
  try {
    card = setUpCard();
  } catch (fault) {
    card = null;
  }
  if (card) showCard();
  return card !== null;
});

function showCard() {
  // A tablet may take the card back: the drawing that stands below is shown again.
  canvas.addEventListener('webglcontextlost', () => {
    card = null;
    canvas.hidden = true;
    stage.classList.remove('drawn');
  });
  stage.classList.add('drawn');
  canvas.hidden = false;
  document.getElementById('views').hidden = false;
  setUpHands();
  new ResizeObserver(redraw).observe(stage);
  window.matchMedia('(prefers-color-scheme: dark)').addEventListener('change', redraw);
  followers.push(() => seen && placePin(...seen));
  redraw();
}

function setUpCard() {
  const gl = canvas.getContext('webgl2', { antialias: true, preserveDrawingBuffer: false });
  if (!gl) return null;
  const made = {
    gl,
    clay: cardProgram(gl, claySource.vertex, claySource.fragment),
    board: cardProgram(gl, claySource.boardVertex, claySource.boardFragment),
    line: cardProgram(gl, claySource.lineVertex, claySource.lineFragment),
    feet: {}
  };
  for (const side of sides) {
    const mesh = footMesh(feet[side]);
    made.feet[side] = cardMesh(gl, mesh.values, mesh.indices, 9);
  }
  const far = 2000;
  made.ground = cardMesh(gl, new Float32Array([-far, -far, -0.08, far, -far, -0.08, -far, far, -0.08, far, far, -0.08]), new Uint16Array([0, 1, 2, 2, 1, 3]), 3);
  return made;
}

/** The mesh of a foot whose shape is another one now. */
function remesh(side) {
  if (!card) return;
  const { gl } = card, old = card.feet[side], mesh = footMesh(feet[side]);
  gl.deleteVertexArray(old.array);
  gl.deleteBuffer(old.buffer);
  card.feet[side] = cardMesh(gl, mesh.values, mesh.indices, 9);
  redraw();
}

/** The matrix (columns first) that lays a foot beside its neighbour, medial edges facing. */
function bodyOf(side) {
  const foot = feet[side], both = look.show === 'LR' && !played;
  const middle = (foot.box.x0 + foot.box.x1) / 2;
  const shift = both ? -foot.medial * ((foot.box.x1 - middle) + 9) : 0;
  return [foot.medial, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, shift - foot.medial * middle, -(foot.box.y0 + foot.box.y1) / 2, 0, 1];
}

function shown() {
  if (played) return [played.side];
  return sides.filter((side) => look.show.includes(side));
}

/** Parallel projection, as on every drawing: turned about the upright axis, then tilted. */
function cameraMatrix(width, height) {
  const yaw = (look.yaw * Math.PI) / 180, tilt = (look.tilt * Math.PI) / 180;
  const cy = Math.cos(yaw), sy = Math.sin(yaw), ct = Math.cos(tilt), st = Math.sin(tilt);
  // Rows: right, up and toward the eye.
  const right = [cy, -sy, 0], up = [sy * ct, cy * ct, st], eye = [-sy * st, -cy * st, ct];
  const fit = fitted(right, up, width / height);
  const sx = (2 * look.zoom * fit) / (width / height), s = 2 * look.zoom * fit;
  const deep = 1 / 1500;
  const lift = 10;
  return {
    right, up, eye, scale: (s * height) / 2,
    matrix: [
      sx * right[0], s * up[0], -deep * eye[0], 0,
      sx * right[1], s * up[1], -deep * eye[1], 0,
      sx * right[2], s * up[2], -deep * eye[2], 0,
      look.panX * 2 - sx * lift * right[2], look.panY * 2 - s * lift * up[2], 0, 1
    ]
  };
}

/** Scale at which everything shown fits a stage one unit high. */
function fitted(right, up, aspect) {
  const extent = shown().map((side) => {
    const box = feet[side].box, blank = feet[side].blank;
    if (!played) return [(box.x1 - box.x0) / 2, (box.y1 - box.y0) / 2];
    // The blank is not centred on its piece.
    const x = (box.x0 + box.x1) / 2, y = (box.y0 + box.y1) / 2;
    return [Math.max(blank.x1 - x, x - blank.x0), Math.max(blank.y1 - y, y - blank.y0)];
  });
  const x = look.show === 'LR' && !played ? extent.reduce((sum, e) => sum + 2 * e[0], 18) / 2 : extent[0][0];
  const y = Math.max(...extent.map((e) => e[1]));
  const reach = (axis) => Math.abs(axis[0]) * x + Math.abs(axis[1]) * y + Math.abs(axis[2]) * (played ? 30 : 14);
  const wide = reach(right), tall = reach(up);
  return 0.47 / Math.max(tall, wide / aspect);
}

function redraw() {
  if (!card || asked) return;
  asked = true;
  requestAnimationFrame(() => {
    asked = false;
    if (card) draw();
  });
}

function colourOf(name) {
  const hex = getComputedStyle(document.documentElement).getPropertyValue(name).trim().slice(1);
  const full = hex.length === 3 ? hex.replace(/./g, '$&$&') : hex;
  return [0, 2, 4].map((k) => parseInt(full.slice(k, k + 2), 16) / 255);
}

function draw() {
  const { gl } = card;
  const ratio = Math.min(window.devicePixelRatio || 1, 2);
  const width = Math.max(1, Math.round(canvas.clientWidth * ratio)), height = Math.max(1, Math.round(canvas.clientHeight * ratio));
  if (canvas.width !== width || canvas.height !== height) {
    canvas.width = width;
    canvas.height = height;
  }
  const camera = cameraMatrix(width, height);
  const paper = colourOf('--board'), ink = colourOf('--ink'), signal = colourOf('--signal');
  const dark = paper[0] < 0.5;
  const clay = dark ? [0.66, 0.7, 0.74] : [0.93, 0.89, 0.81];
  const lines = dark ? [0.05, 0.08, 0.12] : ink;
  gl.viewport(0, 0, width, height);
  gl.clearColor(paper[0], paper[1], paper[2], 1);
  gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
  gl.enable(gl.DEPTH_TEST);
  gl.enable(gl.BLEND);
  gl.blendFunc(gl.SRC_ALPHA, gl.ONE_MINUS_SRC_ALPHA);
  const { program, uniforms } = card.clay;
  gl.useProgram(program);
  gl.uniformMatrix4fv(uniforms.camera, false, camera.matrix);
  gl.uniform3fv(uniforms.clay, clay);
  gl.uniform3fv(uniforms.ink, lines);
  gl.uniform3fv(uniforms.paper, paper);
  gl.uniform3fv(uniforms.eye, camera.eye);
  const above = camera.eye[2] > 0.02;
  for (const shade of above ? [1, 0] : [0]) {
    gl.uniform1f(uniforms.shade, shade);
    if (shade && dark) gl.uniform3fv(uniforms.ink, [0, 0, 0]);
    else gl.uniform3fv(uniforms.ink, lines);
    // Seen from below, the light comes from below too.
    const light = above ? look.light : [look.light[0], look.light[1], -look.light[2]];
    gl.uniform3fv(uniforms.light, light);
    gl.uniform1f(uniforms.lines, 1);
    for (const side of shown()) {
      gl.uniformMatrix4fv(uniforms.body, false, bodyOf(side));
      if (played) drawPlayed(gl, uniforms);
      else drawMesh(gl, card.feet[side], uniforms, 0);
    }
  }
  if (above) drawGround(gl, camera, ink);
  if (played) drawPath(gl, camera, ink, signal);
  seen = [camera, width / ratio, height / ratio];
  placePin(...seen);
}

function drawMesh(gl, mesh, uniforms, facets) {
  gl.uniform1f(uniforms.facets, facets);
  gl.bindVertexArray(mesh.array);
  gl.drawElements(gl.TRIANGLES, mesh.count, gl.UNSIGNED_INT, 0);
}

function drawGround(gl, camera, ink) {
  gl.useProgram(card.board.program);
  gl.uniformMatrix4fv(card.board.uniforms.camera, false, camera.matrix);
  gl.uniform3fv(card.board.uniforms.ink, ink);
  gl.uniform3fv(card.board.uniforms.centre, [0, 0, 0]);
  gl.uniform1f(card.board.uniforms.reach, 330);
  gl.depthMask(false);
  gl.bindVertexArray(card.ground.array);
  gl.drawElements(gl.TRIANGLES, card.ground.count, gl.UNSIGNED_SHORT, 0);
  gl.depthMask(true);
}

/** A ring at the point that was read last. */
const pin = document.createElement('div');
pin.className = 'pin';
pin.hidden = true;
stage.append(pin);

function placePin(camera, width, height) {
  const here = point && !played && shown().includes(point.side);
  pin.hidden = !here;
  if (!here) return;
  const body = bodyOf(point.side);
  const p = [body[0] * point.x + body[12], point.y + body[13], point.top];
  const m = camera.matrix;
  const on = (row) => m[row] * p[0] + m[4 + row] * p[1] + m[8 + row] * p[2] + m[12 + row];
  pin.style.left = ((on(0) + 1) / 2) * width + 'px';
  pin.style.top = ((1 - on(1)) / 2) * height + 'px';
}

/** Pointer, touch and keys. */
function setUpHands() {
  const fingers = new Map();
  let apart = 0;
  canvas.addEventListener('pointerdown', (event) => {
    canvas.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, [event.clientX, event.clientY]);
    apart = spread(fingers);
  });
  canvas.addEventListener('pointermove', (event) => {
    const before = fingers.get(event.pointerId);
    if (!before) return;
    const dx = event.clientX - before[0], dy = event.clientY - before[1];
    fingers.set(event.pointerId, [event.clientX, event.clientY]);
    if (fingers.size > 1) {
      const now = spread(fingers);
      if (apart > 0) zoom(now / apart);
      apart = now;
      pan(dx / 2, dy / 2);
    } else if (event.shiftKey || lightButton.getAttribute('aria-pressed') === 'true') moveLight(dx, dy);
    else if (event.buttons === 2 || event.buttons === 4) pan(dx, dy);
    else turn(dx * 0.4, dy * 0.4);
  });
  const lift = (event) => {
    fingers.delete(event.pointerId);
    apart = spread(fingers);
  };
  canvas.addEventListener('pointerup', lift);
  canvas.addEventListener('pointercancel', lift);
  canvas.addEventListener('contextmenu', (event) => event.preventDefault());
  canvas.addEventListener('wheel', (event) => {
    event.preventDefault();
    zoom(Math.exp(-event.deltaY * 0.0015));
  }, { passive: false });
  canvas.addEventListener('keydown', keyOnStage);
  for (const button of document.querySelectorAll('[data-view]')) button.addEventListener('click', () => goTo(views[button.dataset.view], button.dataset.view));
  for (const button of document.querySelectorAll('[data-show]')) button.addEventListener('click', () => show(button.dataset.show));
  lightButton.addEventListener('click', () => lightButton.setAttribute('aria-pressed', String(lightButton.getAttribute('aria-pressed') !== 'true')));
  document.getElementById('enlarge').addEventListener('click', () => enlarge());
  round.addEventListener('keydown', (event) => event.key === 'Escape' && round.classList.contains('large') && enlarge());
}

function spread(fingers) {
  const [a, b] = Array.from(fingers.values());
  return b ? Math.hypot(a[0] - b[0], a[1] - b[1]) : 0;
}

function keyOnStage(event) {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  const arrow = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
  if (arrow && event.shiftKey) moveLight(arrow[0] * 14, arrow[1] * 14);
  else if (arrow) turn(arrow[0] * 5, arrow[1] * 5);
  else if (event.key === '+' || event.key === '=') zoom(1.15);
  else if (event.key === '-') zoom(1 / 1.15);
  else if (views[event.key]) goTo(views[event.key], event.key);
  else if (event.key === 'f' || event.key === 'F') enlarge();
  else return;
  event.preventDefault();
}

function turn(dx, dy) {
  look.yaw = ((look.yaw + dx + 540) % 360) - 180;
  look.tilt = Math.min(180, Math.max(0, look.tilt - dy));
  redraw();
}

function zoom(by) {
  look.zoom = Math.min(12, Math.max(0.5, look.zoom * by));
  redraw();
}

function pan(dx, dy) {
  look.panX += dx / canvas.clientWidth;
  look.panY -= dy / canvas.clientHeight;
  redraw();
}

/** The light goes where the pointer pulls it, never below the board. */
function moveLight(dx, dy) {
  const l = look.light;
  const x = Math.max(-0.95, Math.min(0.95, l[0] + dx * 0.006)), y = Math.max(-0.95, Math.min(0.95, l[1] - dy * 0.006));
  const flat = Math.min(0.97, Math.hypot(x, y));
  const k = Math.hypot(x, y) > 0.97 ? 0.97 / Math.hypot(x, y) : 1;
  look.light = [x * k, y * k, Math.sqrt(1 - flat * flat)];
  redraw();
}

function show(which) {
  look.show = which;
  for (const button of document.querySelectorAll('[data-show]')) button.setAttribute('aria-pressed', String(button.dataset.show === which));
  redraw();
}

/** Turns to a standard view, in 150 ms or at once. From the side, the other foot would hide it. */
function goTo(view, key) {
  if ((key === '3' || key === '4') && look.show === 'LR') show(point ? point.side : sides[0]);
  // Left and right feet show the same edge from opposite sides.
  const mirror = (key === '3' || key === '4') && feet[look.show.slice(-1)].medial < 0 ? -1 : 1;
  const from = [look.yaw, look.tilt], to = [view[0] * mirror, view[1]];
  const way = ((to[0] - from[0] + 540) % 360) - 180;
  look.panX = look.panY = 0;
  look.zoom = 1;
  if (still.matches) {
    [look.yaw, look.tilt] = to;
    redraw();
    return;
  }
  const began = performance.now();
  const step = (now) => {
    const t = Math.min(1, Math.max(0, (now - began) / 150)), s = t * t * (3 - 2 * t);
    look.yaw = t < 1 ? from[0] + way * s : to[0];
    look.tilt = from[1] + (to[1] - from[1]) * s;
    redraw();
    if (t < 1) requestAnimationFrame(step);
  };
  requestAnimationFrame(step);
}

/** The view fills the window, and the rest of the sheet waits; again, and it is one view among others. */
function enlarge() {
  const large = round.classList.toggle('large');
  const button = document.getElementById('enlarge');
  button.setAttribute('aria-pressed', String(large));
  document.body.classList.toggle('waiting', large);
  for (const other of document.querySelectorAll('.sheet section, .sheet footer')) if (other !== round) other.inert = large;
  redraw();
}
