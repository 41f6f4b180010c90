// What can be laid over the mosaic: where frames lie, which of them it shows, glare, water, how well it all fits.

/** Placed frames of the part that the mosaic shows whose edges are known. */
const frameOnMosaic = (frame) => frame.placement.placed && frame.placement.group === 0 && frame.placement.footprint.length > 2;

/** On the grid as placed. */
function footprintPath(frame) {
  const points = frame.placement.footprint ?? [];
  return points.length > 2 ? `M${points.map(([x, y]) => `${x} ${y}`).join('L')}Z` : '';
}

const footprintOf = (frame) => frame.placement.footprint.map(shownFromPlaced);
const nameAndState = (frame) => `${frame.file}: ${choices.verdictOf(frame)}${frame.used ? '' : ', not in the mosaic'}`;

/** The largest round number of times that keeps the longest arrow within `longest_drawn`. */
function exaggeration(lengths, longest_drawn) {
  const longest = Math.max(...lengths, 0);
  if (longest === 0) return 1;
  const raw = longest_drawn / longest;
  const power = 10 ** Math.floor(Math.log10(raw));
  return Math.max(1, [5, 2, 1].map((factor) => factor * power).find((step) => step <= raw));
}

/** Corners of an arrow with barbs of the length given. */
function arrowLines([x, y], [dx, dy], barb) {
  const way = Math.atan2(dy, dx);
  const head = [x + dx, y + dy];
  return [[x, y], head, ...[2.6, -2.6].flatMap((turn) => [[head[0] + Math.cos(way + turn) * barb, head[1] + Math.sin(way + turn) * barb], head])];
}

const misfitsOf = (placed) => placed.flatMap((frame) => frame.placement.misfits.map(([x, y, dx, dy]) => ({frame, x, y, dx, dy})));

/** All but the longest tenth: one bad frame must not shrink all other arrows to dots. */
const mostOf = (lengths) => [...lengths].sort((a, b) => a - b).slice(0, Math.ceil(lengths.length * 0.9));

const pointResiduals = () => flight.accuracy.points.filter((point) => point.given && point.found)
    .map(({given, found}) => Math.hypot(found[0] - given[0], found[1] - given[1]));

/** How much longer than true residuals are drawn: so that the accuracy, not the largest residual, fills an arrow. */
function residualTimes(longest_drawn) {
  const residuals = pointResiduals();
  const accuracy_px = flight.accuracy.check_rmse_r_m && flight.placement.gsd_m ? flight.accuracy.check_rmse_r_m / flight.placement.gsd_m : 0;
  return Math.min(exaggeration([...residuals, accuracy_px], longest_drawn), 500);
}

function doubledLine(layer, points, name, options = {}) {
  layer.line(points, {name: 'under'});
  return layer.line(points, {name: `over ${name}`, ...options});
}

function fillFootprints(layer, viewer, shown) {
  for (const frame of shown) {
    const outline = layer.outline(footprintOf(frame), {name: `footprint ${choices.verdictOf(frame)}`, interactive: true, fill: true});
    viewer.describe(outline, () => nameAndState(frame), {onPick: () => openFrame(frame), onHover: (on) => outline.getElement().classList.toggle('pointed', on)});
    choices.onChange((changed) => { if (changed === frame) outline.getElement()?.setAttribute('class', `footprint ${choices.verdictOf(frame)}`); });
  }
}

/** Where the camera hung, joined in the order in which the frames were taken. */
function fillWalk(layer, viewer, shown) {
  const hung = shown.filter((frame) => frame.placement.below);
  const at = (frame) => shownFromPlaced(frame.placement.below);
  doubledLine(layer, hung.map(at), 'walk');
  for (const frame of hung) {
    const spot = svg('svg', {viewBox: '-8 -8 16 16', width: 16, height: 16}, svg('circle', {r: 7.5, class: 'hung-ground'}), verdictMark(choices.verdictOf(frame), 10));
    layer.mark(at(frame), spot, {name: 'hung', size: 16, title: nameAndState(frame), onPick: () => openFrame(frame)});
  }
}

function fillMisfits(layer, viewer, shown, times) {
  for (const {frame, x, y, dx, dy} of misfitsOf(shown)) {
    const barb = Math.hypot(dx, dy) * times * 0.25;
    const arrow = doubledLine(layer, arrowLines([x, y], [dx * times, dy * times], barb).map(shownFromPlaced), 'misfit', {interactive: true});
    viewer.describe(arrow, `${frame.file}: ${quantity(Math.hypot(dx, dy), 'px', 2)} of the mosaic off its neighbours here; whole frame ${quantity(frame.placement.rmse_px, 'px', 2)} (RMSE)`,
                    {onPick: () => openFrame(frame)});
  }
}

/** Control points as squares, check points as triangles, each with its residual as an arrow. */
function fillPoints(layer, viewer, times) {
  for (const point of flight.accuracy.points.filter(({given}) => given)) {
    const shape = point.check ? 'M8 2 14.5 13.5H1.5Z' : 'M2.5 2.5h11v11h-11z';
    const drawn = svg('svg', {viewBox: '0 0 16 16', width: 16, height: 16, class: 'point-shape'}, doubleLine(shape, 'control-point'));
    const residual = point.found.map((value, axis) => (value - point.given[axis]) * times);
    doubledLine(layer, arrowLines(point.given, residual, Math.hypot(...residual) * 0.25).map(shownFromPlaced), 'residual');
    layer.mark(shownFromPlaced(point.given), el('span', {class: 'point-mark'}, drawn, el('span', {class: 'point-name'}, point.name)), {name: 'control-mark', size: 16});
  }
}

/** Squares in which some frame shows glare: which frame shows them with the least. */
function fillClearest(layer, viewer) {
  for (const {at: [x, y], side_px: side, frame: index, glare_share: least, worst_glare_share: worst, views} of flight.mosaic.clearest_views) {
    const frame = frames[index];
    const half = side / 2;
    const square = layer.outline([[x - half, y - half], [x + half, y - half], [x + half, y + half], [x - half, y + half]],
                                 {name: `clearest ${least > 0.02 ? 'some-left' : 'clear'}`, interactive: true, fill: true});
    viewer.describe(square, `clearest in ${frame.file}: ${share(least)} glare here, up to ${share(worst)} in ${plural(views, 'frame')}`, {onPick: () => openFrame(frame)});
  }
}

function fillWater(layer) {
  for (const outline of flight.mosaic.water) {
    layer.outline(outline.map(shownFromPlaced), {name: 'under'});
    layer.outline(outline.map(shownFromPlaced), {name: 'over water-edge'});
  }
}

function coverageKey() {
  return el('ul', {class: 'coverage-key', 'aria-label': 'Frames that see this ground'}, 'Frames that see this ground: ',
            COVERAGE_STEPS.map(({text, colour: [r, g, b, a]}) => el('li', {}, el('span', {class: 'swatch', style: {background: `linear-gradient(rgb(${r} ${g} ${b} / ${a / 255}) 0 0), var(--bare-ground)`}}), ` ${text}`)));
}

/** Every layer that this flight has: {key, name, fill(layer), legend}. A layer is drawn when it is first asked for. */
function mosaicLayers(viewer) {
  const shown = frames.filter(frameOnMosaic);
  const {width_px: width, height_px: height} = flight.placement;
  const unit = Math.max(width, height) / 100;
  const pointTimes = residualTimes(unit * 6);
  const misfitTimes = exaggeration(mostOf(misfitsOf(shown).map(({dx, dy}) => Math.hypot(dx, dy))), unit * 3);
  const kept = () => shown.filter((frame) => choices.verdictOf(frame) !== 'drop');
  return [
    {key: 'coverage', name: 'frames that see this ground', legend: coverageKey(), fill: (layer) => layer.raster(coverageCanvas(kept(), width, height).toDataURL())},
    pictures().sources && {key: 'sources', name: 'seams and source frames', fill: async (layer) => {
      const sources = await sourcesOnce();
      if (sources) layer.raster(seamsCanvas(sources).toDataURL());
    }},
    pictures().surface && {key: 'surface', name: 'shaded heights', fill: (layer) => layer.raster(pngAddress(pictures().surface), 'overlay smooth')},
    flight.mosaic.water.length && {key: 'water', name: 'water outline', fill: fillWater},
    pictures().glare && {key: 'glare', name: 'glare left', fill: (layer) => layer.raster(pngAddress(pictures().glare))},
    flight.mosaic.clearest_views.length && {key: 'clearest', name: 'clearest frame by spot', fill: (layer) => fillClearest(layer, viewer),
                                            legend: el('p', {class: 'hint'}, 'Squares of ground that glares in some frame; solid: a frame shows it clear, dashed: glare is left in every frame. A click opens the clearest one.')},
    shown.length && {key: 'footprints', name: 'footprints of frames', fill: (layer) => fillFootprints(layer, viewer, shown),
                     legend: el('p', {class: 'hint'}, 'Solid: keep, dashed: unsure, dotted: drop. Hover for the name, click to open the frame.')},
    shown.length && {key: 'walk', name: 'where the camera hung, in order', fill: (layer) => fillWalk(layer, viewer, shown)},
    misfitsOf(shown).length && {key: 'misfits', name: `residuals of tie points, drawn ${misfitTimes} times as long`, fill: (layer) => fillMisfits(layer, viewer, shown, misfitTimes)},
    flight.accuracy.points.length && {key: 'points', on: true, name: `control points, residuals drawn ${pointTimes} times as long`, fill: (layer) => fillPoints(layer, viewer, pointTimes),
                                      legend: el('p', {class: 'hint'}, '\u25a1 control, fitted; \u25b3 check, kept out of the fit.')},
  ].filter(Boolean);
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

function unplacedList() {
  const others = frames.filter((frame) => !frame.fault && !frame.placement.placed && frame.placement.why_not);
  if (others.length === 0) return null;
  return el('details', {}, el('summary', {}, `${plural(others.length, 'frame')} not placed`),
      el('ul', {}, others.map((frame) => el('li', {},
          el('button', {type: 'button', class: 'plain', onclick: () => openFrame(frame)}, frame.file), ` ${frame.placement.why_not}`))));
}
