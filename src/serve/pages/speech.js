'use strict';
// What the line says aloud, by the browser's own voice.

let spoken = null;        // of the newest shot, so that none is said twice
let spokenStop = '';      // likewise of what forbids
let owed = false;         // the step that follows from what was said is not known yet

function aloud(words) {
  return words.replace(/±/g, 'plus or minus').replace(/\bdeg\b|°/g, 'degrees');
}

function spokenName(setup) { return setup === '.' ? 'this session' : 'set-up ' + setup; }

function speak(said) {
  if (!said.length) return;
  const voice = new SpeechSynthesisUtterance(aloud(said.join(' ')));
  voice.lang = 'en';
  speechSynthesis.speak(voice);
}

// What forbids is said before everything; the step only once it is of all that is known.
function wordsOfStop(clip) {
  const said = line.next.forbids ? [line.next.words] : [];
  if (!line.next.forbids && stopsOf(clip).length) said.push('Of ' + spokenName(clip.setup) + ':', ...stopsOf(clip));
  return said;
}

function wordsOfStep() {
  if (line.next.forbids) return [];
  const step = line.settled ? line.next.words : 'it is being judged.';
  return [(latestSetup() === '.' ? 'Next: ' : 'Next, with ' + spokenName(latestSetup()) + ': ') + step];
}

function wordsOfReading(clip) {
  const said = [];
  if (clip.status !== 'measured') said.push('No number from this clip. ' + reasonsOf(clip.reason).join('. ') + '.');
  for (const shot of clip.shots) {
    if (shot.measured) {
      said.push(shot.lateral + '. ' + shot.vertical + '. ' +
                (shot.spine ? 'Spine ' + (shot.fletched ? 'as fletched ' : '') + shot.spine + '. ' : '') + 'Nocking point ' +
                shot.nocking_point + '.');
    }
  }
  if (clip.waits) said.push('Marked by hand, it does not count.');
  return said;
}

function sayNewest() {
  const clip = line.newest;
  speechSynthesis.cancel();
  speak([...wordsOfStop(clip), ...wordsOfReading(clip), ...wordsOfStep()]);
}

// Each new reading at once, what forbids as soon as it is known, and the step when it is judged.
function sayWhatIsNew(clip) {
  const stop = wordsOfStop(clip).join(' ');
  const on = at('say-each').getAttribute('aria-pressed') === 'true';
  const first = spoken === null;  // what was there when the page opened
  const another = !first && spoken !== idOf(clip);
  const forbidden = !first && stop && stop !== spokenStop;
  spoken = idOf(clip);
  spokenStop = stop;
  if (!on) return;
  owed = owed || another;
  const settled = owed && line.settled;
  if (another || forbidden) speechSynthesis.cancel();
  // The whole of what forbids once; with each further shot its beginning.
  const again = another && stop ? [stop.split(/[.:] /)[0] + '.'] : [];
  speak([...(forbidden ? wordsOfStop(clip) : again), ...(another ? wordsOfReading(clip) : []),
         ...(settled ? wordsOfStep() : [])]);
  if (settled) owed = false;
}

at('say').addEventListener('click', sayNewest);
at('say-each').addEventListener('click', function () {
  const on = this.getAttribute('aria-pressed') !== 'true';
  this.setAttribute('aria-pressed', String(on));
  // A browser speaks by itself only once it was asked to by a finger.
  if (on) sayNewest(); else speechSynthesis.cancel();
});
