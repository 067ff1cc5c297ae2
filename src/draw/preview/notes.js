// Notes and their balloons: each leads to the other, and the place is read.

// One listener for all, also for those that a desk draws anew.
document.addEventListener('click', (event) => {
  const link = event.target.closest('.to-place'), balloon = event.target.closest('.place');
  const name = link ? link.getAttribute('href').slice(1) : balloon ? balloon.id : '';
  const [, number, side] = name.match(/^place-(\d+)-([LR])$/) || [];
  if (!number) return;
  goToPlace(Number(number), side);
  if (balloon) for (const note of document.querySelectorAll('.notes li')) note.classList.toggle('at', note.id === 'note-' + number);
});

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
