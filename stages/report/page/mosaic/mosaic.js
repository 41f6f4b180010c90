// The mosaic, first on the page: to zoom to its last pixel, to ask what a spot is, to lay layers over, to measure on.

const mosaicView = {viewer: null, highlight: null};

/** Source numbers are read once, when something first asks. */
const sourcesOnce = (() => {
  let reading = null;
  return () => (reading ??= readSources());
})();

function sourceAt(sources, [x, y]) {
  if (!sources) return null;
  const column = Math.floor((x + 0.5) / flight.mosaic.width_px * sources.width);
  const row = Math.floor((y + 0.5) / flight.mosaic.height_px * sources.height);
  const inside = column >= 0 && row >= 0 && column < sources.width && row < sources.height;
  return frames[inside ? sources.at(column, row) : -1] ?? null;
}

/** Draws one frame's footprint over the mosaic; null takes it away. */
function highlightFrame(frame) {
  const {viewer, highlight} = mosaicView;
  if (!viewer) return;
  highlight.clear();
  if (!frame || !frameOnMosaic(frame)) return;
  highlight.outline(footprintOf(frame), {name: 'under'});
  highlight.outline(footprintOf(frame), {name: 'over chosen'});
}

function showOnMosaic(frame) {
  closeFrame();
  highlightFrame(frame);
  mosaicView.viewer.lookAtAll(footprintOf(frame));
  document.getElementById('mosaic').scrollIntoView();
  mosaicView.viewer.holder.focus({preventScroll: true});
}

/** Names the frames that see a spot, the one the mosaic shows first. */
async function tellSpot(told, at) {
  const source = sourceAt(await sourcesOnce(), at);
  const context = document.createElement('canvas').getContext('2d');
  const [x, y] = placedFromShown(at);
  const seeing = frames.filter((frame) => frameOnMosaic(frame) && context.isPointInPath(new Path2D(footprintPath(frame)), x, y));
  const button = (frame) => [el('button', {type: 'button', class: 'plain', onclick: () => openFrame(frame), onmouseenter: () => highlightFrame(frame),
                                           onfocus: () => highlightFrame(frame)}, frame.file), ' '];
  told.replaceChildren();
  fill(told, {}, [
    el('strong', {}, positionText(at)), '. ',
    source ? ['Shown from ', button(source), '. '] : null,
    seeing.length ? [`${plural(seeing.length, 'frame sees', 'frames see')} this ground: `, seeing.slice(0, 20).map(button), seeing.length > 20 ? 'and more' : ''] : 'No frame sees it.',
  ]);
  highlightFrame(source);
}

/** Switches of the layers, and the legends of those that are on. */
function layerPanel(viewer) {
  const legends = el('div', {class: 'legends'});
  const boxes = mosaicLayers(viewer).map(({key, name, on = false, fill: fillLayer, legend}) => {
    const layer = viewer.layer();
    let filled = null;
    const box = el('input', {type: 'checkbox', 'data-layer': key});
    const show = async () => {
      if (box.checked) {
        filled ??= Promise.resolve(fillLayer(layer));
        if (legend) legends.append(legend);
      } else {
        legend?.remove();
      }
      layer.show(box.checked);
      await filled;
      viewer.holder.classList.toggle(`shows-${key}`, box.checked);
    };
    box.checked = on;
    box.addEventListener('change', show);
    if (on) show();
    return el('label', {}, box, ` ${name}`);
  });
  const clear = el('input', {type: 'range', min: 20, max: 100, value: 100, 'aria-label': 'How strongly layers cover the mosaic',
                             oninput: () => viewer.holder.style.setProperty('--layer-strength', clear.value / 100)});
  return el('details', {class: 'layer-panel', open: innerWidth > 860}, el('summary', {}, 'Layers'),
            el('div', {class: 'layer-list'}, boxes, el('label', {class: 'strength'}, 'Strength ', clear)), legends);
}

/** Position under the pointer, size on the screen, and a scale bar that follows the zoom. */
function viewerStrip(viewer) {
  const position = el('span', {class: 'live-position'});
  const bar = el('span', {class: 'scale-bar'});
  const barText = el('span', {class: 'scale-text'});
  const size = el('span', {class: 'live-size'});
  const show = () => {
    const {length, drawn_px: drawn} = barFor(unitPerPx / viewer.scale(), 140);
    bar.style.width = `${drawn}px`;
    barText.textContent = roundLength(length);
    size.textContent = `${+(viewer.scale() * devicePixelRatio * 100).toPrecision(2)} %`;
  };
  viewer.onMove(show);
  viewer.onMove(() => { position.textContent = `middle at ${positionText(viewer.middle())}`; });
  viewer.onPointer((at) => { position.textContent = positionText(at); });
  show();
  return el('div', {class: 'viewer-strip'}, el('span', {class: 'scale'}, barText, bar), size, position);
}

function mosaicCaption() {
  const {file, width_px: width, height_px: height, frames_used: used} = flight.mosaic;
  return `${file}: ${width} \u00d7 ${height} px from ${plural(used, 'frame')}. Wheel or pinch to zoom, drag to pan; arrow keys, + and \u2212 do the same. A click names the frames that see the spot.`;
}

function fileLinks() {
  if (flight.files.length === 0) return null;
  const size = (bytes) => (bytes === null ? '' : bytes < 1e6 ? ` (${Math.max(1, Math.round(bytes / 1e3))} kB)` : ` (${+(bytes / 1e6).toPrecision(3)} MB)`);
  return el('nav', {class: 'file-links', 'aria-label': 'Files of this run'}, el('span', {class: 'tool-name'}, 'Files beside this page '),
            el('ul', {}, flight.files.map(({name, what, bytes}) => el('li', {}, el('a', {href: name, target: '_blank', rel: 'noopener', title: what}, name), size(bytes)))));
}

function drawMosaic() {
  const section = document.getElementById('mosaic');
  if (!flight.mosaic) {
    section.hidden = true;
    document.querySelector('nav a[href="#mosaic"]').hidden = true;
    return;
  }
  const holder = el('div', {class: 'viewer', tabindex: '0'});
  const missing = el('p', {class: 'tiles-missing', hidden: true}, 'The folder mosaic_tiles beside this page is missing: this is the small picture that the page carries.');
  // Paper gets the whole picture: the viewer keeps the part and the size that the screen shows.
  const printed = el('img', {class: 'mosaic-on-paper', src: jpegAddress(pictures().mosaic), alt: ''});
  const frame = el('div', {class: 'viewer-frame'}, holder, printed, el('span', {class: 'cross', 'aria-hidden': 'true'}), missing);
  const figure = el('figure', {class: 'mosaic-figure'}, frame);
  addTo('mosaic', figure);
  const {width_px: width, height_px: height, tiles} = flight.mosaic;
  holder.style.setProperty('--shape', width / height);
  holder.style.setProperty('--surround', `rgb(${tiles.surround.join(' ')})`);
  const viewer = zoomablePicture(holder, {width, height, pyramid: tiles.levels.length ? tiles : null, picture: jpegAddress(pictures().mosaic),
                                          label: 'The mosaic. Arrow keys pan, plus and minus zoom.', onTilesMissing: () => { missing.hidden = false; }});
  mosaicView.viewer = viewer;
  mosaicView.highlight = viewer.layer();
  mosaicView.highlight.show(true);
  const measuring = measuringTool(viewer);
  const told = el('p', {class: 'hint spot', role: 'status'}, mosaicCaption());
  viewer.onClick((at) => { if (!measuring.add(at)) tellSpot(told, at); });
  holder.addEventListener('keydown', (event) => {
    if (event.key !== 'Enter' || measuring.isDrawing()) return;
    tellSpot(told, viewer.middle());
    event.preventDefault();
  });
  frame.append(viewerStrip(viewer), viewerButtons(viewer, figure));
  figure.append(el('div', {class: 'mosaic-tools'}, measuring.tools, layerPanel(viewer)), measuring.results, told);
  addTo('mosaic', fileLinks());
}

/** How well it fits, as a table: beside the accuracy sentence. */
function drawFit() {
  if (!flight.placed) {
    document.getElementById('fit').hidden = true;
    return;
  }
  addTo('fit', pointTable(), unplacedList());
}
