// Pictures laid over the mosaic that are computed here: how many frames saw each spot, and which one it was taken from.

/** One hue, darker where more frames look: the more, the surer. */
const COVERAGE_STEPS = [
  {from: 1, text: '1', colour: [226, 214, 240, 115]},
  {from: 2, text: '2', colour: [186, 164, 218, 115]},
  {from: 3, text: '3 to 5', colour: [142, 112, 190, 115]},
  {from: 6, text: '6 to 10', colour: [98, 66, 156, 125]},
  {from: 11, text: 'more than 10', colour: [56, 28, 110, 135]},
];

/** Draws the number of kept frames that see each spot; returns a canvas. */
function coverageCanvas(shown, width, height) {
  const scale = Math.min(1, 900 / Math.max(width, height));
  const canvas = el('canvas', {width: Math.max(1, Math.round(width * scale)), height: Math.max(1, Math.round(height * scale))});
  const context = canvas.getContext('2d', {willReadFrequently: true});
  context.globalCompositeOperation = 'lighter';
  context.fillStyle = 'rgb(1 1 1)';
  context.scale(scale, scale);
  for (const frame of shown) context.fill(new Path2D(footprintPath(frame)));
  const image = context.getImageData(0, 0, canvas.width, canvas.height);
  for (let at = 0; at < image.data.length; at += 4) {
    const count = image.data[at];
    const step = COVERAGE_STEPS.findLast(({from}) => count >= from);
    image.data.set(step ? step.colour : [0, 0, 0, 0], at);
  }
  context.putImageData(image, 0, 0);
  return canvas;
}

/** Reads the coded picture of source numbers; resolves to {width, height, at(x, y) -> record index or -1}. */
async function readSources() {
  const address = pngAddress(pictures().sources);
  if (!address) return null;
  const image = new Image();
  image.src = address;
  await image.decode();
  const canvas = el('canvas', {width: image.naturalWidth, height: image.naturalHeight});
  const context = canvas.getContext('2d', {willReadFrequently: true});
  context.drawImage(image, 0, 0);
  const {data, width, height} = context.getImageData(0, 0, canvas.width, canvas.height);
  const at = (x, y) => {
    const start = (y * width + x) * 4;
    return data[start + 2] < 128 ? -1 : flight.source_frames[data[start] + 256 * data[start + 1]] ?? -1;
  };
  return {width, height, at};
}

/** Lines where the source changes, and a faint tint for each source. */
function seamsCanvas(sources) {
  const {width, height, at} = sources;
  const canvas = el('canvas', {width, height});
  const context = canvas.getContext('2d');
  const image = context.createImageData(width, height);
  for (let y = 0; y < height; ++y) {
    for (let x = 0; x < width; ++x) {
      const here = at(x, y);
      if (here < 0) continue;
      const seam = (x + 1 < width && at(x + 1, y) !== here) || (y + 1 < height && at(x, y + 1) !== here);
      const hue = (here * 137.5) % 360;
      const tint = [0, 120, 240].map((shift) => Math.round(128 + 100 * Math.cos((hue - shift) * Math.PI / 180)));
      image.data.set(seam ? [255, 250, 225, 255] : [...tint, 70], (y * width + x) * 4);
    }
  }
  context.putImageData(image, 0, 0);
  return canvas;
}
