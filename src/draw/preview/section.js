// Cross sections: E-E is drawn anew wherever it stands; in every section the pointer reads heights.

const freeSections = {};
/** Every section in the page. */
const sections = [];

for (const box of document.querySelectorAll('[data-cut]')) {
  const section = { box, side: box.dataset.foot, letter: box.dataset.cut, svg: null, paper: null, cross: pen('g', {}) };
  sections.push(section);
  if (section.letter === 'E') freeSections[section.side] = section;
  attachSection(section);
  const station = () => (section.letter === 'E' ? freeAt : section.paper.at);
  box.addEventListener('pointermove', (event) => {
    const p = onPaper(section.svg, event), paper = section.paper;
    if (p) movePoint(section.side, (feet[section.side].medial * (p.x - paper.x)) / paper.scale, station());
  });
  // The point is drawn in every section that it lies in.
  followers.push(() => {
    if (section.letter === 'E') section.svg.append(section.cross);
    const here = point && point.side === section.side && Math.abs(point.y - station()) < 0.51;
    section.cross.replaceChildren(...(here ? readingLine(feet[section.side], section.paper, point) : []));
  });
}

/** Takes the drawing that stands in the page now. */
function attachSection(section) {
  const foot = feet[section.side];
  section.paper = section.letter === 'E' ? foot.free : foot.cuts.find((cut) => cut.letter === section.letter);
  section.svg = section.box.querySelector('svg');
  section.svg.append(section.cross);
}

/** An upright line through the material, with its thickness. */
function readingLine(foot, paper, read) {
  const x = paper.x + foot.medial * paper.scale * read.x;
  const top = paper.y - paper.scale * read.top, under = paper.y - paper.scale * read.under;
  const d = 'M' + x + ' ' + under + 'V' + top + 'M' + (x - 1) + ' ' + top + 'h2M' + (x - 1) + ' ' + under + 'h2';
  return [
    pen('path', { class: 'cross-halo', d }),
    pen('path', { class: 'cross', d }),
    pen('text', { class: 'read', x, y: top - 1.2, 'text-anchor': 'middle' }, read.thickness.toFixed(2))
  ];
}

/** Section E-E of one foot: grid, material with hatching, boot board. */
function drawFree(side) {
  const foot = feet[side];
  const { svg, paper } = freeSections[side];
  const cuts = foot.crossings(freeAt);
  if (cuts.length < 2) return;
  const x0 = cuts[0], x1 = cuts[cuts.length - 1];
  const at = (x, z) => [paper.x + foot.medial * paper.scale * x, paper.y - paper.scale * z];
  const count = Math.ceil((x1 - x0) / 0.5);
  const xs = [];
  for (let k = 0; k <= count; k++) xs.push(Math.min(Math.max(x0 + ((x1 - x0) * k) / count, x0 + 0.001), x1 - 0.001));
  const top = xs.map((x) => foot.topAt(x, freeAt));
  const body = xs.map((x, k) => at(x, top[k])).concat(xs.slice().reverse().map((x) => at(x, foot.underAt(x, freeAt))));
  const d = 'M' + body.map((p) => p[0].toFixed(2) + ' ' + p[1].toFixed(2)).join('L') + 'Z';
  const name = 'hatch-' + side;
  const pattern = pen('pattern', { id: name, width: 1.84, height: 1.84, patternUnits: 'userSpaceOnUse', patternTransform: 'rotate(45)' });
  pattern.append(pen('path', { class: 'hatch', d: 'M0 0H1.84' }));
  const share = Math.round((100 * freeAt) / foot.foot_length);
  svg.replaceChildren(
    pattern,
    grid(x0, x1, Math.max(...top), at),
    pen('path', { class: 'material', d }),
    pen('path', { d, fill: 'url(#' + name + ')' }),
    pen('path', { class: 'w50 open', d }),
    board(at(x0, 0), at(x1, 0)),
    pen('text', { class: 't b', x: 1, y: 3 }, 'E-E ' + side),
    pen('text', { class: 't soft', x: 10, y: 3 }, freeAt.toFixed(1) + ' from rear, ' + share + ' %; highest ' + Math.max(...top).toFixed(1))
  );
}

function grid(x0, x1, peak, at) {
  const first = Math.floor(x0 / 5) * 5, last = Math.ceil(x1 / 5) * 5, tall = Math.ceil(peak / 5) * 5;
  let d = '';
  for (let x = first; x <= last; x += 5) d += 'M' + at(x, 0).join(' ') + 'L' + at(x, tall).join(' ');
  for (let z = 0; z <= tall; z += 5) d += 'M' + at(first, z).join(' ') + 'L' + at(last, z).join(' ');
  return pen('path', { class: 'grid', d });
}

/** The boot board, with strokes below it as drawings mark ground. */
function board(a, b) {
  const group = pen('g', {});
  const from = Math.min(a[0], b[0]) - 1.4, to = Math.max(a[0], b[0]) + 1.4;
  group.append(pen('path', { class: 'w50', d: 'M' + from + ' ' + a[1] + 'H' + to }));
  let d = '';
  for (let x = from + 1.6; x < to; x += 2) d += 'M' + x + ' ' + a[1] + 'l-1.3 1.3';
  group.append(pen('path', { class: 'w13', d }));
  return group;
}

followers.unshift(() => sides.forEach(drawFree));
moveFree(freeAt);
