'use strict';
// What both pages share: the secret, requests, and the reading of a clip as elements. Text goes in
// as text, never as HTML.

const KEY = 'nocktrail-key';

// What the address asked to be shown first; it goes with the secret.
const ASKED_FOR = location.hash;

// Out of the address bar at once, so that it is on no picture of the screen, and no way back leads
// to it.
(function takeKey() {
  const told = new URLSearchParams(location.search).get('key');
  if (told) {
    sessionStorage.setItem(KEY, told);
    history.replaceState(null, '', location.pathname);
  }
})();

function key() { return sessionStorage.getItem(KEY) || ''; }

function at(id) { return document.getElementById(id); }

function make(name, words, className) {
  const element = document.createElement(name);
  if (words) element.textContent = words;
  if (className) element.className = className;
  return element;
}

function show(element, words) {
  element.textContent = words || '';
  element.hidden = !words;
}

const NO_KEY = 'This page may show but not change anything here: open it anew from the code on ' +
    'the computer.';

async function ask(address) {
  const answer = await fetch(address, {cache: 'no-store'});
  if (answer.status === 403) throw new Error('Scan the code on the computer again: it was started anew.');
  const body = await answer.json();
  if (!answer.ok) throw new Error(body.error);
  return body;
}

async function change(address, what) {
  if (!key()) throw new Error(NO_KEY);
  let answer;
  try {
    answer = await fetch(address, {
      method: 'POST',
      headers: {'Content-Type': 'application/json', 'X-Nocktrail-Key': key()},
      body: JSON.stringify(what)
    });
  } catch (e) {
    throw new Error('The computer does not answer. Is the phone still in its network?');
  }
  if (answer.status === 403) throw new Error(NO_KEY);
  const body = await answer.json();
  if (!answer.ok) throw new Error(body.error);
  return body;
}

// A figure and its interval stay on one line.
function degrees(words) { return words.replace(/ deg$/, '°').replace(' ± ', '\u00a0±\u00a0'); }

function sentence(words) { return words ? words[0].toUpperCase() + words.slice(1) : ''; }

// "Nock left" above "2.41 ± 0.18°", which is read at arm's length.
function offset(words, className) {
  const all = make('p', '', className);
  const figure = degrees(words).match(/^(.*?) ([\d.]+\u00a0.*)$/);
  if (figure) {
    all.append(make('span', figure[1] + ' ', 'side'), make('span', figure[2], 'figure'));
  } else {
    all.textContent = degrees(words);
  }
  return all;
}

// What forbids, its first sentence largest.
function showStop(words) {
  const end = words ? words.indexOf('. ') + 1 : 0;
  at('stop').hidden = !words;
  at('stop-words').textContent = words ? (end ? words.slice(0, end) : words) : '';
  at('stop-further').textContent = end ? words.slice(end + 1) : '';
}

// A refusal gives every reason that holds, "; also " between them: the first is said, the others lie
// under it.
function reasonsOf(words) { return (words || '').split('; also ').map(sentence); }

function appendReasons(all, words) {
  const [first, ...others] = reasonsOf(words);
  if (first) all.append(make('p', first));
  if (!others.length) return;
  const more = make('details');
  const list = make('ul');
  list.append(...others.map(one => make('li', one)));
  more.append(make('summary', others.length === 1 ? 'One more reason' : others.length + ' more reasons'), list);
  all.append(more);
}

const FLATTENED = 'This film has ordinary frames. If it was shot in slow motion, it was flattened ' +
    'on the way: send the original (see “If slow motion arrives as an ordinary film”).';

// The reading of a clip, largest first.
function readingOf(clip) {
  const all = document.createDocumentFragment();
  const dropped = clip.dropped;
  if (dropped) all.append(make('p', 'Left out: ' + dropped, 'caution'));
  if (clip.by_hand) all.append(make('p', 'Marked by hand', 'hand'));
  if (clip.status !== 'measured') {
    const words = {'refused': 'No number from this clip', 'no-shot': 'No shot was seen',
                   'error': 'This file cannot be read'}[clip.status];
    all.append(make('p', words, 'refused'));
    appendReasons(all, clip.reason);
    if (clip.flattened) all.append(make('p', FLATTENED, 'caution'));
  } else {
    for (const shot of clip.shots) {
      if (clip.shots.length > 1) all.append(make('h3', 'Shot ' + shot.number));
      if (shot.dropped) all.append(make('p', 'Left out: ' + shot.dropped, 'caution'));
      if (!shot.measured) {
        all.append(make('p', 'No number from this shot', 'refused'));
        appendReasons(all, shot.reason);
        continue;
      }
      all.append(offset(shot.lateral, 'offset'));
      all.append(offset(shot.vertical, 'offset second'));
      const tags = make('p');
      if (shot.spine) tags.append(make('span', 'Spine' + (shot.fletched ? ' as fletched' : '') + ': ' + shot.spine, 'tag'));
      tags.append(make('span', 'Nocking point: ' + shot.nocking_point, 'tag'));
      all.append(tags);
      all.append(make('p', shot.in_bow ? 'Along the bow, as it leans in the hand.'
                                       : shot.spine ? 'As the picture shows it: hand or cant is not told.'
                                                    : 'Against plumb.', 'soft'));
      if (shot.at_odds) all.append(make('p', shot.summary, 'caution'));
    }
  }
  if (clip.away) all.append(make('p', 'The film is not here, only its reading.', 'soft'));
  if (clip.caution) all.append(make('p', clip.caution, 'caution'));
  return all;
}

// One line for a list.
function inBrief(clip) {
  return (clip.by_hand ? 'by hand' + (clip.waits ? ', does not count' : '') + ': ' : '') +
      briefReading(clip);
}

function briefReading(clip) {
  if (clip.status === 'measured') {
    return clip.shots.map(s => s.measured ? degrees(s.lateral) + ', ' + degrees(s.vertical).toLowerCase()
                                          : 'no number').join('; ');
  }
  return {'refused': 'no number: ', 'no-shot': 'no shot: ', 'error': 'cannot be read: '}[clip.status] +
      (clip.reason || '').split('; also ')[0];
}

// A page about a clip ("/shot", "/by-hand", "/facts"), or where none is named about its set-up.
function addressOf(page, of) {
  return page + '?setup=' + encodeURIComponent(of.setup) + (of.clip ? '&clip=' + encodeURIComponent(of.clip) : '');
}
