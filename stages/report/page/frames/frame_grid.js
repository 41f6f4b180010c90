// The frames as a grid that sorts and filters, walked with the arrow keys.

const SORTS = {
  worst: {name: 'worst first', key: (frame) => -badness(frame, choices.verdictOf(frame))},
  closest: {name: 'closest to the limit first', key: (frame) => distanceFromLimit(decidingReason(frame)) ?? Infinity},
  time: {name: 'time taken', key: (frame) => frame.index},
  file: {name: 'file name', key: (frame) => frame.file},
  blur: {name: 'widest blur first', key: (frame) => -(frame.blur?.blur_fwhm_px ?? -1)},
  smear: {name: 'longest smear first', key: (frame) => -(frame.blur?.smear_px ?? -1)},
  swing: {name: 'most tilted first', key: (frame) => -(offNadir(frame) ?? -1)},
  glare: {name: 'most glare first', key: (frame) => -(frame.glare?.glare_share ?? -1)},
  residual: {name: 'worst fit in the mosaic first', key: (frame) => -(frame.placement.rmse_px ?? -1)},
};

/** Kept is what a frame is worth; used is whether the mosaic shows it somewhere. */
const USES = {
  used: {name: 'used', test: (frame) => frame.used === true},
  unused: {name: 'kept, not used', test: (frame) => frame.used === false && choices.verdictOf(frame) === 'keep'},
};

const grid = {cards: new Map(), shown: [], current: 0, controls: {}};

/** The line under a picture: what decided, number against limit. */
function decidingLine(frame) {
  if (choices.isChanged(frame)) return `your choice; the program says ${programVerdict(frame)}`;
  if (frame.fault) return frame.fault;
  return frame.decision.by_person ? 'your choice' : reasonText(decidingReason(frame), frame);
}

function pictureAlt(frame) {
  if (frame.fault) return `${frame.file} could not be read`;
  return `Frame ${frame.file}, view ${frame.decision.view}, ${choices.verdictOf(frame)}: ${decidingLine(frame)}`;
}

/** What a card says to those who do not see its picture: at once, and again when its verdict changes. */
function nameCard(frame, card) {
  const verdict = choices.verdictOf(frame);
  card.className = `card ${verdict}${choices.isByPerson(frame) ? ' by-person' : ''}`;
  card.setAttribute('aria-label', `${frame.file}: ${verdict}, ${decidingLine(frame)}`);
}

/** Fills a card; done when it nears the window, and again when its verdict changes. */
function drawCard(frame, card) {
  const verdict = choices.verdictOf(frame);
  const address = frame.fault ? null : wholePicture(frame);
  card.replaceChildren(
      el('div', {class: 'card-picture'}, address ? el('img', {src: address, alt: '', decoding: 'sync'}) : el('span', {class: 'unknown'}, 'no picture')),
      el('p', {class: 'card-verdict'}, verdictWord(verdict), useWord(frame)),
      el('p', {class: 'card-file'}, frame.file),
      el('p', {class: 'card-reason'}, decidingLine(frame)));
}

function cardOf(frame) {
  let card = grid.cards.get(frame);
  if (card) return card;
  card = el('div', {role: 'button', tabindex: '-1', 'data-file': frame.file,
                    onclick: () => openFrame(frame), onfocus: () => makeCurrent(grid.shown.indexOf(frame))},
            el('p', {class: 'card-file'}, frame.file));
  el('li', {}, card);
  nameCard(frame, card);
  whenSeen(card, () => { card.drawn = true; drawCard(frame, card); });
  grid.cards.set(frame, card);
  return card;
}

function makeCurrent(place) {
  if (place < 0) return;
  const before = grid.shown[grid.current];
  if (before) grid.cards.get(before)?.setAttribute('tabindex', '-1');
  grid.current = place;
  const frame = grid.shown[place];
  if (frame) grid.cards.get(frame)?.setAttribute('tabindex', '0');
}

function focusPlace(place) {
  const bounded = Math.max(0, Math.min(grid.shown.length - 1, place));
  const card = grid.cards.get(grid.shown[bounded]);
  card?.focus();
  card?.scrollIntoView({block: 'nearest'});
}

function columnsOfGrid() {
  const [first, ...others] = grid.shown.map((frame) => grid.cards.get(frame));
  if (!first) return 1;
  const top = first.getBoundingClientRect().top;
  const nextRow = others.findIndex((card) => card.getBoundingClientRect().top > top + 4);
  return nextRow < 0 ? grid.shown.length : nextRow + 1;
}

/** Words and numbers that a filter asks for. */
function passes(frame) {
  const {verdict, reason, view, use, text, changed} = grid.controls;
  if (verdict.value && choices.verdictOf(frame) !== verdict.value) return false;
  if (reason.value && !frame.decision.reasons.some((one) => one.word === reason.value) && decidingReason(frame)?.word !== reason.value &&
      !(reason.value === 'your choice' && choices.isByPerson(frame))) return false;
  if (view.value && frame.decision.view !== view.value) return false;
  if (use.value && !USES[use.value].test(frame)) return false;
  if (changed.checked && !choices.isChanged(frame)) return false;
  return frame.file.toLowerCase().includes(text.value.trim().toLowerCase());
}

function showGrid() {
  const {sort, list, count} = grid.controls;
  const {key} = SORTS[sort.value];
  const keyed = frames.filter(passes).map((frame) => ({frame, key: key(frame)}));
  keyed.sort((a, b) => (a.key < b.key ? -1 : a.key > b.key ? 1 : a.frame.index - b.frame.index));
  grid.shown = keyed.map(({frame}) => frame);
  list.replaceChildren(...grid.shown.map((frame) => cardOf(frame).parentElement));
  for (const card of grid.cards.values()) card.setAttribute('tabindex', '-1');
  grid.current = 0;
  makeCurrent(0);
  count.textContent = grid.shown.length === frames.length ? `All ${plural(frames.length, 'frame')}`
      : `${grid.shown.length} of ${plural(frames.length, 'frame')}`;
}

/** Leads from a number elsewhere on the page to the frames behind it. */
function showFramesWith({verdict = '', reason = '', use = ''}) {
  const {controls} = grid;
  controls.verdict.value = verdict;
  controls.reason.value = reason;
  controls.view.value = '';
  controls.use.value = use;
  controls.text.value = '';
  controls.changed.checked = false;
  showGrid();
  document.getElementById('frames').scrollIntoView();
  grid.cards.get(grid.shown[0])?.focus({preventScroll: true});
  say(grid.controls.count.textContent);
}

function picker(name, entries) {
  const select = el('select', {onchange: showGrid}, entries.map(([value, text]) => el('option', {value}, text)));
  return [select, el('label', {}, `${name} `, select)];
}

function drawGrid() {
  const words = [...new Set(frames.flatMap((frame) => [decidingReason(frame)?.word, ...frame.decision.reasons.map((one) => one.word)]))]
      .filter(Boolean).sort();
  const views = [...new Set(frames.map((frame) => frame.decision.view))].sort();
  const [sort, sortLabel] = picker('Order', Object.entries(SORTS).map(([value, {name}]) => [value, name]));
  const [verdict, verdictLabel] = picker('Verdict', [['', 'any'], ...VERDICTS.map((one) => [one, one])]);
  const [reason, reasonLabel] = picker('Reason', [['', 'any'], ...words.map((one) => [one, one]), ['your choice', 'your choice']]);
  const [view, viewLabel] = picker('View', [['', 'any'], ...views.map((one) => [one, one])]);
  const [use, useLabel] = picker('In the mosaic', [['', 'any'], ...Object.entries(USES).map(([value, {name}]) => [value, name])]);
  useLabel.hidden = !flight.mosaic;
  const text = el('input', {type: 'search', id: 'find-file', oninput: showGrid, placeholder: 'part of a file name'});
  const changed = el('input', {type: 'checkbox', onchange: showGrid});
  const count = el('span', {class: 'count', role: 'status'});
  const list = el('ul', {class: 'grid', 'aria-label': 'Frames'});
  grid.controls = {sort, verdict, reason, view, use, text, changed, count, list};
  addTo('frames',
      el('p', {class: 'hint key-hint'}, 'Arrow keys walk, Enter opens, ', VERDICTS.map((one) => [el('kbd', {}, verdictKey[one]), ` ${one}, `]),
         el('kbd', {}, 'Z'), ' undoes.'),
      el('details', {class: 'filter', open: innerWidth > 860}, el('summary', {}, 'Order and filter'),
         el('div', {class: 'controls'}, sortLabel, verdictLabel, reasonLabel, viewLabel, useLabel, el('label', {}, 'File ', text),
            el('label', {}, changed, ' changed by me only'))),
      el('p', {class: 'shown-count'}, count),
      list);
  choices.onChange((frame) => {
    const card = grid.cards.get(frame);
    if (card) nameCard(frame, card);
    if (card?.drawn) drawCard(frame, card);
  });
  showGrid();
}
