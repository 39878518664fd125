'use strict';
// The picture of one frame: the part of it that is looked at, what is drawn over it, the glass under
// a finger. Places are in pixels of the frame, integers at pixel centres.

// A view: its middle in the frame, and screen pixels for each of the frame's.
const view = {x: 0, y: 0, scale: 1};
const canvas = at('picture');
const pen = canvas.getContext('2d');

const GLASS = 62;          // radius of the glass, screen px: a thumb's width and some more
const GLASS_ABOVE = 96;    // its middle over the finger
const GLASS_ZOOM = 3;
const MOST_BITMAPS = 24;

const bitmaps = new Map(); // by what was asked: {image, part}
let shown = null;          // the one on the screen, and of which frame
let finger = null;         // where it is held, on the screen
let dragged = null;        // where the view was when it began

// --- the view -----------------------------------------------------------------------------------

function onScreen(p) {
  return [canvas.clientWidth / 2 + (p[0] - view.x) * view.scale,
          canvas.clientHeight / 2 + (p[1] - view.y) * view.scale];
}

function inFrame(s) {
  return [view.x + (s[0] - canvas.clientWidth / 2) / view.scale,
          view.y + (s[1] - canvas.clientHeight / 2) / view.scale];
}

function insideFrame(p) {
  const clamp = (v, most) => Math.min(Math.max(v, 0), most - 1);
  return [clamp(Math.round(10 * p[0]) / 10, about.width),
          clamp(Math.round(10 * p[1]) / 10, about.height)];
}

function inSight(p) {
  const [x, y] = onScreen(p);
  return x > 8 && y > 8 && x < canvas.clientWidth - 8 && y < canvas.clientHeight - 8;
}

// As large as the screen leaves room for below it, whatever the frame's shape: a flight away from
// the phone is higher than it is wide.
function fitCanvas() {
  const width = canvas.clientWidth;
  // A phone on its side has the buttons beside the frame (style.css).
  const aside = window.matchMedia('(orientation: landscape) and (max-height: 34rem)').matches;
  const height = aside ? Math.round(window.innerHeight - 16)
                       : Math.round(Math.max(240, Math.min(0.52 * window.innerHeight, 1.6 * width)));
  canvas.style.height = height + 'px';
  const dense = Math.min(window.devicePixelRatio || 1, 3);
  canvas.width = Math.round(width * dense);
  canvas.height = Math.round(height * dense);
}

function holdView() {
  const whole = Math.min(canvas.clientWidth / about.width, canvas.clientHeight / about.height);
  view.scale = Math.min(Math.max(view.scale, whole), 12);
  view.x = Math.min(Math.max(view.x, 0), about.width);
  view.y = Math.min(Math.max(view.y, 0), about.height);
}

function viewWindow(window_) {
  const [x, y, w, h] = window_ || [0, 0, about.width, about.height];
  view.x = x + w / 2 - 0.5;
  view.y = y + h / 2 - 0.5;
  view.scale = Math.min(canvas.clientWidth / w, canvas.clientHeight / h);
  holdView();
}

function zoom(factor, to) {
  if (to) { view.x = to[0]; view.y = to[1]; }
  view.scale *= factor;
  holdView();
}

// --- frames -------------------------------------------------------------------------------------

// The part of the frame that the view shows, and how wide a picture of it is worth while.
function wantedPart() {
  const low = inFrame([0, 0]), high = inFrame([canvas.clientWidth, canvas.clientHeight]);
  const from = (v, size) => Math.min(Math.max(Math.floor(v + 0.5) - 1, 0), size - 16);
  const x = from(low[0], about.width), y = from(low[1], about.height);
  const w = Math.max(16, Math.min(Math.ceil(high[0] + 1.5), about.width) - x);
  const h = Math.max(16, Math.min(Math.ceil(high[1] + 1.5), about.height) - y);
  const dense = Math.min(window.devicePixelRatio || 1, 2);
  let width = Math.max(w, Math.min(w * view.scale * dense, 3 * w));
  width = Math.min(width, 1600, Math.sqrt(3.9e6 * w / h));
  return {x: x, y: y, w: w, h: h, width: Math.max(48, Math.floor(width))};
}

function addressOf(index, part) {
  return '/api/frame?' + new URLSearchParams(
      {setup: setup, clip: name, index: index, x: part.x, y: part.y, w: part.w, h: part.h,
       width: part.width});
}

async function bitmapOf(index, part) {
  const address = addressOf(index, part);
  const known = bitmaps.get(address);
  if (known) {
    bitmaps.delete(address);  // to the end, among those asked for last
    bitmaps.set(address, known);
    return known;
  }
  const answer = await fetch(address, {cache: 'no-store'});
  if (!answer.ok) {
    let words = 'This frame cannot be had (' + answer.status + ').';
    try { words = sentence((await answer.json()).error) + '.'; } catch (e) { /* none */ }
    throw new Error(words);
  }
  const one = {image: await createImageBitmap(await answer.blob()), part: part, index: index};
  bitmaps.set(address, one);
  if (bitmaps.size > MOST_BITMAPS) {
    for (const [key, old] of bitmaps) {
      if (old === shown) continue;
      bitmaps.delete(key);
      old.image.close();
      break;
    }
  }
  return one;
}

let loading = false, wanted_again = false;

// Shows the frame that is wanted now; of those wanted meanwhile, the last one.
async function showFrame() {
  if (loading) { wanted_again = true; return; }
  loading = true;
  const asked = index;
  const part = wantedPart();
  try {
    shown = await bitmapOf(asked, part);
    show(at('error'), '');
  } catch (problem) {
    show(at('error'), problem.message);
  }
  draw();
  loading = false;
  if (wanted_again) {
    wanted_again = false;
    showFrame();
  } else {
    fetchNeighbours(asked, part);
  }
}

// The next steps are there before they are taken.
async function fetchNeighbours(from, part) {
  const still = () => index === from && !loading && !document.hidden &&
      JSON.stringify(wantedPart()) === JSON.stringify(part);
  await new Promise(resolve => setTimeout(resolve, 120));
  for (const step of [1, -1, 2, -2, 3]) {
    const beside = from + step;
    if (!still()) return;
    if (beside >= 0 && beside < about.frames) {
      try { await bitmapOf(beside, part); } catch (e) { return; }
    }
  }
}

// --- drawing ------------------------------------------------------------------------------------

function stroke(path, colour, width, dash) {
  pen.setLineDash(dash || []);
  for (const [c, w] of [['#000000', width + 2.5], [colour, width]]) {
    pen.strokeStyle = c;
    pen.lineWidth = w;
    pen.stroke(path);
  }
  pen.setLineDash([]);
}

// A ring for the nock, a cross for the point: told apart without colour.
function drawMark(p, which, chosen, place) {
  const [x, y] = place(p);
  const path = new Path2D();
  const r = chosen ? 9 : 7;
  if (which === 'nock') {
    path.arc(x, y, r, 0, 2 * Math.PI);
  } else {
    path.moveTo(x - r, y - r); path.lineTo(x + r, y + r);
    path.moveTo(x - r, y + r); path.lineTo(x + r, y - r);
  }
  stroke(path, which === 'nock' ? '#ffd54a' : '#7fd4ff', chosen ? 2.5 : 1.5);
}

// Squares, and a line through them from the top down.
function drawLimb(place) {
  const points = limb.points_px.map(place).sort((a, b) => a[1] - b[1]);
  const path = new Path2D();
  points.forEach(function ([x, y], i) {
    if (i === 0) path.moveTo(x, y); else path.lineTo(x, y);
  });
  for (const [x, y] of points) path.rect(x - 5, y - 5, 10, 10);
  stroke(path, '#e6a3ff', target === 'limb' ? 2.5 : 1.5);
}

function drawOver(place) {
  const fitted = flight.get(index);
  if (fitted) {
    const path = new Path2D();
    path.moveTo(...place(fitted.nock_px));
    path.lineTo(...place(fitted.tip_px));
    stroke(path, '#ffffff', 1.5, [6, 5]);
  }
  if (limbHere()) drawLimb(place);
  const mark = marks.get(index);
  if (mark && mark.nock) drawMark(mark.nock, 'nock', target === 'nock', place);
  if (mark && mark.tip) drawMark(mark.tip, 'tip', target === 'tip', place);
}

function drawImage(place, scale) {
  if (!shown) return;
  const [x, y] = place([shown.part.x - 0.5, shown.part.y - 0.5]);
  pen.imageSmoothingEnabled = true;
  pen.drawImage(shown.image, x, y, shown.part.w * scale, shown.part.h * scale);
}

// What is under the finger, enlarged, beside it.
function drawGlass() {
  const [fx, fy] = finger;
  const under = inFrame(finger);
  let gx = fx, gy = fy - GLASS_ABOVE;
  if (gy < GLASS + 4) {  // no room above: to the side that has more
    gy = Math.max(GLASS + 4, fy - 20);
    gx = fx < canvas.clientWidth / 2 ? fx + GLASS_ABOVE : fx - GLASS_ABOVE;
  }
  gx = Math.min(Math.max(gx, GLASS + 4), canvas.clientWidth - GLASS - 4);
  const zoomed = Math.max(view.scale * GLASS_ZOOM, 3);
  const place = p => [gx + (p[0] - under[0]) * zoomed, gy + (p[1] - under[1]) * zoomed];
  const rim = new Path2D();
  rim.arc(gx, gy, GLASS, 0, 2 * Math.PI);
  pen.save();
  pen.clip(rim);
  pen.fillStyle = '#000000';
  pen.fillRect(gx - GLASS, gy - GLASS, 2 * GLASS, 2 * GLASS);
  drawImage(place, zoomed);
  drawOver(place);
  const cross = new Path2D();
  for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
    cross.moveTo(gx + 5 * dx, gy + 5 * dy);
    cross.lineTo(gx + 22 * dx, gy + 22 * dy);
  }
  stroke(cross, '#ffffff', 1.5);
  pen.restore();
  stroke(rim, '#ffffff', 2.5);
}

function draw() {
  const dense = canvas.width / Math.max(1, canvas.clientWidth);
  pen.setTransform(dense, 0, 0, dense, 0, 0);
  pen.fillStyle = '#101214';
  pen.fillRect(0, 0, canvas.clientWidth, canvas.clientHeight);
  drawImage(onScreen, view.scale);
  canvas.setAttribute('aria-busy', String(!shown || shown.index !== index));
  if (shown && shown.index === index) drawOver(onScreen);
  if (finger && target !== 'move') drawGlass();
}

// --- a finger, a mouse --------------------------------------------------------------------------

function placeOf(event) {
  const box = canvas.getBoundingClientRect();
  return [event.clientX - box.left, event.clientY - box.top];
}

canvas.addEventListener('pointerdown', function (event) {
  if (!about || finger || (event.pointerType === 'mouse' && event.button !== 0)) return;
  event.preventDefault();
  canvas.focus({preventScroll: true});
  canvas.setPointerCapture(event.pointerId);
  finger = placeOf(event);
  dragged = {x: view.x, y: view.y, from: finger};
  draw();
});

canvas.addEventListener('pointermove', function (event) {
  if (!finger) return;
  finger = placeOf(event);
  if (target === 'move') {
    view.x = dragged.x - (finger[0] - dragged.from[0]) / view.scale;
    view.y = dragged.y - (finger[1] - dragged.from[1]) / view.scale;
    holdView();
  }
  draw();
});

canvas.addEventListener('pointerup', function (event) {
  if (!finger) return;
  const place = inFrame(placeOf(event));
  finger = null;
  if (target === 'move') {
    showFrame();
  } else if (shown && shown.index === index) {  // what was seen is what is marked
    setMark(target, insideFrame(place));
  }
  draw();
});

canvas.addEventListener('pointercancel', function () { finger = null; draw(); });
