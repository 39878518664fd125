'use strict';

let setup = new URLSearchParams(location.search).get('setup') || '.';
let form = null;      // what the computer told last
const rows = new Map();  // by field: {was, input, error, about}

function changedRows() {
  return Array.from(rows.entries()).filter(([, row]) => row.input.value.trim() !== row.was.trim());
}

function showButtons() {
  const count = changedRows().length;
  at('save').disabled = at('undo').disabled = count === 0;
  at('save').textContent = count === 0 ? 'Save' : count === 1 ? 'Save one change' : 'Save ' + count + ' changes';
}

function showError(row, words) {
  show(row.error, words);
  row.input.setAttribute('aria-invalid', String(Boolean(words)));
}

// What holds where this file says nothing.
function aboutOf(field) {
  if (field.before) return 'left empty: ' + field.before + ', of ' + field.where;
  return field.kind === 'choice' || field.kind === 'text' ? '' : 'such as ' + field.example;
}

function inputOf(field) {
  if (field.kind === 'choice') {
    const select = make('select');
    for (const word of [''].concat(field.example.split('|'))) {
      const one = make('option', word || 'not told here');
      one.value = word;
      select.append(one);
    }
    return select;
  }
  const input = make(field.kind === 'text' ? 'textarea' : 'input');
  if (field.kind === 'text') input.rows = 3; else input.maxLength = 400;
  if (field.kind === 'number') input.inputMode = 'decimal';
  input.spellcheck = false;
  return input;
}

function rowOf(field) {
  const all = make('div', '', 'fact');
  const id = 'fact-' + field.field.replace('.', '-');
  const label = make('label', field.words);
  const input = inputOf(field);
  input.id = label.htmlFor = id;
  const about = make('p', aboutOf(field), 'soft');
  about.id = id + '-about';
  const error = make('p', '', 'error');
  error.id = id + '-error';
  error.hidden = true;
  input.setAttribute('aria-describedby', error.id + ' ' + about.id);
  input.value = field.value;
  input.addEventListener('input', function () {
    showError(rows.get(field.field), '');
    showButtons();
  });
  all.append(label, input, error, about);
  rows.set(field.field, {was: field.value, input: input, error: error, about: about});
  return all;
}

function showAll() {
  at('title').textContent = setup === '.' ? 'Facts of the session' : 'Facts of ' + setup;
  document.title = at('title').textContent + ' · nocktrail';
  at('about').textContent = 'Written in ' + form.file + (setup === '.' ? '' :
      ': what is not told here holds as in the set-up before') + '.';
  show(at('fault'), form.fault);
  at('setup').replaceChildren(...form.setups.map(function (name) {
    const one = make('option', name === '.' ? 'the whole session' : name);
    one.value = name;
    one.selected = name === setup;
    return one;
  }));
  rows.clear();
  const parts = new Map();
  for (const field of form.fields) {
    if (!parts.has(field.part)) {
      const part = make('section');
      part.append(make('h2', field.part));
      parts.set(field.part, part);
    }
    parts.get(field.part).append(rowOf(field));
  }
  at('parts').replaceChildren(...parts.values());
  showButtons();
}

// Told of a change elsewhere: what nobody is typing here takes it up.
function takeUp() {
  show(at('fault'), form.fault);
  for (const field of form.fields) {
    const row = rows.get(field.field);
    if (row.input.value.trim() === row.was.trim()) {
      row.input.value = row.was = field.value;
      row.about.textContent = aboutOf(field);
    }
  }
  showButtons();
}

// What the facts, or a shot, forbid now: whoever has just told them looks here.
async function showStops() {
  try {
    const line = await ask('/api/line');
    const own = line.setups.find(one => one.name === setup);
    showStop(line.next.forbids ? line.next.words : own && own.stops.length ? own.stops.join(' ') : '');
  } catch (problem) { /* the form says it */ }
}

async function refresh() {
  const asked = setup;
  showStops();
  try {
    const told = await ask('/api/facts?setup=' + encodeURIComponent(asked));
    if (asked !== setup) return;
    const begun = form && form.setup === told.setup;
    form = told;
    if (begun) takeUp(); else showAll();
    if (!key()) at('state').textContent = NO_KEY;
  } catch (problem) {
    at('state').textContent = problem.message;
  }
}

async function save() {
  const edits = changedRows().map(([field, row]) => ({field: field, value: row.input.value, was: row.was}));
  if (!key()) return show(at('error'), NO_KEY);
  let answer, body;
  try {
    answer = await fetch('/api/facts', {
      method: 'POST', headers: {'Content-Type': 'application/json', 'X-Nocktrail-Key': key()},
      body: JSON.stringify({setup: setup, edits: edits})
    });
    if (answer.status === 403) return show(at('error'), NO_KEY);
    body = await answer.json();
  } catch (problem) {
    return show(at('error'), 'The computer does not answer. Is the phone still in its network?');
  }
  if (answer.ok) {
    for (const edit of edits) rows.get(edit.field).was = edit.value;
    for (const row of rows.values()) showError(row, '');
    show(at('saved'), 'Saved.');
    return refresh();
  }
  const words = [body.error];
  let first = null;
  for (const changed of body.changed || []) {
    const row = rows.get(changed.field);
    row.was = changed.value;  // saving once more says that it is meant
    showError(row, 'Somebody else made it ' + (changed.value ? '“' + changed.value + '”' : 'say nothing') + '.');
    first = first || row;
  }
  for (const fault of body.faults || []) {
    const row = rows.get(fault.field);
    if (row) {
      showError(row, fault.words);
      first = first || row;
    } else {
      words.push(fault.words);
    }
  }
  show(at('error'), sentence(words.join(' ')));
  showButtons();
  if (first) first.input.focus();
}

at('form').addEventListener('submit', async function (event) {
  event.preventDefault();
  show(at('error'), '');
  show(at('saved'), '');
  at('state').textContent = '';
  at('save').disabled = true;
  await save();
  showButtons();
});

at('undo').addEventListener('click', function () {
  for (const [, row] of changedRows()) {
    row.input.value = row.was;
    showError(row, '');
  }
  show(at('error'), '');
  showButtons();
});

at('setup').addEventListener('change', function () {
  if (changedRows().length && !confirm('Leave what is not saved?')) {
    this.value = setup;
    return;
  }
  setup = this.value;
  form = null;
  show(at('error'), '');
  at('state').textContent = '';
  history.replaceState(null, '', '/facts?setup=' + encodeURIComponent(setup));
  refresh();
});

window.addEventListener('beforeunload', function (event) {
  if (changedRows().length) event.preventDefault();
});

const events = new EventSource('/api/events');
events.addEventListener('change', refresh);
document.addEventListener('visibilitychange', function () { if (!document.hidden) refresh(); });
refresh();
