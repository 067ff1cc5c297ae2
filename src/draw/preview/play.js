// Programs played over the piece as they carve it. Times are the planned ones.

const player = document.getElementById('player');
const chooser = document.getElementById('program');
const playButton = document.getElementById('play');
const scrub = document.getElementById('scrub');
const clock = document.getElementById('clock');
/** Planned seconds in a second of playing. */
const quicker = 30;

ready.then((there) => there && player && setUpPlayer());

function setUpPlayer() {
  player.hidden = false;
  for (const side of sides) {
    if (!feet[side].programs.length) continue;
    const group = document.createElement('optgroup');
    group.label = sideWords(side) + ' foot';
    feet[side].programs.forEach((program, k) => {
      const option = document.createElement('option');
      option.value = side + ':' + k;
      option.textContent = side + ' ' + program.title + ', ' + (program.dry ? 'in air' : program.cutter) + ', ' + minutes(program.seconds);
      group.append(option);
    });
    chooser.append(group);
  }
  chooser.addEventListener('change', () => choose(chooser.value));
  playButton.addEventListener('click', () => setPlaying(!(played && played.running)));
  scrub.addEventListener('input', () => {
    setPlaying(false);
    playTo((Number(scrub.value) / 1000) * played.path.seconds);
  });
}

function minutes(seconds) {
  const whole = Math.round(seconds);
  return Math.floor(whole / 60) + ':' + String(whole % 60).padStart(2, '0');
}

/** Shows one program from its beginning, over what those before it have left. */
function choose(value) {
  setPlaying(false);
  const none = value === '';
  for (const control of [playButton, scrub]) control.disabled = none;
  if (none) {
    played = null;
    clock.textContent = '0:00';
    redraw();
    return;
  }
  const side = value[0], index = Number(value.slice(2));
  const foot = feet[side];
  foot.paths = foot.paths || foot.programs.map((program) => new Path(program, data.place_steps));
  const before = new Stock(foot);
  foot.paths.slice(0, index).forEach((path) => before.carve(path, 0, path.seconds));
  const path = foot.paths[index];
  played = { side, path, before, stock: before.copy(), time: 0, running: false, mesh: null, lines: pathLines(path) };
  show(side);
  // At first the finished piece of this program, so that there is something to see.
  playTo(path.seconds);
}

function setPlaying(on) {
  if (!played) return;
  played.running = on;
  playButton.textContent = on ? 'pause' : 'play';
  if (!on) return;
  if (played.time >= played.path.seconds) playTo(0);
  let last = performance.now();
  const step = (now) => {
    if (!played || !played.running) return;
    playTo(Math.min(played.path.seconds, played.time + ((now - last) / 1000) * quicker));
    last = now;
    if (played.time < played.path.seconds) requestAnimationFrame(step);
    else setPlaying(false);
  };
  requestAnimationFrame(step);
}

/** The piece as it is at a time of the program. */
function playTo(time) {
  if (time < played.time) {
    played.stock = played.before.copy();
    played.stock.carve(played.path, 0, time);
  } else played.stock.carve(played.path, played.time, time);
  played.time = time;
  played.stale = true;
  scrub.value = Math.round((1000 * time) / Math.max(played.path.seconds, 1e-9));
  scrub.setAttribute('aria-valuetext', minutes(time) + ' of ' + minutes(played.path.seconds));
  clock.textContent = minutes(time) + ' / ' + minutes(played.path.seconds);
  redraw();
}

/** Lines of a path: place, then time, whether rapid, and length so far for the dashes. */
function pathLines(path) {
  const values = new Float32Array(path.count * 12);
  let along = 0;
  for (let k = 1; k <= path.count; k++) {
    const a = 3 * (k - 1), b = 3 * k, at = 12 * (k - 1);
    const p = path.places;
    const length = Math.hypot(p[b] - p[a], p[b + 1] - p[a + 1], p[b + 2] - p[a + 2]);
    values.set([p[a], p[a + 1], p[a + 2], path.times[k - 1], path.rapid[k], along], at);
    along += length;
    values.set([p[b], p[b + 1], p[b + 2], path.times[k], path.rapid[k], along], at + 6);
  }
  return cardMesh(card.gl, values, null, 6);
}

/** The stock as triangles: a lattice above, one below, and a skirt between them. */
function stockMesh(gl, stock, old) {
  const { nx, ny } = stock;
  const values = new Float32Array(2 * nx * ny * 9);
  for (let f = 0; f < 2; f++) {
    const z = f ? stock.under : stock.top;
    for (let k = 0; k < nx * ny; k++) {
      const at = 9 * (f * nx * ny + k);
      const height = f ? Math.min(z[k], stock.top[k]) : z[k];
      values[at] = stock.x0 + (k % nx) * stock.step;
      values[at + 1] = stock.y0 + Math.floor(k / nx) * stock.step;
      values[at + 2] = height;
      values[at + 6] = height;
      values[at + 7] = 0.55;
    }
  }
  if (old) {
    gl.bindBuffer(gl.ARRAY_BUFFER, old.buffer);
    gl.bufferSubData(gl.ARRAY_BUFFER, 0, values);
    return old;
  }
  const indices = [];
  for (let f = 0; f < 2; f++) {
    for (let j = 0; j + 1 < ny; j++) {
      for (let i = 0; i + 1 < nx; i++) {
        const k = f * nx * ny + j * nx + i;
        indices.push(k, k + 1, k + nx, k + nx, k + 1, k + nx + 1);
      }
    }
  }
  const skirt = (a, b) => indices.push(a, b, a + nx * ny, a + nx * ny, b, b + nx * ny);
  for (let i = 0; i + 1 < nx; i++) {
    skirt(i, i + 1);
    skirt((ny - 1) * nx + i, (ny - 1) * nx + i + 1);
  }
  for (let j = 0; j + 1 < ny; j++) {
    skirt(j * nx, (j + 1) * nx);
    skirt(j * nx + nx - 1, (j + 1) * nx + nx - 1);
  }
  return cardMesh(gl, values, new Uint32Array(indices), 9);
}

function drawPlayed(gl, uniforms) {
  if (played.stale || !played.mesh) {
    played.mesh = stockMesh(gl, played.stock, played.mesh);
    played.stale = false;
  }
  drawMesh(gl, played.mesh, uniforms, 1);
}

function drawPath(gl, camera, ink, signal) {
  gl.useProgram(card.line.program);
  const { uniforms } = card.line;
  gl.uniformMatrix4fv(uniforms.camera, false, camera.matrix);
  gl.uniformMatrix4fv(uniforms.body, false, bodyOf(played.side));
  gl.uniform3fv(uniforms.ink, ink);
  gl.uniform3fv(uniforms.signal, signal);
  gl.uniform1f(uniforms.now, played.time);
  gl.bindVertexArray(played.lines.array);
  gl.drawArrays(gl.LINES, 0, played.lines.count);
  drawCutter(gl, camera, ink);
}

/** The cutter as rings of its own profile, at the tip's place. */
function drawCutter(gl, camera, ink) {
  const { path } = played;
  const tip = path.tipAt(played.time);
  const values = [];
  const way = path.under ? -1 : 1;
  const ring = (radius, lift) => {
    for (let k = 0; k < 32; k++) {
      for (const turn of [k, k + 1]) {
        const angle = (turn * Math.PI) / 16;
        values.push(tip[0] + radius * Math.cos(angle), tip[1] + radius * Math.sin(angle), tip[2] + way * lift, 0, 0, 0);
      }
    }
  };
  const last = path.profile.length - 1;
  [0.35, 0.7, 0.9, 1].forEach((share) => ring(path.radius * share, path.profile[Math.round(share * last)]));
  [8, 16, 24].forEach((lift) => ring(path.radius, path.profile[last] + lift));
  for (let k = 0; k < 8; k++) {
    const angle = (k * Math.PI) / 4, x = tip[0] + path.radius * Math.cos(angle), y = tip[1] + path.radius * Math.sin(angle);
    values.push(x, y, tip[2] + way * path.profile[last], 0, 0, 0, x, y, tip[2] + way * (path.profile[last] + 24), 0, 0, 0);
  }
  const mesh = cardMesh(gl, new Float32Array(values), null, 6);
  gl.uniform3fv(card.line.uniforms.signal, ink);
  gl.bindVertexArray(mesh.array);
  gl.drawArrays(gl.LINES, 0, mesh.count);
  gl.deleteBuffer(mesh.buffer);
  gl.deleteVertexArray(mesh.array);
}
