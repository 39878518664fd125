'use strict';

const wanted = new URLSearchParams(location.search);
let setup = wanted.get('setup') || '.';
let clip = wanted.get('clip') || '';  // empty: the whole set-up
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

function scopeOf(words, value) {
  const one = make('option', words);
  one.value = value;
  one.selected = value === (clip ? '' : setup);
  return one;
}

function showAll() {
  const whole = setup === '.' ? 'the session' : setup;
  at('title').textContent = 'Facts of ' + (clip || whole);
  document.title = at('title').textContent + ' · nocktrail';
  const empty = clip ? ', for this clip alone: what is not told here holds as in its set-up' :
      setup === '.' ? '' : ': what is not told here holds as in the set-up before';
  at('about').textContent = 'Written in ' + form.file + empty + '.';
  at('back').href = clip ? scopeAddress('/shot') : '/';
  at('back').textContent = clip ? 'Back to the shot' : 'Back to the line';
  show(at('fault'), form.fault);
  const scopes = form.setups.map(name => scopeOf(name === '.' ? 'the whole session' : name, name));
  if (clip) scopes.unshift(scopeOf('this clip alone', ''));
  at('setup').replaceChildren(...scopes);
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

function scopeAddress(page) { return addressOf(page, {setup: setup, clip: clip}); }

// What the facts, or a shot, forbid now: whoever has just told them looks here.
async function showStops() {
  try {
    const line = await ask('/api/line');
    const own = line.setups.find(one => one.name === setup);
    showStop(line.next.forbids ? line.next.words : own && own.stops.length ? own.stops.join(' ') : '');
  } catch (problem) { /* the form says it */ }
}

async function refresh() {
  const asked = scopeAddress('/api/facts');
  showStops();
  try {
    const told = await ask(asked);
    if (asked !== scopeAddress('/api/facts')) return;
    const begun = form && form.setup === told.setup && form.clip === told.clip;
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
      body: JSON.stringify({setup: setup, clip: clip || null, edits: edits})
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
    this.value = clip ? '' : setup;
    return;
  }
  setup = this.value || setup;
  clip = '';
  form = null;
  show(at('error'), '');
  at('state').textContent = '';
  history.replaceState(null, '', scopeAddress('/facts'));
  refresh();
});

window.addEventListener('beforeunload', function (event) {
  if (changedRows().length) event.preventDefault();
});

const events = new EventSource('/api/events');
events.addEventListener('change', refresh);
document.addEventListener('visibilitychange', function () { if (!document.hidden) refresh(); });
refresh();
