// The saved revision on the drawing: its outline and its sections as dashed lines, and, until the drawing is sent anew,
// the changed ones where they stand now.

/** The shapes as they are saved. */
const saved = {};
for (const shape of data.desk.saved) saved[shape.side] = new Foot(shape, data);

function path(points, closed) {
  return 'M' + points.map((p) => p[0].toFixed(2) + ' ' + p[1].toFixed(2)).join('L') + (closed ? 'Z' : '');
}

/** The top across a shape at a station, on a section's paper. */
function across(shape, foot, paper, y) {
  const cuts = shape.crossings(y);
  if (cuts.length < 2) return '';
  const x0 = cuts[0] + 0.001, x1 = cuts[cuts.length - 1] - 0.001, count = Math.ceil((x1 - x0) / 0.75);
  const points = [];
  for (let k = 0; k <= count; k++) {
    const x = x0 + ((x1 - x0) * k) / count;
    points.push([paper.x + foot.medial * paper.scale * x, paper.y - paper.scale * shape.topAt(x, y)]);
  }
  return path(points, false);
}

/** The top along a shape's axis, in section A-A of the plan. */
function alongAxis(shape, foot) {
  const axis = shape.marks[0].x, cuts = shape.along(axis);
  if (cuts.length < 2) return '';
  const y0 = cuts[0] + 0.001, y1 = cuts[cuts.length - 1] - 0.001, count = Math.ceil((y1 - y0) / 1.5);
  const points = [];
  for (let k = 0; k <= count; k++) {
    const y = y0 + ((y1 - y0) * k) / count;
    points.push([foot.long.x - foot.medial * foot.long.scale * shape.topAt(axis, y), foot.long.y - foot.long.scale * y]);
  }
  return path(points, false);
}

function isSaved(side) {
  return saved[side] && saved[side].top === feet[side].top && saved[side].outline === feet[side].outline && saved[side].under === feet[side].under;
}

/** Draws lines of one kind over all pictures of a foot, in place of those that were there. */
function overlay(side, kind, shape) {
  const foot = feet[side];
  const lay = (svg, ...lines) => {
    svg.querySelectorAll(':scope > .' + kind).forEach((old) => old.remove());
    const drawn = lines.filter((d) => d);
    if (!drawn.length) return;
    const group = pen('g', { class: kind });
    group.append(...drawn.map((d) => pen('path', { d })));
    svg.append(group);
  };
  const edge = shape && shape.outline !== (kind === 'ghost' ? feet : saved)[side].outline;
  lay(plans[side].svg, shape && alongAxis(shape, foot), edge ? path(shape.edge.map((p) => onPlan(foot, p[0], p[1])), true) : '');
  for (const section of sections.filter((section) => section.side === side)) {
    const free = section.letter === 'E';
    // Section E-E is drawn here anyway.
    const shown = shape && !(free && kind === 'now');
    lay(section.svg, shown ? across(shape, foot, section.paper, free ? freeAt : section.paper.at) : '');
  }
}

/** The saved revision, where it is another one. */
function drawGhosts(side) {
  overlay(side, 'ghost', isSaved(side) ? null : saved[side]);
}

/** The changed lines, until the drawing itself is changed. */
function drawNow(side, shown) {
  overlay(side, 'now', shown ? feet[side] : null);
}

followers.push(() => sides.forEach((side) => {
  const section = freeSections[side];
  section.svg.querySelectorAll(':scope > .ghost').forEach((old) => old.remove());
  const d = isSaved(side) ? '' : across(saved[side], feet[side], section.paper, freeAt);
  if (!d) return;
  const group = pen('g', { class: 'ghost' });
  group.append(pen('path', { d }));
  section.svg.append(group);
}));
