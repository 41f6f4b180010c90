// Lengths and areas on the mosaic: the same first-order propagation of errors as the command `measure`, so that both give the same
// numbers. Each corner errs by the point's standard deviation and half a pixel of pointing in each coordinate, the scale by its own.

const POINTING_PX = 0.5;

const arrow = ([ax, ay], [bx, by]) => [bx - ax, by - ay];

/** Length along corners, and the sum over corners of the squared derivative of the length by that corner. */
function chainOf(corners, closed) {
  const byCorner = corners.map(() => [0, 0]);
  let length = 0;
  for (let i = 0; i < (closed ? corners.length : corners.length - 1); ++i) {
    const j = (i + 1) % corners.length;
    const [dx, dy] = arrow(corners[i], corners[j]);
    const side = Math.hypot(dx, dy);
    length += side;
    if (side <= 0) continue;
    byCorner[i][0] -= dx / side;
    byCorner[i][1] -= dy / side;
    byCorner[j][0] += dx / side;
    byCorner[j][1] += dy / side;
  }
  return {value: length, sensitivity: byCorner.reduce((sum, [x, y]) => sum + x * x + y * y, 0)};
}

/** Gauss's area formula about the first corner, and the sum of the squared derivatives. */
function surfaceOf(corners) {
  let [value, sensitivity] = [0, 0];
  corners.forEach((corner, i) => {
    const before = corners[(i + corners.length - 1) % corners.length];
    const next = corners[(i + 1) % corners.length];
    const [ax, ay] = arrow(corners[0], corner);
    const [bx, by] = arrow(corners[0], next);
    value += 0.5 * (ax * by - bx * ay);
    const [cx, cy] = arrow(before, next);
    sensitivity += 0.25 * (cx * cx + cy * cy);
  });
  return {value: Math.abs(value), sensitivity};
}

function sigmaOf(sensitivity, scaleEffect) {
  if (!ground || ground.point_sigma === null) return null;
  if (ground.metric && ground.scale_sigma_share === null && ground.datum_sigma === null) return null;
  const corner = Math.hypot(ground.point_sigma, POINTING_PX * unitPerPx);
  const scale = scaleEffect * (ground.scale_sigma_share ?? 0);
  return Math.sqrt(sensitivity * corner * corner + scale * scale);
}

/** Where the command refuses to measure too. */
function liesBeyondMosaic([x, y]) {
  return !(x >= 0 && y >= 0 && x <= flight.mosaic.width_px - 1 && y <= flight.mosaic.height_px - 1);
}

/** True when two sides of a closed outline that do not touch cross: such an outline has no area. */
function crossesItself(corners) {
  const turn = (a, b, c) => Math.sign((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]));
  const count = corners.length;
  for (let i = 0; i < count; ++i) {
    for (let j = i + 2; j < count; ++j) {
      if (i === 0 && j === count - 1) continue;
      const [a, b, c, d] = [corners[i], corners[i + 1], corners[j], corners[(j + 1) % count]];
      if (turn(a, b, c) !== turn(a, b, d) && turn(c, d, a) !== turn(c, d, b)) return true;
    }
  }
  return false;
}

/** {length, area: {value, sigma} or null} of corners in mosaic pixels. */
function measured(kind, cornersPx) {
  const corners = cornersPx.map(groundFromPx);
  const line = chainOf(corners, kind === 'area');
  const result = {length: {value: line.value, sigma: sigmaOf(line.sensitivity, line.value)}, area: null};
  if (kind === 'area' && !crossesItself(corners)) {
    const surface = surfaceOf(corners);
    result.area = {value: surface.value, sigma: sigmaOf(surface.sensitivity, 2 * surface.value)};
  }
  return result;
}

/** Rounded to the second digit of its standard deviation: never 0.00 +- 0.00. */
function valueText({value, sigma}, unit) {
  if (!sigma) return `${+value.toPrecision(5)}\u00a0${unit} (accuracy not known)`;
  const digits = Math.max(0, Math.min(9, 1 - Math.floor(Math.log10(sigma))));
  return `${number(value, digits)} \u00b1 ${number(sigma, digits)}\u00a0${unit}`;
}

function measuredText(kind, cornersPx) {
  const enough = cornersPx.length >= (kind === 'area' ? 3 : 2);
  if (!enough) return '';
  const {length, area} = measured(kind, cornersPx);
  if (kind === 'length') return valueText(length, groundUnit);
  return area ? `${valueText(area, `${groundUnit}\u00b2`)}, outline ${valueText(length, groundUnit)}` : 'The outline crosses itself: it has no area.';
}

/** RFC 7946 in shape; coordinates are the mosaic's own, as `lookdown measure --shapes-file` reads them back, with their system named. */
function shapesAsGeoJson(shapes) {
  const features = shapes.map(({name, kind, corners}) => {
    const points = corners.map(groundFromPx);
    const {length, area} = measured(kind, corners);
    return {type: 'Feature',
            properties: {name, unit: groundUnit, length: length.value, length_sigma: length.sigma, area: area?.value ?? null, area_sigma: area?.sigma ?? null},
            geometry: kind === 'area' ? {type: 'Polygon', coordinates: [[...points, points[0]]]} : {type: 'LineString', coordinates: points}};
  });
  const code = /^EPSG:(\d+)$/.exec(flight.placement.crs ?? '');
  return JSON.stringify({type: 'FeatureCollection', ...(code ? {crs: {type: 'name', properties: {name: `urn:ogc:def:crs:EPSG::${code[1]}`}}} : {}), features}, null, 1);
}

/** Tool on a viewer: corners are set by click, or by Enter at the cross in the middle. */
function measuringTool(viewer) {
  const shapes = [];
  let drawing = null;  // {kind, corners}
  const layer = viewer.layer();
  layer.show(true);
  const list = el('ul', {class: 'measured', 'aria-label': 'Measured'});
  const told = el('p', {class: 'hint measuring-hint', role: 'status', hidden: true});
  const caution = el('p', {class: 'hint', hidden: true}, 'True on the plane of the mosaic: what stands above it leans outward.',
                     ground?.point_sigma_from ? ` \u00b1 is one standard deviation, from ${ground.point_sigma_from}.` : '',
                     groundUnit === 'px' ? ' The scale is not known: lengths are in pixels of the mosaic.' : '');
  const buttons = Object.fromEntries([['length', 'Length'], ['area', 'Area']].map(([kind, text]) => [kind, el('button', {
    type: 'button', 'data-measure': kind, 'aria-pressed': 'false', onclick: () => (drawing?.kind === kind ? finish() : begin(kind)),
  }, text)]));
  const done = el('button', {type: 'button', hidden: true, onclick: () => finish()}, 'Done');
  const back = el('button', {type: 'button', hidden: true, onclick: () => takeBack()}, 'Take back');
  const copy = el('button', {type: 'button', hidden: true, onclick: async () => { await copyText(listText(), told); told.hidden = false; }}, 'Copy');
  const save = el('button', {type: 'button', hidden: true, id: 'save-shapes', onclick: () => saveText('shapes.geojson', shapesAsGeoJson(shapes), 'application/geo+json')}, 'Save as GeoJSON');

  const listText = () => shapes.map(({name, kind, corners}) => `${name}: ${measuredText(kind, corners)}`).join('\n');

  /** A label that would run over the right edge stands left of its corner. */
  function turnLabels() {
    const {left, right} = viewer.holder.getBoundingClientRect();
    for (const label of viewer.holder.querySelectorAll('.measure-label')) {
      const at = label.parentElement.getBoundingClientRect().left;
      label.classList.toggle('leftward', at + label.offsetWidth > right && at - label.offsetWidth > left);
    }
  }
  viewer.onMove(turnLabels);

  function draw() {
    layer.clear();
    for (const {kind, corners, name} of [...shapes, ...(drawing ? [drawing] : [])]) {
      const make = kind === 'area' && corners.length > 2 ? layer.outline : layer.line;
      make(corners, {name: 'under'});
      make(corners, {name: 'over measure', fill: kind === 'area' && corners.length > 2});
      for (const corner of corners) layer.mark(corner, el('span', {class: 'corner'}), {name: 'corner-mark', size: 9});
      const text = measuredText(kind, corners);
      if (text) layer.mark(corners.at(-1), el('span', {class: 'measure-label'}, name ? `${name} ` : '', text), {name: 'label-mark'});
    }
    turnLabels();
    viewer.holder.classList.toggle('measuring', Boolean(drawing));
    viewer.doubleClickZooms(!drawing);
    for (const [kind, button] of Object.entries(buttons)) button.setAttribute('aria-pressed', String(drawing?.kind === kind));
    done.hidden = !drawing;
    back.hidden = !drawing;
    copy.hidden = save.hidden = shapes.length === 0;
    caution.hidden = shapes.length === 0 && !drawing;
    list.replaceChildren(...shapes.map((shape, index) => el('li', {}, el('strong', {}, shape.name), ` ${measuredText(shape.kind, shape.corners)} `,
      el('button', {type: 'button', class: 'plain', 'aria-label': `Remove ${shape.name}`, onclick: () => { shapes.splice(index, 1); draw(); }}, 'remove'))));
  }

  function begin(kind) {
    drawing = {kind, corners: [], name: ''};
    told.hidden = false;
    told.textContent = kind === 'area' ? 'Click the corners of the outline; Done or a double click ends it.' : 'Click both ends, or more corners along the way; Done or a double click ends it.';
    told.append(' By keyboard: move with the arrows, Enter sets a corner at the cross, Esc gives up.');
    viewer.holder.focus({preventScroll: true});
    draw();
  }

  function add(point) {
    if (!drawing) return false;
    if (liesBeyondMosaic(point)) {
      told.textContent = 'That spot lies beyond the mosaic: set the corner inside it.';
      told.hidden = false;
      return true;
    }
    const last = drawing.corners.at(-1);
    // The second click of a double click falls where the first did.
    if (last && Math.hypot(point[0] - last[0], point[1] - last[1]) * viewer.scale() < 3) {
      finish();
      return true;
    }
    drawing.corners.push(point);
    draw();
    say(measuredText(drawing.kind, drawing.corners) || 'corner set');
    return true;
  }

  function takeBack() {
    drawing?.corners.pop();
    draw();
  }

  function finish() {
    if (drawing && drawing.corners.length >= (drawing.kind === 'area' ? 3 : 2)) {
      const ofKind = shapes.filter(({kind}) => kind === drawing.kind).length + 1;
      shapes.push({...drawing, name: `${drawing.kind === 'area' ? 'area' : 'line'} ${ofKind}`});
      say(`${shapes.at(-1).name}: ${measuredText(drawing.kind, drawing.corners)}`);
    }
    drawing = null;
    told.hidden = true;
    draw();
  }

  viewer.holder.addEventListener('keydown', (event) => {
    if (!drawing) return;
    if (event.key === 'Enter') add(viewer.middle());
    else if (event.key === 'Backspace') takeBack();
    else if (event.key === 'Escape') { drawing.corners = []; finish(); }
    else return;
    event.preventDefault();
    event.stopPropagation();
  });
  return {add, isDrawing: () => drawing !== null,
          tools: el('div', {class: 'measure-buttons', role: 'group', 'aria-label': 'Measure'}, el('span', {class: 'tool-name'}, 'Measure '), buttons.length, buttons.area, done, back, copy, save),
          results: el('div', {class: 'measure-results'}, told, list, caution)};
}
