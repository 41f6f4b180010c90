// Keys of the page. They act on the frame that is open, else on the frame in the grid that has the focus.

const KEYS = [
  ['\u2190 \u2191 \u2192 \u2193', 'walk through the frames; in an open frame \u2190 and \u2192 go to the one before and after, in a plot from point to point'],
  ['Enter', 'open the frame'],
  ['K', 'keep it'],
  ['U', 'say that you are unsure'],
  ['D', 'drop it'],
  ['Z', 'undo the last change'],
  ['Y', 'do it again'],
  ['N', 'go to the next unsure frame'],
  ['F', 'go to the search for a file name'],
  ['S', 'save choices.csv'],
  ['Esc', 'close the open frame'],
];

const TERMS = [
  ['blur width', 'full width at half maximum of the blur, in pixels of the frame as stored; about 2 px is as sharp as a good lens gives'],
  ['smear', 'length of the blur that motion during the exposure left, in pixels'],
  ['near-repeat', 'a frame that shows the same ground as a better one; dropping it loses nothing'],
  ['off straight down', 'angle between the direction of view and the plumb line (off-nadir angle)'],
  ['plumb point', 'the spot in the frame that lies straight below the camera (nadir point)'],
  ['ground size of a pixel', 'distance on the ground between the middles of two neighbouring pixels (ground sample distance, GSD)'],
  ['residual', 'distance between where a point was found and where it was given; a residual on control points that were fitted is no accuracy'],
  ['check point', 'a known point kept out of the fit, to test it'],
];

const typing = (target) => target.matches('input, select, textarea');

function currentFrame() {
  if (frameView.frame) return frameView.frame;
  const card = document.activeElement?.closest('.grid .card');
  return card ? frameByFile.get(card.dataset.file) : null;
}

function goToNextUnsure() {
  const order = grid.shown;
  const from = frameView.frame ? order.indexOf(frameView.frame) : grid.current;
  for (let ahead = 1; ahead <= order.length; ++ahead) {
    const frame = order[(from + ahead) % order.length];
    if (choices.verdictOf(frame) !== 'unsure') continue;
    if (frameView.frame) openFrame(frame);
    else focusPlace(order.indexOf(frame));
    return;
  }
  say('No unsure frame is left.');
}

function walk(key) {
  if (frameView.frame) {
    if (key === 'ArrowLeft') openNeighbour(-1);
    else if (key === 'ArrowRight') openNeighbour(1);
    else return false;
    return true;
  }
  if (!document.activeElement?.closest('.grid .card')) return false;
  const steps = {ArrowLeft: -1, ArrowRight: 1, ArrowUp: -columnsOfGrid(), ArrowDown: columnsOfGrid()};
  focusPlace(grid.current + steps[key]);
  return true;
}

function onKey(event) {
  if (event.ctrlKey || event.metaKey || event.altKey || typing(event.target)) return;
  const frame = currentFrame();
  const verdict = VERDICTS.find((one) => verdictKey[one] === event.key.toUpperCase());
  const actions = {
    z: () => choices.undo(),
    y: () => choices.redo(),
    n: goToNextUnsure,
    f: () => { closeFrame(); document.querySelector('.filter').open = true; document.getElementById('find-file').focus(); },
    s: () => document.getElementById('save-choices').click(),
  };
  let handled = true;
  if (event.key.startsWith('Arrow')) handled = walk(event.key);
  else if (verdict && frame) choices.set(frame, verdict);
  else if (event.key === 'Enter' && event.target.matches('.card')) openFrame(frame);
  else if (actions[event.key.toLowerCase()]) actions[event.key.toLowerCase()]();
  else handled = false;
  if (handled) event.preventDefault();
}

function drawKeys() {
  const list = (entries, term) => el('dl', {class: 'terms'}, entries.map(([name, text]) =>
    el('div', {}, el('dt', {}, term(name)), el('dd', {}, text))));
  addTo('how',
      el('div', {class: 'how-columns'},
         el('div', {}, el('h3', {}, 'Keys'), list(KEYS, (name) => el('kbd', {}, name))),
         el('div', {}, el('h3', {}, 'Shapes'),
            el('ul', {class: 'shape-list'},
               el('li', {}, verdictShape('keep', 18), ' keep: good enough for the mosaic, which takes of them what it needs'),
               el('li', {}, verdictShape('unsure', 18), ' unsure: the program cannot tell, look at it'),
               el('li', {}, verdictShape('drop', 18), ' drop: stays out; where no other frame sees the ground, one that is blurred alone fills in')),
            el('h3', {}, 'Terms'), list(TERMS, (name) => name))));
  document.addEventListener('keydown', onKey);
}
