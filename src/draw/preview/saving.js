// What changed, undo and redo, reasons for stops, and a new revision; and what happens elsewhere: in another window, in
// the ticket's file.

const changes = document.getElementById('changes');
const saidWords = document.getElementById('said');
const why = document.getElementById('why');
const date = document.getElementById('date');
const diskBox = document.getElementById('disk');

function say(words, wrong) {
  saidWords.textContent = words;
  saidWords.classList.toggle('wrong', Boolean(wrong));
}

function item(words) {
  const line = document.createElement('li');
  line.textContent = words;
  return line;
}

function showSaving() {
  const none = !state.changes.length;
  changes.replaceChildren(...(none ? [item('nothing since revision ' + state.revision)] : state.changes.map((words) => item(words.replace('->', '\u2192').replace(/-(?=\d)/g, '\u2212')))));
  document.getElementById('undo').disabled = !state.undo;
  document.getElementById('redo').disabled = !state.redo;
  document.getElementById('drop').disabled = none;
  const button = document.getElementById('save');
  button.textContent = 'save as revision ' + (state.revision + 1);
  button.disabled = none;
  showDisk();
  showReasons();
  showWays();
}

function showDisk() {
  diskBox.hidden = state.disk === 'same';
  const words = state.disk === 'changed'
    ? 'The file of this ticket was changed elsewhere since it was opened here. It is left as it is; nothing can be saved over it. What you changed is still here.'
    : 'The file of this ticket cannot be read: ' + state.disk_words + '. What you changed is still here.';
  document.getElementById('disk-words').textContent = state.disk === 'same' ? '' : words;
  for (const id of ['keep', 'take']) document.getElementById(id).disabled = state.disk !== 'changed';
}

/** A field for each foot that has a stop which a reason outweighs. */
function showReasons() {
  const box = document.getElementById('reasons');
  for (const foot of state.feet) {
    let label = document.getElementById('reason-' + foot.side);
    if (!label) {
      label = document.createElement('label');
      label.id = 'reason-' + foot.side;
      const field = document.createElement('textarea');
      field.maxLength = 600;
      field.rows = 2;
      field.addEventListener('change', () => ask({ ask: 'reason', side: footName(foot.side), reason: field.value }));
      label.append('reason for accepting the stops of ' + foot.side, field);
      box.append(label);
    }
    label.hidden = !foot.wants_reason && !foot.reason;
    const field = label.querySelector('textarea');
    if (document.activeElement !== field) field.value = foot.reason;
  }
}

/** What several values together would do about a stop. */
function showWays() {
  const ways = document.getElementById('ways');
  ways.replaceChildren(...state.feet.filter((foot) => foot.way_out.length).map((foot) => {
    const button = document.createElement('button');
    button.type = 'button';
    const told = foot.way_out.map(([name, to]) => words(name) + ' ' + to).join(', ');
    button.textContent = 'set ' + foot.side + ' ' + told;
    button.title = 'the least change that passes every stop these values move';
    button.addEventListener('click', () => ask({ ask: 'changes', side: footName(foot.side), to: Object.fromEntries(foot.way_out) }));
    return button;
  }));
}

function afterSave() {
  why.value = '';
}

/** The desk has ended, or answers again. */
function gone(is) {
  document.getElementById('sheet').classList.toggle('ended', is);
}

for (const [id, what] of [['undo', 'undo'], ['redo', 'redo'], ['drop', 'drop'], ['keep', 'keep'], ['take', 'take']]) {
  document.getElementById(id).addEventListener('click', () => ask({ ask: what }));
}
document.getElementById('save-form').addEventListener('submit', (event) => {
  event.preventDefault();
  ask({ ask: 'save', why: why.value, date: date.value });
});
document.addEventListener('keydown', (event) => {
  const typing = event.target.localName === 'textarea' || (event.target.localName === 'input' && event.target.type === 'text');
  if (typing || event.altKey || !(event.ctrlKey || event.metaKey)) return;
  const key = event.key.toLowerCase();
  if (key !== 'z' && key !== 'y') return;
  event.preventDefault();
  ask({ ask: key === 'y' || event.shiftKey ? 'redo' : 'undo' });
});

/** Hears of what other windows and the file's other owners do. */
async function listen() {
  for (;;) {
    const told = await post('wait', { have, news: state.news });
    // While something is being asked its answer will tell more.
    if (told.feet && !asking) take(told);
    else if (told.feet) await new Promise((go) => setTimeout(go, 100));
    else await new Promise((go) => setTimeout(go, 2000));
  }
}

showSaving();
listen();
