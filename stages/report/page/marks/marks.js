// Marks of points in frames: those that were given, where the placement expects them, and those set on this page, in any frame, with or
// without a control file. Kept over reloads, saved as marks.csv.

const MARK_ZOOM = 2;
/** Half the side of the piece of a frame that a mark set here is shown on, pixels of the frame. */
const MARK_REACH_PX = 60;
/** A mark that fits worse than this is worth a look, pixels of the frame. */
const MISFIT_PX = 0.5;

const marks = (() => {
  const place = `lookdown marks ${flight.key}`;
  const listeners = [];
  const history = [];
  const list = flight.marks.map((mark) => ({...mark, frame: frames[mark.frame]}));
  const moved = new Map();  // index in list -> [x, y] as stored, or null where the mark was taken away
  const positionOf = (index) => (moved.has(index) ? moved.get(index) : list[index].marked);
  const find = (frame, name) => list.findIndex((mark) => mark.frame === frame && mark.name === name);

  function remember() {
    try {
      localStorage.setItem(place, JSON.stringify([...moved].map(([index, position]) => [list[index].frame.file, list[index].name, position])));
    } catch { /* A page from disk may be refused storage; choices say so. */ }
  }

  function indexOf(frame, name) {
    const known = find(frame, name);
    if (known >= 0) return known;
    list.push({frame, name, marked: null, expected: null, area: null, picture: null});
    return list.length - 1;
  }

  function recall() {
    try {
      for (const [file, name, position] of JSON.parse(localStorage.getItem(place) ?? '[]')) {
        if (frameByFile.has(file)) moved.set(indexOf(frameByFile.get(file), name), position);
      }
    } catch { /* As above. */ }
  }

  function put(index, position) {
    if (position === undefined) moved.delete(index);
    else moved.set(index, position);
    remember();
    for (const listener of listeners) listener(index);
  }

  function move(index, position) {
    history.push([index, moved.has(index) ? moved.get(index) : undefined]);
    put(index, position);
  }

  const table = () => `file,name,x_px,y_px\r\n${list.map((mark, index) => {
    const position = positionOf(index);
    return position ? `${csvCell(mark.frame.file)},${csvCell(mark.name)},${position[0].toFixed(2)},${position[1].toFixed(2)}\r\n` : '';
  }).join('')}`;

  recall();
  return {
    list, positionOf, move, table,
    set: (frame, name, position) => move(indexOf(frame, name), position),
    undo: () => { const last = history.pop(); if (last) put(...last); },
    inFrame: (frame) => list.map((mark, index) => ({mark, index, position: positionOf(index)})).filter(({mark, position}) => mark.frame === frame && position),
    names: () => [...new Set([...flight.accuracy.points.map(({name}) => name), ...list.filter((_, index) => positionOf(index)).map(({name}) => name)])].sort(),
    count: () => moved.size,
    isMoved: (index) => moved.has(index),
    canUndo: () => history.length > 0,
    onChange: (listener) => listeners.push(listener),
  };
})();

const misfitOf = (index) => {
  const {expected} = marks.list[index];
  const position = marks.positionOf(index);
  return position && expected ? Math.hypot(position[0] - expected[0], position[1] - expected[1]) : null;
};

/** The piece of a frame, as displayed, that a mark set here is shown on. */
const areaAround = (frame, [x, y]) => [x - MARK_REACH_PX, y - MARK_REACH_PX, 2 * MARK_REACH_PX, 2 * MARK_REACH_PX];

/** One mark: its crop with a cross where it is and a ring where it is expected. */
function markCard(mark, index) {
  const {frame} = mark;
  const [left, top, width, height] = mark.area ?? areaAround(frame, shownFromStored(frame, marks.positionOf(index)));
  const drawing = svg('svg', {viewBox: `${left - 0.5} ${top - 0.5} ${width} ${height}`, class: 'mark-drawing', width: width * MARK_ZOOM,
                              height: height * MARK_ZOOM, tabindex: '0', role: 'application',
                              'aria-label': `Mark ${mark.name} in ${frame.file}: arrow keys move it by one pixel, Shift with them by a tenth, Delete takes it away`});
  const words = el('p', {class: 'mark-words'});
  let picture = null;
  whenSeen(drawing, () => {
    picture = mark.area ? svg('image', {href: jpegAddress(pictures().mark[mark.picture]), x: left - 0.5, y: top - 0.5, width, height})
                        : svg('image', {href: wholePicture(frame), x: -0.5, y: -0.5, width: frame.width_px, height: frame.height_px});
    show();
  });

  function show() {
    const position = marks.positionOf(index);
    const parts = [];
    if (mark.expected) {
      const [x, y] = shownFromStored(frame, mark.expected);
      parts.push(svg('circle', {cx: x, cy: y, r: 7, class: 'under'}), svg('circle', {cx: x, cy: y, r: 7, class: 'over expected'}));
    }
    if (position) {
      const [x, y] = shownFromStored(frame, position);
      parts.push(doubleLine(`M${x - 6} ${y}h12M${x} ${y - 6}v12`, 'set'));
    }
    drawing.replaceChildren(...[picture, ...parts.flat()].filter(Boolean));
    const off = misfitOf(index);
    words.textContent = [
      position ? `at ${number(position[0], 1)}, ${number(position[1], 1)}\u00a0px` : 'not marked here',
      off === null ? null : `${quantity(off, 'px')} from where it is expected`,
      marks.isMoved(index) ? 'changed by you' : null].filter(Boolean).join('; ');
  }

  function moveBy(dx, dy) {
    const from = marks.positionOf(index) ?? mark.expected;
    const [x, y] = shownFromStored(frame, from);
    marks.move(index, storedFromShown(frame, [x + dx, y + dy]));
  }

  drawing.addEventListener('click', (event) => {
    const box = drawing.getBoundingClientRect();
    marks.move(index, storedFromShown(frame, [left - 0.5 + (event.clientX - box.left) / box.width * width,
                                              top - 0.5 + (event.clientY - box.top) / box.height * height]));
  });
  drawing.addEventListener('keydown', (event) => {
    const step = event.shiftKey ? 0.1 : 1;
    const way = {ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step]}[event.key];
    if (way) moveBy(...way);
    else if (event.key === 'Delete') marks.move(index, null);
    else return;
    event.preventDefault();
    event.stopPropagation();
    say(words.textContent);
  });
  marks.onChange((changed) => { if (changed === index) show(); });
  show();
  return el('li', {class: 'mark-card'}, el('h4', {}, `${mark.name} `, el('button', {type: 'button', class: 'plain', onclick: () => openFrame(frame)}, frame.file)), drawing, words);
}

/** Cards, worst fit first; those that fit are folded away. */
function markList() {
  const holder = el('div', {class: 'mark-cards'});
  let shown = -1;
  const show = () => {
    const there = marks.list.map((mark, index) => index).filter((index) => marks.list[index].area || marks.positionOf(index));
    if (there.length === shown) return;
    shown = there.length;
    const byMisfit = [...there].sort((a, b) => (misfitOf(b) ?? -1) - (misfitOf(a) ?? -1));
    const off = byMisfit.filter((index) => (misfitOf(index) ?? Infinity) > MISFIT_PX && marks.positionOf(index));
    const fit = byMisfit.filter((index) => !off.includes(index));
    const cards = (indices) => el('ul', {class: 'mark-list'}, indices.map((index) => markCard(marks.list[index], index)));
    holder.replaceChildren(...[
      off.length ? cards(off) : null,
      fit.length ? el('details', {open: off.length === 0 && fit.length <= 12}, el('summary', {}, `${plural(fit.length, 'place')} where a mark fits to ${MISFIT_PX}\u00a0px, or is expected and not marked`), cards(fit)) : null,
    ].filter(Boolean));
  };
  marks.onChange(show);
  show();
  return holder;
}

function drawMarks() {
  const status = el('span', {class: 'choice-status'});
  const undo = el('button', {type: 'button', onclick: () => marks.undo()}, 'Undo');
  const next = el('p', {class: 'next-step', hidden: true});
  const command = commandLine(() => surveyOptions());
  const save = el('button', {type: 'button', id: 'save-marks', onclick: () => {
    saveText('marks.csv', marks.table());
    next.hidden = false;
    command.refresh();
  }}, 'Save marks.csv');
  const saveControl = el('button', {type: 'button', id: 'save-control', onclick: () => {
    saveText('control.csv', survey.table());
    next.hidden = false;
    command.refresh();
  }}, 'Save control.csv');
  next.append('Put the saved files where you run the program, then: ', command);
  const show = () => {
    status.textContent = marks.count() === 0 ? 'No mark changed' : `${plural(marks.count(), 'mark')} changed`;
    undo.disabled = !marks.canUndo();
    save.disabled = marks.names().length === 0;
    saveControl.hidden = survey.known().length === 0;
    command.refresh();
  };
  marks.onChange(show);
  survey.onChange(show);
  addTo('marks',
      el('p', {class: 'hint'}, 'A mark says where a point shows in a frame. Points of known position give scale, north and place; the two ends of something of known length give the scale. ',
         'To set one, open any frame and press \u201cMark points\u201d. In the pieces below the cross is the mark and the ring where the placement expects it: click the spot to move the mark, or use the arrow keys; Shift moves by a tenth of a pixel, Delete takes the mark away.'),
      surveyForm(),
      el('div', {class: 'controls'}, status, undo, save, saveControl), next,
      markList());
  show();
}
