// The map: footprints, coverage, sources, residuals and control points over the mosaic.

const mapView = {sources: null, layers: {}};

function footprintPath(frame) {
  const points = frame.placement.footprint ?? [];
  return points.length > 2 ? `M${points.map(([x, y]) => `${x} ${y}`).join('L')}Z` : '';
}

/** Makes letters and marks as large as they need to be on a map of this size. */
const mapUnit = (width, height) => Math.max(width, height) / 100;

function drawFootprints(placed) {
  return placed.map((frame) => {
    const outline = svg('path', {d: footprintPath(frame), class: `footprint ${choices.verdictOf(frame)}`},
                        svg('title', {}, `${frame.file}: ${choices.verdictOf(frame)}`));
    choices.onChange((changed) => {
      if (changed === frame) outline.setAttribute('class', `footprint ${choices.verdictOf(frame)}`);
    });
    return outline;
  });
}

/** Where the camera hung, joined in the order in which the frames were taken. */
function drawWalk(placed, unit) {
  const hung = placed.filter((frame) => frame.placement.below);
  const d = hung.map((frame, i) => `${i ? 'L' : 'M'}${frame.placement.below.join(' ')}`).join('');
  return [doubleLine(d, 'walk'), hung.map((frame) => {
    const [x, y] = frame.placement.below;
    const spot = svg('g', {transform: `translate(${x} ${y})`, class: 'hung'}, svg('title', {}, frame.file));
    const show = () => spot.replaceChildren(svg('circle', {r: unit * 0.75, class: 'hung-ground'}), verdictMark(choices.verdictOf(frame), unit * 0.9));
    choices.onChange((changed) => { if (changed === frame) show(); });
    show();
    return spot;
  })];
}

/** The largest round number of times that keeps the longest arrow within `longest_drawn`. */
function exaggeration(lengths, longest_drawn) {
  const longest = Math.max(...lengths, 0);
  if (longest === 0) return 1;
  const raw = longest_drawn / longest;
  const power = 10 ** Math.floor(Math.log10(raw));
  return Math.max(1, [5, 2, 1].map((factor) => factor * power).find((step) => step <= raw));
}

/** Path of an arrow with barbs of the length given. */
function arrowPath(x, y, dx, dy, barb) {
  const way = Math.atan2(dy, dx);
  const barbs = [2.6, -2.6].map((turn) => `M${x + dx} ${y + dy}l${Math.cos(way + turn) * barb} ${Math.sin(way + turn) * barb}`).join('');
  return `M${x} ${y}L${x + dx} ${y + dy}${barbs}`;
}

const misfitsOf = (placed) => placed.flatMap((frame) => frame.placement.misfits.map(([x, y, dx, dy]) => ({frame, x, y, dx, dy})));

/** All but the longest tenth: one bad frame must not shrink all other arrows to dots. */
const mostOf = (lengths) => [...lengths].sort((a, b) => a - b).slice(0, Math.ceil(lengths.length * 0.9));

/** An arrow for each quarter of a frame: how its tie points lie against what all frames say. */
function drawMisfits(placed, unit, times) {
  return misfitsOf(placed).map(({frame, x, y, dx, dy}) => [
    svg('circle', {cx: x, cy: y, r: unit * 0.2, class: 'misfit-foot'}),
    doubleLine(arrowPath(x, y, dx * times, dy * times, unit * 0.5), 'misfit'),
    svg('circle', {cx: x, cy: y, r: unit * 0.8, class: 'misfit-reach'},
        svg('title', {}, `${frame.file}: ${quantity(Math.hypot(dx, dy), 'px', 2)} of the mosaic off its neighbours here; whole frame ${quantity(frame.placement.rmse_px, 'px', 2)} (RMSE)`)),
  ]);
}

const pointResiduals = () => flight.accuracy.points.filter((point) => point.given && point.found)
    .map(({given, found}) => Math.hypot(found[0] - given[0], found[1] - given[1]));

/** Control points as squares, check points as triangles, each with its residual as an arrow. */
function drawPoints(unit, times) {
  return flight.accuracy.points.filter((point) => point.given).map((point) => {
    const [x, y] = point.given;
    const shape = point.check ? `M${x} ${y - unit}L${x + unit} ${y + unit * 0.8}H${x - unit}Z`
                              : `M${x - unit * 0.8} ${y - unit * 0.8}h${unit * 1.6}v${unit * 1.6}h${-unit * 1.6}Z`;
    const [dx, dy] = [(point.found[0] - x) * times, (point.found[1] - y) * times];
    return svg('g', {class: 'control-point'}, doubleLine(shape, point.check ? 'check-point' : 'control-point'),
               doubleLine(arrowPath(x, y, dx, dy, unit), 'residual'),
               svg('text', {x: x + unit * 1.4, y: y - unit * 0.9, 'font-size': unit * 1.9, class: 'letters'}, point.name));
  });
}

function pointTable() {
  const {points} = flight.accuracy;
  if (points.length === 0) return el('p', {class: 'unknown'}, 'No control or check points were given, so there are no residuals on the ground.');
  const unit = flight.placement.gsd_m ? lengthText : (value) => quantity(value, 'px');
  return el('div', {class: 'wide-table'}, el('table', {class: 'points'},
      el('caption', {}, 'Control and check points: found minus given'),
      el('thead', {}, el('tr', {}, ['Point', 'Use', 'Frames marked', 'East', 'North', 'Distance'].map((name) => el('th', {scope: 'col'}, name)))),
      el('tbody', {}, points.map((point) => el('tr', {}, el('th', {scope: 'row'}, point.name),
        [point.check ? '\u25b3 check, kept out of the fit' : '\u25a1 control, fitted', String(point.marks), unit(point.dx), unit(point.dy),
         unit(Math.hypot(point.dx, point.dy))].map((text) => el('td', {}, text)))))));
}

/** A canvas as part of the drawing, stretched to the mosaic. */
function overlayOf(canvas, width, height) {
  return rasterOf(canvas.toDataURL(), width, height, 'overlay');
}

async function sourcesLayer(layer, width, height) {
  mapView.sources ??= await readSources();
  if (mapView.sources) layer.append(overlayOf(seamsCanvas(mapView.sources), width, height));
}

/** Position in the mosaic under the pointer. */
function mosaicPositionOf(event, drawing) {
  const place = new DOMPoint(event.clientX, event.clientY).matrixTransform(drawing.getScreenCTM().inverse());
  return [place.x, place.y];
}

function sourceAt(x, y, width, height) {
  if (!mapView.sources) return null;
  const {sources} = mapView;
  const column = Math.floor((x + 0.5) / width * sources.width);
  const row = Math.floor((y + 0.5) / height * sources.height);
  const inside = column >= 0 && row >= 0 && column < sources.width && row < sources.height;
  return frames[inside ? sources.at(column, row) : -1] ?? null;
}

/** Names the frames that see a spot, the one the mosaic shows first. */
function tellSpot(told, [x, y], placed, width, height) {
  const context = document.createElement('canvas').getContext('2d');
  const source = sourceAt(x, y, width, height);
  const seeing = placed.filter((frame) => context.isPointInPath(new Path2D(footprintPath(frame)), x, y));
  const button = (frame) => [el('button', {type: 'button', class: 'plain', onclick: () => openFrame(frame)}, frame.file), ' '];
  told.replaceChildren();
  fill(told, {}, [
    source ? ['The mosaic shows this spot from ', button(source)] : null,
    seeing.length ? [`${plural(seeing.length, 'frame sees', 'frames see')} it: `, seeing.slice(0, 20).map(button), seeing.length > 20 ? 'and more' : ''] : 'No frame sees this spot.',
  ]);
}

function coverageKey() {
  return el('ul', {class: 'coverage-key', 'aria-label': 'Frames that see a spot'}, 'Frames that see a spot: ',
            COVERAGE_STEPS.map(({text, colour: [r, g, b]}) => el('li', {}, el('span', {class: 'swatch', style: {background: `rgb(${r} ${g} ${b})`}}), ` ${text}`)));
}

/** Switches of the layers; a layer is computed when it is first asked for. */
function mapSwitches(entries, note) {
  return el('fieldset', {class: 'switches'}, el('legend', {}, 'Shown on the map'), entries.filter(Boolean).map(({key, name, on, make, key_text: text}) => {
    const layer = mapView.layers[key];
    let made = false;
    const box = el('input', {type: 'checkbox', 'data-layer': key});
    const show = () => {
      if (box.checked && !made) {
        made = true;
        make?.(layer);
      }
      layer.toggleAttribute('hidden', !box.checked);
      if (text) note.toggleAttribute('hidden', !box.checked);
    };
    box.checked = on;
    box.addEventListener('change', show);
    show();
    return el('label', {}, box, ` ${name}`);
  }));
}

/** A raster of the page as part of the drawing, stretched to the mosaic. */
function rasterOf(address, width, height, name) {
  return svg('image', {href: address, x: -0.5, y: -0.5, width, height, preserveAspectRatio: 'none', class: name});
}

/** The layers from the ground up: those that need work are filled when they are first asked for. */
function mapDrawing(placed, {width, height, unit, pointTimes, misfitTimes}) {
  const layer = (key, ...content) => (mapView.layers[key] = svg('g', {class: `map-layer ${key}`}, content));
  const address = jpegAddress(pictures().mosaic);
  return svg('svg', {viewBox: `-0.5 -0.5 ${width} ${height}`, class: 'map-drawing', role: 'img', style: {'--shape': width / height},
                     'aria-label': `Map: footprints of ${plural(placed.length, 'frame')} over the mosaic`},
      address ? rasterOf(address, width, height) : null,
      layer('coverage'), layer('sources'), layer('glare'),
      svg('g', {class: placed.length > 120 ? 'many' : ''}, layer('footprints', drawFootprints(placed))),
      layer('walk', drawWalk(placed, unit)),
      layer('misfits', drawMisfits(placed, unit, misfitTimes)),
      layer('points', drawPoints(unit, pointTimes)));
}

function mapLayerChoices(placed, {width, height, pointTimes, misfitTimes}) {
  const kept = () => placed.filter((frame) => choices.verdictOf(frame) !== 'drop');
  return [
    {key: 'walk', name: 'where the camera hung, in order', on: true},
    {key: 'footprints', name: 'footprints', on: placed.length <= 60},
    {key: 'coverage', name: 'how many frames see a spot', on: false, key_text: true,
     make: (layer) => layer.append(overlayOf(coverageCanvas(kept(), width, height), width, height))},
    pictures().sources ? {key: 'sources', name: 'seams and sources', on: false, make: (layer) => sourcesLayer(layer, width, height)} : null,
    pictures().glare ? {key: 'glare', name: 'glare left in the mosaic', on: false,
                        make: (layer) => layer.append(rasterOf(pngAddress(pictures().glare), width, height, 'overlay'))} : null,
    misfitsOf(placed).length ? {key: 'misfits', name: `residuals of tie points by quarter of a frame, ${misfitTimes} times too long`, on: false} : null,
    flight.accuracy.points.length ? {key: 'points', name: `control and check points, residuals ${pointTimes} times too long`, on: true} : null,
  ];
}

function unplacedList() {
  const others = frames.filter((frame) => !frame.fault && !frame.placement.placed && frame.placement.why_not);
  if (others.length === 0) return null;
  return el('details', {}, el('summary', {}, `${plural(others.length, 'frame')} not placed`),
      el('ul', {}, others.map((frame) => el('li', {},
          el('button', {type: 'button', class: 'plain', onclick: () => openFrame(frame)}, frame.file), ` ${frame.placement.why_not}`))));
}

function drawMap() {
  const placed = frames.filter((frame) => frame.placement.placed && frame.placement.group === 0 && frame.placement.footprint.length > 2);
  const {width_px: width, height_px: height} = flight.placement;
  if (placed.length === 0 || !width || !height) {
    addTo('map', el('p', {class: 'unknown'}, 'No frame could be placed, so there is nothing to map.'), pointTable());
    return;
  }
  const unit = mapUnit(width, height);
  const misfits = misfitsOf(placed).map(({dx, dy}) => Math.hypot(dx, dy));
  const view = {width, height, unit, pointTimes: exaggeration(pointResiduals(), unit * 8), misfitTimes: exaggeration(mostOf(misfits), unit * 3)};
  const told = el('p', {class: 'hint spot', role: 'status'});
  const key = coverageKey();
  const drawing = mapDrawing(placed, view);
  drawing.addEventListener('click', (event) => tellSpot(told, mosaicPositionOf(event, drawing), placed, width, height));
  whenSeen(drawing, async () => { mapView.sources = await readSources(); });
  addTo('map',
      el('p', {class: 'hint'}, 'Click a spot to learn which frames see it; by keyboard, each frame in the grid names its neighbours.'),
      mapSwitches(mapLayerChoices(placed, view), key), key, el('div', {class: 'map-place'}, drawing), told, pointTable(), unplacedList());
}
