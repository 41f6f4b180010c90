// What was decided, drawn over a frame. Positions are shares of the displayed frame; the drawing is as large as the frame.

const LAYERS = [
  {key: 'horizon', name: 'horizon', has: (frame) => frame.horizon?.line, draw: drawHorizon},
  {key: 'tiles', name: 'blur of each part', has: (frame) => frame.blur?.tiles.some((blur) => blur !== null), draw: drawTiles},
  {key: 'smear', name: 'direction of smear', has: (frame) => frame.blur?.smear_px > 1, draw: drawSmear},
  {key: 'glare', name: 'glare', has: (frame) => frame.glare?.outlines.length > 0, draw: drawGlare},
  {key: 'plumb', name: 'plumb point', has: (frame) => frame.tilt?.plumb_point, draw: drawPlumbPoint},
  {key: 'sun', name: 'mirror image of the sun', has: (frame) => frame.sun?.mirror_point, draw: drawSunImage},
  {key: 'marks', name: 'control points', has: (frame) => marksOf(frame).length > 0, draw: drawFrameMarks},
  {key: 'neighbours', name: 'neighbours', has: (frame) => frame.placement.neighbours?.length > 0, draw: drawNeighbours},
];

/** Layers that are worth seeing without being asked for. */
const layersShown = new Set(['horizon', 'smear', 'glare', 'plumb', 'sun', 'marks']);

const pathOf = (points, frame, closed) =>
  points.map(([x, y], i) => `${i ? 'L' : 'M'}${(x * frame.width_px).toFixed(1)} ${(y * frame.height_px).toFixed(1)}`).join('') + (closed ? 'Z' : '');

const lettering = (frame) => Math.max(frame.width_px, frame.height_px) / 48;

/** Letters with a dark rim, to be read on any ground. */
function lettersAt(frame, x, y, text, anchor = 'middle') {
  return svg('text', {x, y, 'text-anchor': anchor, 'font-size': lettering(frame), class: 'letters'}, text);
}

/** A line in two strokes, dark under light, to be seen on any ground. */
function doubleLine(d, name) {
  return [svg('path', {d, class: 'under'}), svg('path', {d, class: `over ${name}`})];
}

function drawHorizon(frame) {
  const [x, y] = frame.horizon.sky;
  const text = `horizon (${frame.horizon.kind}), roll ${withSigma(frame.horizon.roll_deg, frame.horizon.roll_sigma_deg, '\u00b0')}`;
  const inside = (value, size) => Math.min(Math.max(value, 0.04), 0.96) * size;
  return [doubleLine(pathOf(frame.horizon.line, frame, false), 'horizon'),
          lettersAt(frame, inside(x, frame.width_px), inside(y, frame.height_px), text)];
}

function drawTiles(frame) {
  const {tile_columns: columns, tile_rows: rows, tiles} = frame.blur;
  const width = frame.width_px / columns;
  const height = frame.height_px / rows;
  const limit = limitOf(['blurred', 'sharp']);
  return tiles.map((blur, i) => {
    const x = (i % columns) * width;
    const y = Math.floor(i / columns) * height;
    const over = blur !== null && limit && blur > limit;
    return [svg('rect', {x, y, width, height, class: `tile ${blur === null ? 'mute' : over ? 'over-limit' : 'within-limit'}`}),
            blur === null ? null : svg('text', {x: x + width * 0.03, y: y + height * 0.04, 'dominant-baseline': 'hanging',
                                                'font-size': Math.min(width, height) * 0.14, class: 'letters'}, number(blur, 1))];
  });
}

/** A line with two heads through the middle, its length exaggerated. */
function drawSmear(frame) {
  const angle = (frame.blur.smear_shown_deg ?? 0) * Math.PI / 180;
  const long = Math.max(frame.width_px, frame.height_px);
  const half = Math.min(Math.max(frame.blur.smear_px * 6, long * 0.03), long * 0.2);
  const [cx, cy] = [frame.width_px / 2, frame.height_px / 2];
  const [dx, dy] = [Math.cos(angle) * half, -Math.sin(angle) * half];
  const head = half * 0.3;
  const barb = (x, y, sign) => [0.5, -0.5].map((turn) => {
    const way = angle + turn + (sign > 0 ? Math.PI : 0);
    return `M${x} ${y}l${Math.cos(way) * head} ${-Math.sin(way) * head}`;
  }).join('');
  const d = `M${cx - dx} ${cy - dy}L${cx + dx} ${cy + dy}${barb(cx + dx, cy + dy, 1)}${barb(cx - dx, cy - dy, -1)}`;
  return [doubleLine(d, 'smear'), lettersAt(frame, cx, cy + half * 0.4 + lettering(frame) * 1.6, `smear ${quantity(frame.blur.smear_px, 'px')} (line drawn longer)`)];
}

function drawGlare(frame) {
  const d = frame.glare.outlines.map((outline) => pathOf(outline, frame, true)).join('');
  const [x, y] = frame.glare.outlines[0][0];
  return [svg('path', {d, class: 'glare-fill'}), doubleLine(d, 'glare'),
          lettersAt(frame, Math.min(Math.max(x, 0.06), 0.94) * frame.width_px, Math.max(y * frame.height_px - lettering(frame) * 0.4, lettering(frame)), 'glare')];
}

function drawPlumbPoint(frame) {
  const [x, y] = frame.tilt.plumb_point;
  const [px, py] = [x * frame.width_px, y * frame.height_px];
  const size = lettering(frame) * 0.8;
  return [doubleLine(`M${px - size} ${py}h${2 * size}M${px} ${py - size}v${2 * size}`, 'plumb'),
          lettersAt(frame, px, py - size * 1.5, 'straight down')];
}

/** Where still water would mirror the sun: a ring with rays. */
function drawSunImage(frame) {
  const [x, y] = frame.sun.mirror_point;
  const [px, py] = [x * frame.width_px, y * frame.height_px];
  const size = lettering(frame) * 0.7;
  const rays = [...Array(8).keys()].map((turn) => turn * Math.PI / 4).map((way) =>
    `M${px + Math.cos(way) * size * 1.4} ${py + Math.sin(way) * size * 1.4}L${px + Math.cos(way) * size * 2} ${py + Math.sin(way) * size * 2}`).join('');
  return [doubleLine(`M${px - size} ${py}a${size} ${size} 0 1 0 ${2 * size} 0a${size} ${size} 0 1 0 ${-2 * size} 0${rays}`, 'sun'),
          lettersAt(frame, px, py + size * 3.4, 'sun mirrored here by still water')];
}

/** Control points as marked in this frame. */
function drawFrameMarks(frame) {
  return marksOf(frame).map(({mark, position}) => {
    const [x, y] = shownFromStored(frame, position);
    const size = lettering(frame) * 0.7;
    return [doubleLine(`M${x - size} ${y}h${2 * size}M${x} ${y - size}v${2 * size}`, 'set'), lettersAt(frame, x + size, y - size * 0.6, mark.name, 'start')];
  });
}

const marksOf = (frame) => marks.inFrame(frame);

function drawNeighbours(frame) {
  return frame.placement.neighbours.filter(({outline}) => outline.length > 2).map(({frame: other, outline}) => {
    const middleX = outline.reduce((sum, [x]) => sum + Math.min(Math.max(x, 0), 1), 0) / outline.length;
    const middleY = outline.reduce((sum, [, y]) => sum + Math.min(Math.max(y, 0), 1), 0) / outline.length;
    return [doubleLine(pathOf(outline, frame, true), 'neighbour'),
            lettersAt(frame, middleX * frame.width_px, middleY * frame.height_px, frames[other].file)];
  });
}

/** The picture with the layers that are switched on. */
function drawnFrame(frame) {
  const address = wholePicture(frame);
  const {width_px: width, height_px: height} = frame;
  const drawing = svg('svg', {viewBox: `0 0 ${width} ${height}`, class: 'drawing', 'aria-hidden': 'true'},
      LAYERS.filter(({key, has}) => layersShown.has(key) && has(frame)).map(({draw, key}) => svg('g', {class: `layer ${key}`}, draw(frame))));
  return el('div', {class: 'drawn-frame', style: {'aspect-ratio': `${width} / ${height}`, '--shape': width / height}},
            address ? el('img', {src: address, alt: pictureAlt(frame)}) : null, drawing);
}

/** Switches for the layers that this frame has. */
function layerSwitches(frame, redraw) {
  const there = LAYERS.filter(({has}) => has(frame));
  if (there.length === 0) return null;
  return el('fieldset', {class: 'switches'}, el('legend', {}, 'Drawn on the frame'), there.map(({key, name}) => {
    const box = el('input', {type: 'checkbox', onchange: () => {
      if (box.checked) layersShown.add(key);
      else layersShown.delete(key);
      redraw();
    }});
    box.checked = layersShown.has(key);
    return el('label', {}, box, ` ${name}`);
  }));
}
