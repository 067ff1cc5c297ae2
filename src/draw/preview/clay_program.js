// What the graphics card is told (WebGL 2): matt clay with contour lines, its shadow on a ruled
// board, and lines of paths. Knows nothing of pointers and views.

const claySource = {
  vertex: `#version 300 es
  in vec3 place; in vec3 normal; in vec3 heights;
  uniform mat4 camera; uniform mat4 body; uniform vec3 light; uniform float shade;
  out vec3 at; out vec3 facing; out vec3 level;
  void main() {
    vec4 world = body * vec4(place, 1.0);
    // A shadow is the same piece, laid on the board along the light.
    if (shade > 0.5) world.xyz = vec3(world.xy - light.xy / max(light.z, 0.25) * max(world.z, 0.0), -0.04);
    at = world.xyz; level = heights; facing = mat3(body) * normal;
    gl_Position = camera * world;
  }`,
  fragment: `#version 300 es
  precision highp float;
  in vec3 at; in vec3 facing; in vec3 level;
  uniform vec3 clay; uniform vec3 ink; uniform vec3 paper; uniform vec3 light; uniform vec3 eye;
  uniform float shade; uniform float facets; uniform float lines;
  out vec4 colour;
  // Dark where z is near a multiple of the pitch, one pixel wide at any scale.
  float line(float z, float pitch, float width) {
    float u = z / pitch; float d = abs(fract(u - 0.5) - 0.5); float w = max(fwidth(u), 1e-5);
    // None where lines would run together, and none on a plain that lies at a whole height.
    return (1.0 - smoothstep(0.0, width * w, d)) * (1.0 - smoothstep(0.25, 0.5, w)) * smoothstep(1e-4, 1e-3, w);
  }
  void main() {
    if (shade > 0.5) { colour = vec4(mix(paper, ink, 0.16), 1.0); return; }
    vec3 n = facets > 0.5 ? normalize(cross(dFdx(at), dFdy(at))) : normalize(facing);
    if (dot(n, eye) < 0.0) n = -n;
    // Lambert, softened as a matt surface is (wrapped by a quarter), and a sky that is lighter than the board.
    float lit = max((dot(n, normalize(light)) + 0.25) / 1.25, 0.0);
    float sky = 0.5 + 0.5 * n.z;
    vec3 tone = clay * (0.36 + 0.16 * sky + 0.56 * lit);
    // Edges that turn away are drawn a little darker, as a pencil would.
    tone *= 1.0 - 0.25 * pow(1.0 - abs(dot(n, eye)), 3.0);
    float rule = lines * level.y * max(0.62 * line(level.x, 1.0, 1.0), 0.9 * line(level.x, 5.0, 1.5));
    // On the walls of a carved blank lines would only crowd.
    if (facets > 0.5) rule *= smoothstep(0.2, 0.5, abs(n.z));
    colour = vec4(mix(tone, ink, rule), 1.0);
  }`,
  boardVertex: `#version 300 es
  in vec3 place; uniform mat4 camera; out vec3 at;
  void main() { at = place; gl_Position = camera * vec4(place, 1.0); }`,
  boardFragment: `#version 300 es
  precision highp float;
  in vec3 at; uniform vec3 ink; uniform vec3 centre; uniform float reach; out vec4 colour;
  float line(float u) { float d = abs(fract(u - 0.5) - 0.5); float w = max(fwidth(u), 1e-5); return w > 0.35 ? 0.0 : 1.0 - smoothstep(0.0, w, d); }
  void main() {
    float fade = 1.0 - smoothstep(0.55, 1.0, length(at.xy - centre.xy) / reach);
    float rule = max(max(line(at.x / 10.0), line(at.y / 10.0)) * 0.22, max(line(at.x / 50.0), line(at.y / 50.0)) * 0.4);
    colour = vec4(ink, rule * fade);
  }`,
  lineVertex: `#version 300 es
  in vec3 place; in vec3 told;
  uniform mat4 camera; uniform mat4 body; out vec3 says;
  void main() { says = told; gl_Position = camera * body * vec4(place, 1.0); }`,
  lineFragment: `#version 300 es
  precision highp float;
  in vec3 says; uniform vec3 ink; uniform vec3 signal; uniform float now; out vec4 colour;
  void main() {
    bool rapid = says.y > 0.5;
    if (rapid && fract(says.z / 6.0) > 0.5) discard;
    bool done = says.x <= now;
    if (!done && !rapid) { colour = vec4(ink, 0.10); return; }
    colour = rapid ? vec4(ink, done ? 0.7 : 0.25) : vec4(signal, 0.85);
  }`
};

/** A program of two shaders, with its places to put things. */
function cardProgram(gl, vertex, fragment) {
  const program = gl.createProgram();
  for (const [kind, text] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]]) {
    const shader = gl.createShader(kind);
    gl.shaderSource(shader, text);
    gl.compileShader(shader);
    gl.attachShader(program, shader);
  }
  ['place', 'normal', 'heights'].forEach((name, k) => gl.bindAttribLocation(program, k, name));
  gl.bindAttribLocation(program, 1, 'told');
  gl.linkProgram(program);
  if (!gl.getProgramParameter(program, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(program) || 'no program');
  const uniforms = {};
  const count = gl.getProgramParameter(program, gl.ACTIVE_UNIFORMS);
  for (let k = 0; k < count; k++) {
    const name = gl.getActiveUniform(program, k).name;
    uniforms[name] = gl.getUniformLocation(program, name);
  }
  return { program, uniforms };
}

/** Vertices in one buffer (place, normal, height with weight of its lines), and their triangles. */
function cardMesh(gl, values, indices, width) {
  const array = gl.createVertexArray();
  gl.bindVertexArray(array);
  const buffer = gl.createBuffer();
  gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
  gl.bufferData(gl.ARRAY_BUFFER, values, gl.DYNAMIC_DRAW);
  for (let k = 0; k < width / 3; k++) {
    gl.enableVertexAttribArray(k);
    gl.vertexAttribPointer(k, 3, gl.FLOAT, false, 4 * width, 12 * k);
  }
  if (indices) {
    gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, gl.createBuffer());
    gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, indices, gl.STATIC_DRAW);
  }
  gl.bindVertexArray(null);
  return { array, buffer, count: indices ? indices.length : values.length / width };
}

function unit(x, y) {
  const length = Math.hypot(x, y) || 1;
  return [x / length, y / length];
}

/** The design of one foot as triangles: rows across from edge to edge, closer at heel and toe. */
function footMesh(foot) {
  // A hollow has sharp edges that coarse rows would fray.
  const rows = foot.underField ? 360 : 220, columns = foot.underField ? 120 : 64;
  const values = [], indices = [];
  const { y0, y1 } = foot.box;
  const put = (x, y, z, n, level, weight) => values.push(x, y, z, n[0], n[1], n[2], level, weight, 0);
  const faces = [];
  for (const face of ['top', 'under']) {
    const height = face === 'top' ? (x, y) => foot.topAt(x, y) : (x, y) => foot.underAt(x, y);
    const first = values.length / 9;
    for (let r = 0; r <= rows; r++) {
      // Cosine spacing: short rows near the round ends.
      const y = Math.min(Math.max(y0 + ((y1 - y0) * (1 - Math.cos((Math.PI * r) / rows))) / 2, y0 + 0.004), y1 - 0.004);
      const cuts = foot.crossings(y);
      const a = cuts.length > 1 ? cuts[0] : 0, b = cuts.length > 1 ? cuts[cuts.length - 1] : 0;
      for (let c = 0; c <= columns; c++) {
        const x = a + ((b - a) * (1 - Math.cos((Math.PI * c) / columns))) / 2;
        const h = 0.4;
        const n = [(height(x - h, y) - height(x + h, y)) / (2 * h), (height(x, y - h) - height(x, y + h)) / (2 * h), 1];
        const z = height(x, y);
        put(x, y, z, face === 'top' ? n : [-n[0], -n[1], -1], z, 1);
      }
    }
    for (let r = 0; r < rows; r++) {
      for (let c = 0; c < columns; c++) {
        const k = first + r * (columns + 1) + c, up = k + columns + 1;
        indices.push(k, k + 1, up, up, k + 1, up + 1);
      }
    }
    faces.push(first);
  }
  // The wall along the outline.
  const wall = values.length / 9;
  const n = foot.edge.length;
  for (let k = 0; k <= n; k++) {
    const p = foot.edge[k % n], before = foot.edge[(k + n - 1) % n], after = foot.edge[(k + 1) % n];
    const a = unit(p[0] - before[0], p[1] - before[1]), b = unit(after[0] - p[0], after[1] - p[1]);
    const out = [a[1] + b[1], -a[0] - b[0], 0];
    for (const z of [foot.underAt(p[0], p[1]), foot.topAt(p[0], p[1])]) put(p[0], p[1], z, out, z, 0.45);
  }
  for (let k = 0; k < n; k++) {
    const a = wall + 2 * k;
    indices.push(a, a + 2, a + 1, a + 1, a + 2, a + 3);
  }
  return { values: new Float32Array(values), indices: new Uint32Array(indices) };
}
