// The frame as stored and as displayed: marks are kept in pixels as stored, and set on what is displayed.

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
