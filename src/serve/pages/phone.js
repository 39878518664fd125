'use strict';
// The code that a phone scans, on the computer's own screen.

const SVG = 'http://www.w3.org/2000/svg';
const MARGIN = 4;  // squares of light round the code (ISO/IEC 18004)

function codeOf(one) {
  const picture = document.createElementNS(SVG, 'svg');
  const side = one.side + 2 * MARGIN;
  picture.setAttribute('viewBox', [-MARGIN, -MARGIN, side, side].join(' '));
  picture.setAttribute('class', 'code');
  picture.setAttribute('role', 'img');
  picture.setAttribute('aria-label', 'Code of the address below');
  picture.setAttribute('shape-rendering', 'crispEdges');
  const squares = document.createElementNS(SVG, 'path');
  squares.setAttribute('d', one.path);
  squares.setAttribute('fill', '#000');
  picture.append(squares);
  return picture;
}

async function showPhone() {
  try {
    const told = await change('/api/phone', {});
    const all = told.addresses;
    at('phone-words').textContent = all.length
        ? 'With the phone in the same network as this computer, point its camera at the code.'
        : 'Only this computer is let in now. Start nocktrail from the menu, or with --lan, and a phone ' +
            'in the same network may come in. A clip that is put into the session\'s folder shows here, too.';
    at('phone-soft').hidden = !all.length;
    at('phone-open').hidden = !all.length || told.are_private;
    at('phone-codes').replaceChildren(...all.flatMap(function (one, index) {
      const words = make('p', '', 'soft');
      words.append(make('code', one.url));
      const shown = [codeOf(one), words];
      if (index === 0) return shown;
      const other = make('details');
      other.append(make('summary', 'If the phone finds nothing there: another address'), ...shown);
      return [other];
    }));
  } catch (problem) {
    at('phone-words').textContent = problem.message;
  }
}

at('phone').addEventListener('toggle', function () { if (this.open) showPhone(); });

if (ASKED_FOR === '#phone') {
  at('phone').open = true;
  at('phone').scrollIntoView({block: 'nearest'});
}
