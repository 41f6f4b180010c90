// Where the mosaic lies: pixels and ground coordinates, and how positions and lengths are told. The mosaic's pixels and those of the
// grid on which frames were placed differ where the mosaic was made at a size of its own.

const ground = flight.mosaic?.ground ?? null;
const groundUnit = ground?.metric ? 'm' : 'px';

/** From the grid as placed to the mosaic's own pixels: the same grid, scaled about its corner. */
const shownPerPlaced = flight.mosaic && flight.placement.width_px ? flight.mosaic.width_px / flight.placement.width_px : 1;
const shownFromPlaced = ([x, y]) => [(x + 0.5) * shownPerPlaced - 0.5, (y + 0.5) * shownPerPlaced - 0.5];
const placedFromShown = ([x, y]) => [(x + 0.5) / shownPerPlaced - 0.5, (y + 0.5) / shownPerPlaced - 0.5];

function groundFromPx([x, y]) {
  if (!ground) return [x, y];
  const [x0, xRight, xDown, y0, yRight, yDown] = ground.transform;
  const [column, row] = [x + 0.5, y + 0.5];
  return [x0 + column * xRight + row * xDown, y0 + column * yRight + row * yDown];
}

/** Ground units a mosaic pixel, geometric mean of both directions. */
const unitPerPx = (() => {
  if (!ground) return 1;
  const [, xRight, xDown, , yRight, yDown] = ground.transform;
  return Math.sqrt(Math.abs(xRight * yDown - xDown * yRight));
})();

const positionDigits = groundUnit === 'm' ? Math.max(0, Math.min(3, Math.ceil(-Math.log10(unitPerPx)))) : 0;

/** "E 12.34 m, N 45.67 m" where directions are known, else x and y. */
function positionText(px) {
  const [x, y] = groundFromPx(px);
  const northKnown = flight.placement.crs || !['', 'arbitrary', 'none'].includes(flight.placement.north_from ?? '');
  const [right, up] = ground?.metric && northKnown ? ['E', 'N'] : ['x', 'y'];
  return `${right} ${quantity(x, groundUnit, positionDigits)}, ${up} ${quantity(y, groundUnit, positionDigits)}`;
}

const roundLength = (length) => (groundUnit === 'm' && length < 1 ? (length < 0.01 ? `${+(length * 1000).toPrecision(2)} mm` : `${+(length * 100).toPrecision(2)} cm`)
    : groundUnit === 'm' && length >= 1000 ? `${length / 1000} km` : `${+length.toPrecision(2)} ${groundUnit}`);
