'use strict';

let line = null;          // what the computer told last
let chosen = sessionStorage.getItem('nocktrail-setup');
let following = true;     // the newest set-up, until another is chosen
let connected = false;
let step = null;
let begun = null;         // a set-up that was begun here, until the computer names it

// --- showing ------------------------------------------------------------------------------------

function showState() {
  let words = connected ? 'Connected.' : 'Not connected; trying again …';
  if (connected && step) {
    words = 'Reading ' + step.clip + ': ' + step.what + ' ' + Math.round(100 * step.share) + ' %';
  } else if (connected && line && line.waiting) {
    words = line.waiting === 1 ? 'One clip waits to be read.' : line.waiting + ' clips wait to be read.';
  }
  if (!key()) words += ' ' + NO_KEY;
  at('state').textContent = words;
}

function fill(list, lines, className) {
  list.replaceChildren(...lines.map(words => make('li', words, className)));
}

function showNext() {
  const next = line.next;
  at('next').hidden = next.forbids;
  showStop(next.forbids ? next.words : null);
  at('stop-because').textContent = next.forbids ? next.because || '' : '';
  at('next-words').textContent = next.words;
  const last = latestSetup();
  at('next-title').textContent = 'Next step' + ofSetup(last);
  at('stop-title').textContent = 'Stop' + ofSetup(last);
  at('next-facts').firstElementChild.href =
      '/facts?setup=' + encodeURIComponent(next.kind === 'tell-facts' ? last : '.');
  at('next-facts').hidden = !['tell-facts', 'tell-hand', 'tell-cant'].includes(next.kind);
  at('next-because').textContent = next.because || '';
  fill(at('next-cautions'), next.cautions);
  at('next-more').hidden = next.cautions.length === 0;
  // What nobody has checked is not folded away.
  fill(at('session-cautions'), line.cautions, 'caution');
  const faults = line.faults.concat(line.hindered || []);
  at('faults').hidden = faults.length === 0;
  fill(at('fault-list'), faults);
  at('sheet').hidden = !line.sheet;
  // Faults stand above; of the rest the newest comes first.
  const said = line.messages.filter(words => !faults.includes(words)).reverse();
  at('messages').hidden = said.length === 0;
  fill(at('message-list'), said);
}

function latestSetup() { return line.setups.length ? line.setups[line.setups.length - 1].name : '.'; }

function ofSetup(name) { return name === '.' ? '' : ' · ' + name; }

function stopsOf(clip) {
  const of = line.setups.find(setup => setup.name === clip.setup);
  return of ? of.stops : [];
}

function idOf(clip) {
  return clip ? JSON.stringify([clip.setup, clip.clip, clip.shots, stopsOf(clip)]) : '';
}

function showNewest() {
  const clip = line.newest;
  at('newest').hidden = false;
  at('say').hidden = at('say-each').hidden = !clip || !('speechSynthesis' in window);
  at('how').hidden = Boolean(clip);
  if (!clip) {
    const body = at('newest-body');
    if (body.dataset.id) {
      delete body.dataset.id;
      body.replaceChildren(make('p', 'No shot now. Send a clip, and its verdict shows here.', 'soft'));
    }
    spoken = '';
    return;
  }
  const body = at('newest-body');
  const shown = idOf(clip) + clip.dropped + clip.waits + latestSetup();
  if (body.dataset.id !== shown) {
    body.dataset.id = shown;
    const name = make('p', '', 'soft');
    const link = make('a', clip.clip, 'wide');
    link.href = addressOf('/shot', clip);
    name.append(link, ofSetup(clip.setup));
    const other = clip.setup === latestSetup() ? '' : 'Of ' + spokenName(clip.setup) + ': ';
    body.replaceChildren(...stopsOf(clip).map(words => make('p', other + words, 'caution')),
                         readingOf(clip), name);
    if (clip.waits) body.append(make('p', 'It does not count in the session.', 'soft'));
  }
  sayWhatIsNew(clip);
}

function setups() {
  return line.setups.length ? line.setups : [{name: '1-start', clips: [], warnings: [], fresh: true}];
}

// A session whose clips lie in its own folder has no set-ups yet.
function inOwnFolder() { return line.setups.length === 1 && line.setups[0].name === '.'; }

function showSetups() {
  // A session of which nothing is there yet begins with a set-up, so that others can follow it.
  const empty = inOwnFolder() && line.setups[0].clips.length === 0 && line.waiting === 0;
  const all = empty ? [{name: '1-start', clips: [], warnings: []}] : setups().slice();
  if (begun && all.some(s => s.name === begun)) begun = null;
  if (begun) all.push({name: begun, clips: [], warnings: []});
  if (!all.some(s => s.name === chosen)) { chosen = null; following = true; }
  if (following || !chosen) chosen = all[all.length - 1].name;
  const select = at('setup');
  select.replaceChildren(...all.map(function (setup) {
    const option = make('option', (setup.name === '.' ? 'this session' : setup.name) +
                                      ((setup.stops || []).length ? ' · do not shoot' : ''));
    option.value = setup.name;
    option.selected = setup.name === chosen;
    return option;
  }));
  at('begin-gather').hidden = !inOwnFolder() || empty;
  const setup = all.find(s => s.name === chosen);
  const fresh = !setup.clips.length && setup.name !== '.' ? 'No clip yet: those sent now go into it.' : '';
  at('setup-about').textContent = [setup.changed, setup.notes, fresh].filter(Boolean).join('; ');
  at('setup-facts').href = '/facts?setup=' + encodeURIComponent(empty ? '.' : setup.name);
  at('shots-title').textContent = setup.name === '.' ? 'Shots' : 'Shots of ' + setup.name;
  at('shots-summary').textContent = setup.summary || (setup.clips.length ? '' : 'None yet.');
  fill(at('shots-warnings'), (setup.stops || []).concat(setup.warnings), 'caution');
  at('shots-list').replaceChildren(...setup.clips.slice().reverse().map(function (clip) {
    const link = make('a');
    link.href = addressOf('/shot', clip);
    link.append(make('span', clip.clip, 'name'), document.createElement('br'),
                make('span', inBrief(clip), clip.dropped ? 'out' : ''));
    if (clip.dropped) link.append(' left out: ' + clip.dropped);
    for (const shot of clip.shots) {
      if (shot.dropped) link.append(' shot ' + shot.number + ' left out: ' + shot.dropped);
    }
    const item = make('li');
    item.append(link);
    if (!clip.away && (clip.status === 'refused' || clip.status === 'no-shot')) {
      const mark = make('a', 'Mark by hand', 'button by-hand');
      mark.href = addressOf('/by-hand', clip);
      mark.setAttribute('aria-label', 'Mark ' + clip.clip + ' by hand');
      item.append(mark);
    }
    return item;
  }));
}

function showAll() {
  at('session').textContent = line.session;
  if (!line.waiting) step = null;
  at('report').hidden = false;
  showNext();
  showNewest();
  showSetups();
  if (at('begin-field').options.length === 1) {
    for (const fact of line.facts) {
      const option = make('option', fact.words);
      option.value = fact.field;
      option.dataset.example = fact.example;
      at('begin-field').append(option);
    }
  }
  showState();
}

// --- hearing of changes -------------------------------------------------------------------------

let asking = false, again = false;

async function refresh() {
  if (asking) { again = true; return; }
  asking = true;
  try {
    line = await ask('/api/line');
    connected = true;
    show(at('stranger'), '');
    showAll();
  } catch (problem) {
    connected = false;
    showState();
    // Begun anew, the program knows this page no longer: what stands here is not what holds.
    const stranger = problem.message.startsWith('Scan');
    show(at('stranger'), stranger ? problem.message : '');
    if (stranger) {
      at('state').textContent = '';
      at('next').hidden = at('newest').hidden = at('sheet').hidden = at('report').hidden = true;
      at('phone').open = false;
      at('phone-codes').replaceChildren();  // they lead nowhere now
    }
  }
  asking = false;
  if (again) { again = false; refresh(); }
}

let events = null;

function listen() {
  if (events) events.close();
  events = new EventSource('/api/events');
  events.addEventListener('open', refresh);
  events.addEventListener('change', function () { step = null; refresh(); });
  events.addEventListener('step', function (event) {
    step = JSON.parse(event.data);
    showState();
  });
  events.addEventListener('error', function () {
    connected = false;
    showState();
    refresh();
    // Some browsers give up for good after a phone slept.
    if (events.readyState === EventSource.CLOSED) setTimeout(listen, 3000);
  });
}

document.addEventListener('visibilitychange', function () {
  if (!document.hidden) {
    if (!events || events.readyState === EventSource.CLOSED) listen();
    refresh();
  }
});

// --- sending clips ------------------------------------------------------------------------------

const QUEUE = 'nocktrail-queue';
// An upload that was cut off goes on where it stopped, by the name that it was given here.
let queue = [];           // {name, size, setup, upload, file, sent, state, words}
let sending = false;

function keepQueue() {
  const left = queue.filter(one => one.state !== 'done' && one.state !== 'refused');
  sessionStorage.setItem(QUEUE, JSON.stringify(left.map(
      one => ({name: one.name, size: one.size, setup: one.setup, upload: one.upload}))));
}

function showQueue() {
  at('queue').replaceChildren(...queue.map(function (one) {
    const item = make('li');
    item.append(make('span', one.name + (one.setup === '.' ? '' : ' → ' + one.setup)));
    if (one.state === 'sending') {
      const bar = make('progress');
      bar.max = 1;
      bar.value = one.size ? one.sent / one.size : 0;
      bar.setAttribute('aria-label', 'Sending ' + one.name);
      item.append(bar);
    }
    item.append(make('div', one.words, one.state === 'refused' ? 'error' : 'soft'));
    return item;
  }));
}

const STALLED = 30000;    // without a byte taken; then the way there is gone

function hex(bytes) {
  return Array.from(bytes, byte => byte.toString(16).padStart(2, '0')).join('');
}

function newUpload() { return hex(crypto.getRandomValues(new Uint8Array(16))); }

// Where to go on: what the computer has of this file, if it is of this file.
async function cameSoFar(one) {
  const told = await ask('/api/upload?upload=' + one.upload);
  if (told.kept) return {kept: told.kept};
  const tail = told.tail.length / 2;
  if (told.have === 0 || told.have > one.size || tail === 0) return {from: 0};
  const own = new Uint8Array(await one.file.slice(told.have - tail, told.have).arrayBuffer());
  return {from: hex(own) === told.tail ? told.have : 0};
}

function put(one, from) {
  return new Promise(function (resolve) {
    const request = new XMLHttpRequest();
    let heard = Date.now();
    const watch = setInterval(function () {
      if (Date.now() - heard > STALLED) request.abort();
    }, 1000);
    request.open('POST', '/api/clips?name=' + encodeURIComponent(one.name) + '&setup=' +
                 encodeURIComponent(one.setup) + '&upload=' + one.upload + '&from=' + from);
    request.setRequestHeader('X-Nocktrail-Key', key());
    request.upload.addEventListener('progress', function (event) {
      heard = Date.now();
      one.sent = from + event.loaded;
      one.words = Math.floor(100 * one.sent / Math.max(1, one.size)) + ' % of ' +
          Math.max(1, Math.round(one.size / 1e6)) + ' MB';
      showQueue();
    });
    request.upload.addEventListener('loadend', function () { heard = Infinity; });
    request.addEventListener('loadend', function () {
      clearInterval(watch);
      let body = {};
      try { body = JSON.parse(request.responseText); } catch (e) { /* none */ }
      resolve({status: request.status, body: body});
    });
    request.send(from ? one.file.slice(from) : one.file);
  });
}

async function sendOne(one) {
  for (let attempt = 1; ; ++attempt) {
    one.state = 'sending';
    one.words = 'sending …';
    showQueue();
    let got = {status: 0, body: {}};
    try {
      const came = one.begun ? await cameSoFar(one) : {from: 0};
      one.begun = true;
      one.sent = came.from || 0;
      showQueue();
      got = came.kept ? {status: 201, body: came.kept} : await put(one, came.from);
    } catch (problem) { /* the computer does not answer, or is still at it: again in a moment */ }
    if (got.status === 201 || got.status === 200) {
      one.state = 'done';
      one.words = got.status === 201 ? 'arrived' : 'was here already, as ' + got.body.clip;
      return;
    }
    const passing = got.status === 0 || got.status === 503 || got.status === 409;
    if (!passing) {
      one.state = 'refused';
      one.words = got.status === 403 ? NO_KEY : got.body.error || 'not taken (' + got.status + ')';
      return;
    }
    one.state = 'waiting';
    one.words = 'interrupted; trying again (' + attempt + ')';
    showQueue();
    await new Promise(resolve => setTimeout(resolve, Math.min(10000, 500 * attempt)));
  }
}

async function sendAll() {
  if (sending) return;
  sending = true;
  let one;
  while ((one = queue.find(o => o.state === 'waiting' && o.file))) {
    await sendOne(one);
    keepQueue();
    showQueue();
  }
  sending = false;
}

at('files').addEventListener('change', function () {
  show(at('send-error'), key() ? '' : NO_KEY);
  if (!key()) return;
  for (const file of this.files) {
    // One that was asked for again after a reload takes its old place.
    const old = queue.find(o => !o.file && o.name === file.name && o.size === file.size);
    if (old) {
      old.file = file;
      old.begun = true;
      old.state = 'waiting';
      old.words = 'waiting';
    } else {
      queue.push({name: file.name, size: file.size, setup: chosen, upload: newUpload(), file: file, sent: 0,
                  state: 'waiting', words: 'waiting'});
    }
  }
  this.value = '';
  keepQueue();
  showQueue();
  sendAll();
});

at('setup').addEventListener('change', function () {
  chosen = this.value;
  following = false;
  sessionStorage.setItem('nocktrail-setup', chosen);
  showSetups();
});

// --- beginning a set-up -------------------------------------------------------------------------

at('begin-field').addEventListener('change', function () {
  const example = this.selectedOptions[0].dataset.example;
  at('begin-value').disabled = !example;
  at('begin-value').placeholder = example ? 'such as ' + example : '';
  if (!example) at('begin-value').value = '';
});

at('begin-form').addEventListener('submit', async function (event) {
  event.preventDefault();
  show(at('begin-error'), '');
  if (!at('begin-name').value.trim() && !at('begin-value').value.trim() && !at('begin-notes').value.trim()) {
    show(at('begin-error'), 'Say what is new: a change, a name or a note.');
    return;
  }
  if (queue.some(one => one.setup === '.' && (one.state === 'sending' || one.state === 'waiting'))) {
    show(at('begin-error'), 'Wait until the clips that are on their way have arrived.');
    return;
  }
  const button = this.querySelector('button');
  button.disabled = true;  // two taps are one wish
  try {
    const made = await change('/api/setups', {
      name: at('begin-name').value, field: at('begin-field').value, value: at('begin-value').value,
      notes: at('begin-notes').value, gather: !at('begin-gather').hidden
    });
    this.reset();
    at('begin-value').disabled = true;
    at('begin').open = false;
    begun = chosen = made.setup;
    following = true;
    showSetups();
    at('send').scrollIntoView({block: 'start'});
    refresh();
  } catch (problem) {
    show(at('begin-error'), problem.message);
  }
  button.disabled = false;
});

// ------------------------------------------------------------------------------------------------

for (const one of JSON.parse(sessionStorage.getItem(QUEUE) || '[]')) {
  queue.push({name: one.name, size: one.size, setup: one.setup, upload: one.upload || newUpload(), file: null, sent: 0, state: 'gone',
              words: 'not sent yet: choose it again, the browser let it go'});
}
showQueue();
refresh();
listen();
