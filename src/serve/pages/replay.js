'use strict';
// The replay of a shot, with another one laid over it if asked. It is made by the computer when a
// finger asks for it, which takes some seconds the first time.

let others = null;  // measured shots of the session, by the value of their option

function measuredShots(clip) { return clip.shots.filter(shot => shot.measured); }

function option(words, value) {
  const one = make('option', words);
  one.value = value;
  return one;
}

function offerReplay(clip) {
  const shots = measuredShots(clip);
  at('replay').hidden = shots.length === 0;
  if (!shots.length) return;
  const numbers = shots.map(shot => shot.number);
  const select = at('replay-shot');
  if (select.dataset.numbers !== numbers.join()) {
    select.dataset.numbers = numbers.join();
    select.replaceChildren(...numbers.map(number => option('Shot ' + number, number)));
    at('replay-which').hidden = numbers.length < 2;
  }
  if (!others) listOthers(clip);
}

async function listOthers(clip) {
  others = [];
  let line;
  try { line = await ask('/api/line'); } catch (problem) { others = null; return; }
  const select = at('replay-over');
  select.replaceChildren(option('nothing', ''));
  for (const one of line.setups) {
    for (const other of one.clips) {
      if (other.away) continue;
      for (const shot of measuredShots(other)) {
        const same = other.clip === clip.clip && other.setup === clip.setup;
        if (same && measuredShots(other).length < 2) continue;
        const words = (other.setup === '.' ? '' : other.setup + ' · ') + other.clip +
            (other.shots.length > 1 ? ', shot ' + shot.number : '') + ': ' + degrees(shot.lateral);
        select.append(option(words, others.length));
        others.push({setup: other.setup, clip: other.clip, shot: shot.number});
      }
    }
  }
  at('replay-with').hidden = others.length === 0;
}

function replayAddress() {
  const asked = new URLSearchParams({setup: setup, clip: name, shot: at('replay-shot').value});
  const over = at('replay-over').value;
  if (over !== '') {
    const other = others[Number(over)];
    asked.set('over_setup', other.setup);
    asked.set('over_clip', other.clip);
    asked.set('over_shot', other.shot);
  }
  return '/replay?' + asked;
}

at('replay-play').addEventListener('click', async function () {
  const film = at('replay-film');
  const address = replayAddress();
  film.hidden = at('replay-file').hidden = true;
  at('replay-play').disabled = true;
  at('replay-state').textContent = 'Being made …';
  try {
    // Asked for before it is played: a player would not say why there is none.
    const answer = await fetch(address, {cache: 'no-store'});
    if (!answer.ok) {
      throw new Error(answer.status === 403 ? 'Scan the code on the computer again.'
                                            : (await answer.json()).error);
    }
    await answer.arrayBuffer();
    film.src = address;
    film.hidden = false;
    at('replay-file').href = address;
    at('replay-file').download = name.replace(/\.[^.]*$/, '') + '-replay.mp4';
    at('replay-file').hidden = false;
    at('replay-state').textContent = '';
    await film.play();
  } catch (problem) {
    // A browser that does not begin by itself shows its own button.
    if (film.hidden) {
      at('replay-state').textContent = problem instanceof TypeError
          ? 'The computer does not answer. Is the phone still in its network?' : problem.message;
    }
  }
  at('replay-play').disabled = false;
});

at('replay-film').addEventListener('error', function () {
  if (at('replay-film').src) at('replay-state').textContent = 'This browser cannot play the film; keep it instead.';
});
