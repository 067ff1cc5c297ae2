// Notes and their balloons: each leads to the other, and the place is read.

for (const link of document.querySelectorAll('.to-place')) {
  link.addEventListener('click', () => {
    const [, number, side] = link.getAttribute('href').match(/^#place-(\d+)-([LR])$/) || [];
    goToPlace(Number(number), side);
  });
}

for (const balloon of document.querySelectorAll('.place')) {
  const [, number, side] = balloon.id.match(/^place-(\d+)-([LR])$/) || [];
  balloon.addEventListener('click', () => {
    goToPlace(Number(number), side);
    for (const note of document.querySelectorAll('.notes li')) note.classList.toggle('at', note.id === 'note-' + number);
  });
}

/** Reads the place of a note, brings section E-E to it, and rings it in the plan. */
function goToPlace(number, side) {
  const foot = feet[side];
  const place = foot && foot.notes.find((note) => note.number === number);
  if (!place) return;
  moveFree(place.y);
  movePoint(side, place.x, place.y);
  const at = onPlan(foot, place.x, place.y);
  const ring = pen('circle', { class: 'ring', cx: at[0], cy: at[1], r: 3.6 });
  plans[side].svg.append(ring);
  setTimeout(() => ring.remove(), 4000);
}

// Only now, when every part has run, are its buttons shown.
document.documentElement.classList.add('scripted');
