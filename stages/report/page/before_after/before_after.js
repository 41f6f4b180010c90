// Two days of one place: a slider between them, one and the other in turns, and what differs.

const pair = JSON.parse(document.getElementById('content-json').textContent);
const pairPictures = JSON.parse(document.getElementById('pictures-json').textContent);
const pictureAddress = (name) => `data:image/jpeg;base64,${pairPictures[name]}`;

/** How long each day shows when they take turns: slow enough to see, far from what harms (WCAG 2.3.1: three flashes a second). */
const TURN_MS = 900;

function drawPair() {
  document.getElementById('pair-names').textContent = `${pair.before} \u2192 ${pair.after}`;
  const holder = el('div', {class: 'viewer', tabindex: '0'});
  holder.style.setProperty('--shape', pair.width_px / pair.height_px);
  const divider = el('span', {class: 'divider', 'aria-hidden': 'true'});
  const labels = [el('span', {class: 'day before'}, pair.before), el('span', {class: 'day after'}, pair.after)];
  const frame = el('div', {class: 'viewer-frame'}, holder, divider, labels);
  const figure = el('figure', {class: 'mosaic-figure'}, frame);
  addTo('pair', figure);
  const viewer = zoomablePicture(holder, {width: pair.width_px, height: pair.height_px, picture: pictureAddress('before'),
                                          label: 'Both mosaics on one grid. Arrow keys pan, plus and minus zoom.'});
  const after = viewer.layer();
  after.raster(pictureAddress('after'), 'after-picture');
  after.show(true);
  const difference = viewer.layer();
  difference.raster(pictureAddress('difference'), 'difference-picture');

  let [mode, turn, timer] = ['slider', 0, null];
  const slider = el('input', {type: 'range', min: 0, max: 100, value: 50, step: 0.5, 'aria-label': `Share of the picture that shows ${pair.before}`, oninput: () => show()});
  /** Cuts the later picture at the slider, in the window's pixels, wherever the view stands. */
  const show = () => {
    const picture = holder.querySelector('.after-picture');
    const at = mode === 'slider' ? slider.value / 100 : turn ? 0 : 1;
    const box = holder.getBoundingClientRect();
    const edge = box.left + at * box.width;
    if (picture) {
      const place = picture.getBoundingClientRect();
      picture.style.clipPath = `inset(0 0 0 ${Math.max(0, Math.min(place.width, edge - place.left)) / (place.width || 1) * 100}%)`;
    }
    divider.style.left = `${at * 100}%`;
    divider.hidden = mode !== 'slider';
    difference.show(mode === 'difference');
    labels[0].hidden = mode === 'difference' || at === 0;
    labels[1].hidden = mode === 'difference' || at === 1;
    slider.disabled = mode !== 'slider';
    for (const button of buttons) button.setAttribute('aria-pressed', String(button.dataset.mode === mode));
    key.hidden = mode !== 'difference';
  };
  const change = (to) => {
    clearInterval(timer);
    mode = to;
    if (mode === 'turns') timer = setInterval(() => { turn = 1 - turn; show(); }, TURN_MS);
    if (mode === 'before' || mode === 'after') turn = mode === 'after' ? 1 : 0;
    show();
  };
  const buttons = [['slider', 'Slider'], ['before', 'Before'], ['after', 'After'], ['turns', 'In turns'], ['difference', 'Difference']]
      .map(([name, text]) => el('button', {type: 'button', 'data-mode': name, onclick: () => change(name)}, text));
  const key = el('p', {class: 'hint', hidden: true}, el('span', {class: 'swatch lighter'}), ' later day lighter  ', el('span', {class: 'swatch darker'}), ' later day darker; grey: the same. Overall light is evened out; shadows, wind and water still differ.');
  frame.append(viewerButtons(viewer, figure));
  figure.append(el('div', {class: 'pair-tools', role: 'group', 'aria-label': 'How both days are shown'}, buttons, slider), key);
  viewer.onMove(() => requestAnimationFrame(show));
  show();
  addTo('figures', el('table', {class: 'numbers'}, el('tbody', {}, pair.figures.map(([name, text]) => el('tr', {}, el('th', {scope: 'row'}, name), el('td', {}, text))))));
}

drawPair();
document.documentElement.classList.add('drawn');
