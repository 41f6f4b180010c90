// Setting marks in a frame: the frame's picture, as large as the original where that is still in its place, a name, a click.

/** The next name that is not taken: P1, P2, ... */
function freshName() {
  const taken = new Set(marks.names());
  let index = 1;
  while (taken.has(`P${index}`)) ++index;
  return `P${index}`;
}

/** What browsers show by themselves. */
const SHOWN_BY_BROWSERS = /\.(jpe?g|png|webp|avif)$/i;

/** Puts the original in the place of the page's smaller picture, if it is still where the run found it and looks the same way up. */
function sharpen(viewer, frame, told) {
  if (!frame.original || !SHOWN_BY_BROWSERS.test(frame.original)) return;
  const image = new Image();
  image.onload = () => {
    if (Math.abs(image.naturalWidth / image.naturalHeight - frame.width_px / frame.height_px) > 0.01) return;
    viewer.replacePicture(image.src);
    told.textContent = 'Shown from the original at full size.';
  };
  image.src = fileAddress(frame.original);
}

/** Picture and tools to mark points in `frame`; `close` leads back to the frame as it was. */
function markingPanel(frame, close) {
  const holder = el('div', {class: 'viewer marking', tabindex: '0'});
  const told = el('span', {class: 'hint'}, 'Shown from the page\u2019s smaller picture: the original is not where the run found it.');
  const name = el('input', {type: 'text', size: 10, value: freshName(), list: 'point-names', 'aria-label': 'Name of the point'});
  const here = el('ul', {class: 'marks-here', 'aria-label': `Marks in ${frame.file}`});
  const figure = el('figure', {class: 'mosaic-figure'}, el('div', {class: 'viewer-frame'}, holder, el('span', {class: 'cross', 'aria-hidden': 'true'})));
  const panel = el('div', {class: 'marking-panel'},
      el('p', {class: 'marking-tools'}, el('label', {}, 'Point ', name), ' ', el('button', {type: 'button', class: 'main', onclick: close}, 'Done marking'), ' ', told),
      el('p', {class: 'hint'}, 'Click where the point shows. Zoom in first: wheel, pinch, or + and \u2212. By keyboard the arrows move the picture, Enter sets the mark at the cross.'),
      figure, here);
  let layer = null;
  const set = (viewer, at) => {
    const text = name.value.trim();
    if (!text) { name.focus(); return; }
    const [x, y] = at;
    if (x < -0.5 || y < -0.5 || x > frame.width_px - 0.5 || y > frame.height_px - 0.5) return;
    marks.set(frame, text, storedFromShown(frame, at));
    say(`${text} marked at ${number(x, 1)}, ${number(y, 1)}`);
  };
  const show = () => {
    if (!layer) return;
    layer.clear();
    const marked = marks.inFrame(frame);
    for (const {mark, position} of marked) {
      const cross = svg('svg', {viewBox: '-12 -12 24 24', width: 24, height: 24}, doubleLine('M-10 0h8M2 0h8M0 -10v8M0 2v8', 'set'));
      layer.mark(shownFromStored(frame, position), el('span', {class: 'point-mark'}, cross, el('span', {class: 'point-name'}, mark.name)), {name: 'set-mark', size: 24});
    }
    here.replaceChildren(...marked.map(({mark, index, position}) => el('li', {}, el('strong', {}, mark.name), ` at ${number(position[0], 1)}, ${number(position[1], 1)}\u00a0px `,
      el('button', {type: 'button', class: 'plain', onclick: () => marks.move(index, null)}, 'take away'))));
  };
  panel.start = () => {
    const viewer = zoomablePicture(holder, {width: frame.width_px, height: frame.height_px, picture: wholePicture(frame), label: `${frame.file}: set marks`});
    figure.firstChild.append(viewerButtons(viewer, figure));
    layer = viewer.layer();
    layer.show(true);
    viewer.doubleClickZooms(false);
    viewer.onClick((at) => set(viewer, at));
    holder.addEventListener('keydown', (event) => {
      if (event.key !== 'Enter') return;
      set(viewer, viewer.middle());
      event.preventDefault();
    });
    sharpen(viewer, frame, told);
    marks.onChange(show);
    show();
    holder.focus({preventScroll: true});
  };
  return panel;
}
