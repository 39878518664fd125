'use strict';

const asked = new URLSearchParams(location.search);
const setup = asked.get('setup') || '.';
const name = asked.get('clip') || '';

let about = null;          // what the computer told of the clip
let index = 0;             // the frame that is looked at
let target = 'nock';       // what a touch sets: nock, tip, limb, or move for the view
let marks = new Map();     // by frame: {nock: [x, y] or null, tip: likewise}
let exitIndex = null;
let limb = null;           // the middle of the upper limb in one frame: {index, points_px}
let was = '';              // the version that the marks began from
let unkept = false;
let flight = new Map();    // what they make, by frame
let made = null;           // the last answer about it
const undone = [];

// --- the marks as they travel -------------------------------------------------------------------

function marksDocument() {
  const frames = Array.from(marks, ([frame, m]) => ({index: frame, nock_px: m.nock, tip_px: m.tip}));
  frames.sort((a, b) => a.index - b.index);
  return {schema: 'nocktrail.marks/1', clip_sha256: about.sha256, frames: frames,
          exit_index: exitIndex, limb: limb && limb.points_px.length > 1 ? limb : null, counts: at('counts').checked};
}

function take(told) {
  marks = new Map((told ? told.frames : []).map(
      f => [f.index, {nock: f.nock_px, tip: f.tip_px}]));
  exitIndex = told ? told.exit_index : null;
  limb = (told && told.limb) || null;
  at('counts').checked = Boolean(told && told.counts);
}

const bothIn = m => m.nock && m.tip;
function both() { return Array.from(marks.values()).filter(bothIn).length; }

// What is not kept yet survives a phone that slept or a page that was loaded anew.
function draftName() { return 'nocktrail-marks-' + about.sha256; }
function keepDraft() {
  sessionStorage.setItem(draftName(), JSON.stringify({marks: marksDocument(), was: was}));
}

// --- changing them ------------------------------------------------------------------------------

function state() { return JSON.stringify([Array.from(marks), exitIndex, limb]); }

function edit(what) {
  undone.push(state());
  what();
  const m = marks.get(index);
  if (m && !m.nock && !m.tip) marks.delete(index);
  changed();
}

function changed() {
  unkept = true;
  keepDraft();
  showMarks();
  draw();
  tryMarks();
}

const limbHere = () => limb !== null && limb.index === index;

function setLimb(place) {
  edit(function () {
    const more = limbHere() && limb.points_px.length < about.most_limb_points;
    limb = {index: index, points_px: more ? limb.points_px.concat([place]) : [place]};
  });
}

function setMark(which, place) {
  if (which === 'limb') {
    setLimb(place);
    return;
  }
  if (!marks.has(index) && marks.size >= about.most_frames) {
    show(at('error'), 'At most ' + about.most_frames + ' frames are marked: clear others first.');
    return;
  }
  edit(function () {
    const m = Object.assign({nock: null, tip: null}, marks.get(index));
    m[which] = place;
    marks.set(index, m);
  });
  const m = marks.get(index);
  if (which === 'nock' && !m.tip) choose('tip');
  else if (which === 'tip' && !m.nock) choose('nock');
}

function nudge(dx, dy) {
  if (target === 'limb' && limbHere()) {
    edit(function () {
      const points = limb.points_px.slice();
      const last = points.pop();
      limb = {index: index,
              points_px: points.concat([insideFrame([last[0] + dx, last[1] + dy])])};
    });
    return;
  }
  const m = marks.get(index);
  if (target === 'move' || !m || !m[target]) return;
  setMark(target, insideFrame([m[target][0] + dx, m[target][1] + dy]));
}

// Where the flight says that it is, else the middle of the view.
function setByKey() {
  if (target === 'move') return;
  const fitted = target === 'limb' ? null : flight.get(index);
  setMark(target, insideFrame(fitted ? fitted[target + '_px'] : [view.x, view.y]));
}

function undo() {
  if (!undone.length) return;
  const [frames, exit, line] = JSON.parse(undone.pop());
  marks = new Map(frames);
  exitIndex = exit;
  limb = line;
  changed();
}

// --- showing ------------------------------------------------------------------------------------

function choose(which) {
  target = which;
  at('mark-nock').setAttribute('aria-pressed', String(which === 'nock'));
  at('mark-tip').setAttribute('aria-pressed', String(which === 'tip'));
  at('mark-limb').setAttribute('aria-pressed', String(which === 'limb'));
  at('move').setAttribute('aria-pressed', String(which === 'move'));
  draw();
}

function wordsOf(m) {
  if (!m) return 'nothing marked';
  return bothIn(m) ? 'nock and point marked' : m.nock ? 'nock marked' : 'point marked';
}

function showMarks() {
  const m = marks.get(index);
  at('frame-words').textContent = 'Frame ' + index + ' of 0 to ' + (about.frames - 1) + ': ' +
      wordsOf(m) + (exitIndex === index ? ', the nock leaves the string' : '') +
      (limbHere() ? ', limb marked at ' + limb.points_px.length +
           (limb.points_px.length === 1 ? ' place: one more' : ' places') : '') + '.';
  canvas.setAttribute('aria-label', at('frame-words').textContent);
  at('slider').value = index;
  at('slider').setAttribute('aria-valuetext', 'frame ' + index + ' of ' + (about.frames - 1));
  at('undo').disabled = undone.length === 0;
  at('clear-frame').disabled = !m && !limbHere();
  at('exit').setAttribute('aria-pressed', String(exitIndex === index));
  at('back').disabled = at('back-ten').disabled = index === 0;
  at('forward').disabled = at('forward-ten').disabled = index === about.frames - 1;
  const frames = Array.from(marks.keys()).sort((a, b) => a - b);
  at('marked').replaceChildren(...frames.map(function (frame) {
    const go = make('button', String(frame) + (bothIn(marks.get(frame)) ? '' : ' half'));
    go.type = 'button';
    go.setAttribute('aria-label', 'Frame ' + frame + ': ' + wordsOf(marks.get(frame)));
    if (frame === index) go.setAttribute('aria-current', 'true');
    go.addEventListener('click', () => goTo(frame));
    const item = make('li');
    item.append(go);
    return item;
  }));
  const missing = about.frames_for_reading - both();
  at('keep').disabled = missing > 0 || !unkept;
  at('keep-words').textContent =
      missing > 0 ? 'To be kept once nock and point are marked in ' + missing + ' more frame' +
                    (missing === 1 ? '.' : 's.')
      : unkept ? 'Not kept yet.' : 'Kept.';
  at('put-away').hidden = !about.version;
}

function showMade(words) {
  const count = both();
  const left = about.frames_for_flight - count;
  const lines = [];
  if (words) {
    lines.push(make('p', words, 'soft'));
  } else if (left > 0 || !made) {
    lines.push(make('p', count === 0 ? 'Nock and point are marked in no frame yet.'
        : count + (count === 1 ? ' frame has' : ' frames have') + ' both ends marked.'));
    if (left > 0) {
      lines.push(make('p', 'After ' + left + (count ? ' more' : '') + ' the flight is drawn.', 'soft'));
    }
  } else {
    if (made.flight.length) {
      lines.push(make('p', 'The flight that they make is dashed in the frames: look whether it lies ' +
          'on the arrow.', 'soft'));
    }
    lines.push(made.missing ? make('p', sentence(made.missing) + '.') : readingOf(made.reading));
  }
  at('made').replaceChildren(...lines);
}

function goTo(frame) {
  const to = Math.min(Math.max(frame, 0), about.frames - 1);
  if (to === index) return;
  index = to;
  const m = marks.get(index);
  if (target === 'nock' || target === 'tip') choose(m && m.nock && !m.tip ? 'tip' : 'nock');
  const fitted = flight.get(index);
  if (fitted && !inSight(fitted.nock_px)) {
    view.x = (fitted.nock_px[0] + fitted.tip_px[0]) / 2;
    view.y = (fitted.nock_px[1] + fitted.tip_px[1]) / 2;
    holdView();
  }
  showMarks();
  draw();
  showFrame();
}

// Where to look closer: at what is marked here or elsewhere.
function middle() {
  const fitted = flight.get(index);
  const m = marks.get(index) || (fitted && {nock: fitted.nock_px, tip: fitted.tip_px});
  if (!m) return null;
  const a = m.nock || m.tip, b = m.tip || m.nock;
  return [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
}

// --- what they make -----------------------------------------------------------------------------

let trying = false, tryAgain = false, tryTimer = null;

function tryMarks() {
  clearTimeout(tryTimer);
  if (both() < about.frames_for_flight) {
    flight = new Map();
    made = null;
    showMade();
    return;
  }
  showMade('Being worked out …');
  tryTimer = setTimeout(tryNow, 400);
}

async function tryNow() {
  if (trying) { tryAgain = true; return; }
  trying = true;
  const of = state();
  try {
    const answer = await change('/api/try-marks', {setup: setup, clip: name, marks: marksDocument()});
    if (of === state()) {
      made = answer;
      flight = new Map(answer.flight.map(f => [f.index, f]));
      showMade();
      draw();
    }
  } catch (problem) {
    if (of === state()) {
      made = null;
      flight = new Map();
      showMade(problem.message);
      draw();
    }
  }
  trying = false;
  if (tryAgain) { tryAgain = false; tryMarks(); }
}

async function keep(what) {
  show(at('error'), '');
  at('keep').disabled = at('put-away').disabled = true;
  const of = state() + at('counts').checked;
  try {
    const kept = await change('/api/marks', {setup: setup, clip: name, marks: what, was: was});
    was = about.version = kept.version;
    if (what === null) { take(null); undone.length = 0; }
    if (what === null || of === state() + at('counts').checked) {
      unkept = false;
      sessionStorage.removeItem(draftName());
    } else {
      keepDraft();
    }
    at('state').textContent = what === null ? 'Put away; being read anew …' : 'Kept; being read …';
    if (what === null) tryMarks();
  } catch (problem) {
    show(at('error'), problem.message);
    at('theirs').hidden = !problem.message.startsWith('somebody else');
  }
  at('put-away').disabled = false;
  showMarks();
  draw();
}

// --- hearing of changes -------------------------------------------------------------------------

function begin() {
  at('slider').max = about.frames - 1;
  fitCanvas();
  const stretch = about.stretch;
  at('to-flight').hidden = !stretch;
  const draft = JSON.parse(sessionStorage.getItem(draftName()) || 'null');
  take(draft ? draft.marks : about.marks);
  was = draft ? draft.was : about.version;
  unkept = Boolean(draft);
  const first = Math.min(...marks.keys());
  index = Number.isFinite(first) ? first : stretch ? stretch.begin : 0;
  viewWindow(stretch && stretch.window);
  at('state').textContent = about.fault ? sentence(about.fault) + '.'
      : stretch ? 'The frames about the flight come first; the slider leads through the whole clip.'
      : 'No flight was found: go to it with the slider, then frame by frame.';
}

function showReading() {
  at('title').textContent = 'By hand: ' + name + (setup === '.' ? '' : ' · ' + setup);
  document.title = 'By hand: ' + name + ' · nocktrail';
  at('to-shot').href = addressOf('/shot', about);
}

async function refresh() {
  try {
    const told = await ask('/api/by-hand?' + new URLSearchParams({setup: setup, clip: name}));
    const first = !about || about.sha256 !== told.sha256;
    const read = about && !first && JSON.stringify(about.shots) !== JSON.stringify(told.shots);
    about = told;
    showReading();
    if (first) {
      begin();
      showMarks();
      tryMarks();
      showFrame();
      return;
    }
    if (!unkept && about.version !== was) {  // by another browser
      take(about.marks);
      was = about.version;
      undone.length = 0;
      tryMarks();
    }
    if (read) at('state').textContent = about.by_hand ? 'Kept, and read by the marks.' : 'Read anew.';
    showMarks();
    draw();
  } catch (problem) {
    at('state').textContent = problem.message;
  }
}

// --- buttons and keys ---------------------------------------------------------------------------

function onClick(id, what) { at(id).addEventListener('click', () => { if (about) what(); }); }

onClick('back', () => goTo(index - 1));
onClick('forward', () => goTo(index + 1));
onClick('back-ten', () => goTo(index - 10));
onClick('forward-ten', () => goTo(index + 10));
onClick('to-flight', function () {
  viewWindow(about.stretch.window);
  if (index === about.stretch.begin) showFrame();
  goTo(about.stretch.begin);
});
onClick('mark-nock', () => choose('nock'));
onClick('mark-tip', () => choose('tip'));
onClick('mark-limb', () => choose('limb'));
onClick('move', () => choose('move'));
onClick('undo', undo);
onClick('clear-frame', () => edit(function () {
  marks.delete(index);
  if (limbHere()) limb = null;
}));
onClick('closer', function () { zoom(1.6, middle()); draw(); showFrame(); });
onClick('wider', function () { zoom(1 / 1.6, null); draw(); showFrame(); });
onClick('exit', () => edit(() => { exitIndex = exitIndex === index ? null : index; }));
onClick('keep', () => keep(marksDocument()));
onClick('put-away', () => keep(null));
onClick('theirs', function () {
  sessionStorage.removeItem(draftName());
  at('theirs').hidden = true;
  show(at('error'), '');
  unkept = false;
  was = null;  // whatever stands is taken
  refresh();
});
at('slider').addEventListener('input', function () { if (about) goTo(Number(this.value)); });
at('counts').addEventListener('change', function () {
  if (!about) return;
  unkept = true;
  keepDraft();
  showMarks();
});

document.addEventListener('keydown', function (event) {
  if (!about || event.altKey || event.metaKey || event.target.tagName === 'INPUT') return;
  const arrows = {ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1]};
  const arrow = arrows[event.key];
  let used = true;
  if (event.ctrlKey) {
    used = event.key === 'z';
    if (used) undo();
  } else if (arrow && event.shiftKey) nudge(...arrow);
  else if (arrow && arrow[0]) goTo(index + arrow[0]);
  else if (event.key === 'n') choose('nock');
  else if (event.key === 'p') choose('tip');
  else if (event.key === 'l') choose('limb');
  else if (event.key === 'u') undo();
  else if (event.key === '+') at('closer').click();
  else if (event.key === '-') at('wider').click();
  else if (event.key === 'Enter' && event.target === canvas) setByKey();
  else used = false;
  if (used) event.preventDefault();
});

window.addEventListener('resize', function () {
  if (!about) return;
  fitCanvas();  // which clears it; a phone's bars come and go
  holdView();
  draw();
  showFrame();
});

const events = new EventSource('/api/events');
events.addEventListener('open', refresh);
events.addEventListener('change', refresh);
document.addEventListener('visibilitychange', function () { if (!document.hidden) refresh(); });
if (!key()) show(at('error'), NO_KEY);
