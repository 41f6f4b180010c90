// Marks of control points: where they were set, where the placement expects them, and putting them right. Saved as marks.csv.

const MARK_ZOOM = 2;

/** Between pixels as displayed and pixels as stored (Exif orientation, CIPA DC-008). */
const orientationMaps = {
  toStored: {1: (u, v) => [u, v], 2: (u, v) => [1 - u, v], 3: (u, v) => [1 - u, 1 - v], 4: (u, v) => [u, 1 - v],
             5: (u, v) => [v, u], 6: (u, v) => [v, 1 - u], 7: (u, v) => [1 - v, 1 - u], 8: (u, v) => [1 - v, u]},
  toShown: {1: (u, v) => [u, v], 2: (u, v) => [1 - u, v], 3: (u, v) => [1 - u, 1 - v], 4: (u, v) => [u, 1 - v],
            5: (u, v) => [v, u], 6: (u, v) => [1 - v, u], 7: (u, v) => [1 - v, 1 - u], 8: (u, v) => [v, 1 - u]},
};
const storedSize = (frame) => (frame.orientation >= 5 ? [frame.height_px, frame.width_px] : [frame.width_px, frame.height_px]);

function shownFromStored(frame, [x, y]) {
  const [width, height] = storedSize(frame);
  const [u, v] = (orientationMaps.toShown[frame.orientation] ?? orientationMaps.toShown[1])((x + 0.5) / width, (y + 0.5) / height);
  return [u * frame.width_px - 0.5, v * frame.height_px - 0.5];
}

function storedFromShown(frame, [x, y]) {
  const [width, height] = storedSize(frame);
  const [u, v] = (orientationMaps.toStored[frame.orientation] ?? orientationMaps.toStored[1])((x + 0.5) / frame.width_px, (y + 0.5) / frame.height_px);
  return [u * width - 0.5, v * height - 0.5];
}

const marks = (() => {
  const place = `lookdown marks ${flight.key}`;
  const listeners = [];
  const history = [];
  const moved = new Map();  // index in flight.marks -> [x, y] as stored, or null where the mark was taken away
  const nameOf = (index) => `${frames[flight.marks[index].frame].file}\n${flight.marks[index].name}`;
  const positionOf = (index) => (moved.has(index) ? moved.get(index) : flight.marks[index].marked);

  function remember() {
    try {
      localStorage.setItem(place, JSON.stringify([...moved].map(([index, position]) => [nameOf(index), position])));
    } catch { /* A page from disk may be refused storage; choices say so. */ }
  }

  function recall() {
    try {
      const indexOf = new Map(flight.marks.map((mark, index) => [nameOf(index), index]));
      for (const [name, position] of JSON.parse(localStorage.getItem(place) ?? '[]')) {
        if (indexOf.has(name)) moved.set(indexOf.get(name), position);
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

  function undo() {
    const last = history.pop();
    if (last) put(...last);
  }

  const quoted = (text) => (/[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);
  const table = () => `file,name,x_px,y_px\r\n${flight.marks.map((mark, index) => {
    const position = positionOf(index);
    return position ? `${quoted(frames[mark.frame].file)},${quoted(mark.name)},${position[0].toFixed(2)},${position[1].toFixed(2)}\r\n` : '';
  }).join('')}`;

  recall();
  return {positionOf, move, undo, table, count: () => moved.size, isMoved: (index) => moved.has(index),
          canUndo: () => history.length > 0, onChange: (listener) => listeners.push(listener)};
})();

/** One mark: its crop with a cross where it is and a ring where it is expected. */
function markCard(mark, index) {
  const frame = frames[mark.frame];
  const [left, top, width, height] = mark.area;
  const drawing = svg('svg', {viewBox: `${left - 0.5} ${top - 0.5} ${width} ${height}`, class: 'mark-drawing', width: width * MARK_ZOOM,
                              height: height * MARK_ZOOM, tabindex: '0', role: 'application',
                              'aria-label': `Mark ${mark.name} in ${frame.file}: arrow keys move it by one pixel, Shift with them by a tenth, Delete takes it away`});
  const words = el('p', {class: 'mark-words'});
  let picture = null;
  whenSeen(drawing, () => {
    picture = svg('image', {href: jpegAddress(pictures().mark[mark.picture]), x: left - 0.5, y: top - 0.5, width, height});
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
    const off = position && mark.expected ? Math.hypot(position[0] - mark.expected[0], position[1] - mark.expected[1]) : null;
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

function drawMarks() {
  if (flight.marks.length === 0) return;
  const status = el('span', {class: 'choice-status'});
  const undo = el('button', {type: 'button', onclick: () => marks.undo()}, 'Undo');
  const next = el('p', {class: 'next-step', hidden: true}, 'Run again with ', el('code', {}, '--marks marks.csv'), ' and the same control points.');
  const save = el('button', {type: 'button', class: 'main', id: 'save-marks', onclick: () => {
    saveText('marks.csv', marks.table());
    next.hidden = false;
  }}, 'Save marks.csv');
  const show = () => {
    status.textContent = marks.count() === 0 ? 'No mark changed' : `${plural(marks.count(), 'mark')} changed`;
    undo.disabled = !marks.canUndo();
  };
  marks.onChange(show);
  show();
  addTo('map',
      el('h3', {id: 'marks-title'}, 'Marks of control points'),
      el('p', {class: 'hint'}, 'The cross is the mark, the ring where the placement expects it. Click the spot to move the mark, or use the arrow keys; Shift moves by a tenth of a pixel, Delete takes the mark away.'),
      el('div', {class: 'controls'}, status, undo, save, next),
      el('ul', {class: 'mark-list', 'aria-labelledby': 'marks-title'}, flight.marks.map(markCard)));
}
