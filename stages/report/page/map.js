// The map: where the frames lie on the mosaic.

function footprintPath(frame) {
  const points = frame.placement.footprint ?? [];
  return points.length > 2 ? `M${points.map(([x, y]) => `${x} ${y}`).join('L')}Z` : null;
}

function drawMap() {
  const placed = frames.filter((frame) => frame.placement.placed && frame.placement.footprint.length > 2);
  const address = jpegAddress(pictures().mosaic);
  const width = flight.mosaic?.width_px ?? flight.placement.width_px;
  const height = flight.mosaic?.height_px ?? flight.placement.height_px;
  if (placed.length === 0 || !width || !height) {
    bodyOf('map').append(el('p', {class: 'unknown'}, 'No frame could be placed, so there is nothing to map.'));
    return;
  }
  const drawing = svg('svg', {viewBox: `0 0 ${width} ${height}`, class: 'map-drawing', role: 'img', 'aria-label': `Footprints of ${plural(placed.length, 'frame')} over the mosaic`},
      address ? svg('image', {href: address, x: 0, y: 0, width, height, preserveAspectRatio: 'none'}) : null,
      placed.map((frame) => svg('path', {d: footprintPath(frame), class: `footprint ${choices.verdictOf(frame)}`, onclick: () => openFrame(frame)},
                                svg('title', {}, frame.file))));
  bodyOf('map').append(el('div', {class: 'map-place'}, drawing));
}
