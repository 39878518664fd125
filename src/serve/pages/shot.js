'use strict';

const wanted = new URLSearchParams(location.search);
const setup = wanted.get('setup') || '.';
const name = wanted.get('clip') || '';
let told = null;

// A row that says whether it counts, with what changes that. `shot` 0: the whole clip.
function countRow(words, dropped, shot) {
  const form = make('form');
  form.autocomplete = 'off';
  if (told.waits && !dropped) {
    form.append(make('p', 'It is marked by hand and does not count until you say so: open “Mark by ' +
        'hand” and tick the box there.'));
    return form;
  }
  if (dropped) {
    form.append(make('p', words + ' is left out: ' + dropped));
    const back = make('button', 'Take it back', 'main');
    back.type = 'submit';
    form.append(back);
  } else {
    form.append(make('p', words + ' counts.'));
    const label = make('label', 'Reason for leaving it out');
    const reason = make('input');
    reason.id = 'reason-' + shot;
    reason.maxLength = 120;
    reason.setAttribute('list', 'reasons');
    reason.required = true;
    label.htmlFor = reason.id;
    const out = make('button', 'Leave it out');
    out.type = 'submit';
    const row = make('div', '', 'row');
    row.append(out);
    form.append(label, reason, row);
  }
  form.addEventListener('submit', async function (event) {
    event.preventDefault();
    show(at('error'), '');
    const field = form.querySelector('input');
    for (const button of document.querySelectorAll('#count button')) button.disabled = true;
    try {
      await change('/api/leave-out', {setup: setup, clip: name, shot: shot,
                                      reason: field ? field.value : null, was: dropped || null});
      at('state').textContent = 'Written; judging anew …';
    } catch (problem) {
      show(at('error'), problem.message);
      for (const button of document.querySelectorAll('#count button')) button.disabled = false;
      refresh();
    }
  });
  return form;
}

function showAll() {
  at('title').textContent = name + (setup === '.' ? '' : ' · ' + setup);
  document.title = name + ' · nocktrail';
  showStop(told.stop);
  at('reading').replaceChildren(readingOf(told));
  if (told.away) at('replay').hidden = true; else offerReplay(told);
  // What somebody types is left alone while nothing changed.
  at('by-hand').href = addressOf('/by-hand', told);
  at('facts').href = addressOf('/facts', told);
  at('by-hand').hidden = told.status === 'error' || told.away;
  const state = JSON.stringify([told.dropped, told.waits, told.shots.map(s => s.dropped), told.status]);
  if (at('count').dataset.state !== state) {
    at('count').dataset.state = state;
    at('state').textContent = '';
    const list = make('datalist');
    list.id = 'reasons';
    for (const words of ['plucked', 'short draw', 'touched something', 'wrong arrow', 'heeled the grip']) {
      const option = make('option');
      option.value = words;
      list.append(option);
    }
    const rows = [list, countRow(told.shots.length > 1 ? 'The clip' : 'It', told.dropped, 0)];
    if (told.shots.length > 1) {
      for (const shot of told.shots) rows.push(countRow('Shot ' + shot.number, shot.dropped, shot.number));
    }
    at('count').replaceChildren(...rows);
  }
  if (told.still && !at('stills').childElementCount) {
    const pictures = Math.max(1, told.shots.length);
    for (let shot = 1; shot <= pictures; ++shot) {
      const picture = make('img', '', 'still');
      picture.alt = 'The shot drawn over one frame: the arrow at several instants, its shaft beside ' +
          'its direction of flight, and the offset';
      picture.src = '/still?setup=' + encodeURIComponent(setup) + '&clip=' + encodeURIComponent(name) +
          '&shot=' + shot;
      at('stills').append(picture);
    }
  }
}

async function refresh() {
  try {
    told = await ask('/api/shot?setup=' + encodeURIComponent(setup) + '&clip=' +
                     encodeURIComponent(name));
    showAll();
  } catch (problem) {
    at('state').textContent = problem.message;
  }
}

const events = new EventSource('/api/events');
events.addEventListener('open', refresh);
events.addEventListener('change', refresh);
document.addEventListener('visibilitychange', function () { if (!document.hidden) refresh(); });
refresh();
