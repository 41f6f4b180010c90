// A large picture to zoom and pan by wheel, finger and key. Everything else on the page speaks of pixels of the picture, centre of
// the top-left one at (0, 0); only this file knows the library behind it.

const {L: zoomLibrary} = window;

/** The library's coordinates count upward; pictures count downward from their corner. */
const placeOf = ([x, y]) => zoomLibrary.latLng(-(y + 0.5), x + 0.5);
const pixelOf = ({lat, lng}) => [lng - 0.5, -lat - 0.5];

/** How much closer than one screen pixel a picture pixel the view may go, in doublings. */
const BEYOND_FULL_SIZE = 3;

/** Tiles of a pyramid beside the page; what is missing or fails leaves the picture below it in sight. */
function tileLayer({folder, side_px: side, levels}, onFail) {
  const Tiles = zoomLibrary.GridLayer.extend({
    createTile({x, y, z}, done) {
      const level = levels[z];
      const there = level && x >= 0 && y >= 0 && x < level.columns && y < level.rows && level.there[y * level.columns + x] === '1';
      if (!there) {
        setTimeout(() => done(null, document.createElement('span')));
        return document.createElement('span');
      }
      const tile = el('img', {alt: '', 'data-tile': `${z}/${y}_${x}`});
      tile.onload = () => done(null, tile);
      tile.onerror = () => { tile.hidden = true; onFail(); done(null, tile); };
      tile.src = `${folder}/${z}/${y}_${x}.jpg`;
      return tile;
    },
  });
  return new Tiles({tileSize: side, minNativeZoom: 0, maxNativeZoom: levels.length - 1, minZoom: -20, maxZoom: 40, keepBuffer: 1,
                    updateWhenZooming: false, className: 'tiles'});
}

/**
 * Shows a picture of width x height pixels in `holder`. `pyramid`: tiles, or null; `picture`: address of the whole picture at any size.
 * Returns an object that speaks in pixels; see the functions at its end.
 */
function zoomablePicture(holder, {width, height, pyramid = null, picture = null, label, onTilesMissing = () => {}}) {
  const levels = pyramid?.levels.length ?? 0;
  const fullZoom = Math.max(levels - 1, 0);
  const crs = zoomLibrary.extend({}, zoomLibrary.CRS.Simple, {
    transformation: new zoomLibrary.Transformation(1, 0, -1, 0),
    scale: (zoom) => 2 ** (zoom - fullZoom),
    zoom: (scale) => Math.log2(scale) + fullZoom,
  });
  const edges = zoomLibrary.latLngBounds(placeOf([-0.5, height - 0.5]), placeOf([width - 0.5, -0.5]));
  const still = matchMedia('(prefers-reduced-motion: reduce)').matches;
  const map = zoomLibrary.map(holder, {
    crs, zoomSnap: 0, zoomDelta: 0.5, wheelPxPerZoomLevel: 90, zoomControl: false, attributionControl: false, fadeAnimation: false,
    zoomAnimation: !still, inertia: !still, maxBoundsViscosity: 0.6, doubleClickZoom: true, boxZoom: true, bounceAtZoomLimits: false,
    maxZoom: fullZoom + BEYOND_FULL_SIZE, minZoom: -20,
  });
  holder.setAttribute('aria-label', label);
  holder.setAttribute('role', 'application');
  map.setMaxBounds(edges.pad(0.5));
  const fitted = () => map.getBoundsZoom(edges, false, zoomLibrary.point(8, 8));
  const atFit = () => map.getZoom() <= fitted() + 0.02;
  const fit = () => map.setView(edges.getCenter(), fitted(), {animate: false});
  map.setView(edges.getCenter(), 0, {animate: false});
  map.setMinZoom(fitted());
  fit();
  const base = picture ? zoomLibrary.imageOverlay(picture, edges, {className: 'whole-picture'}).addTo(map) : null;
  if (levels) {
    let told = false;
    tileLayer(pyramid, () => { if (!told) onTilesMissing(); told = true; }).addTo(map);
  }

  // Lines over a picture are told in words beside it.
  map.on('layeradd', () => map.getPanes().overlayPane.querySelector('svg')?.setAttribute('aria-hidden', 'true'));

  // As long as the whole picture shows there is nothing to pan: a finger that wipes and a wheel that turns away scroll the page.
  const settle = () => (atFit() ? map.dragging.disable() : map.dragging.enable());
  map.on('zoomend', settle);
  settle();
  holder.parentElement.addEventListener('wheel', (event) => {
    if (event.deltaY > 0 && atFit()) event.stopPropagation();
  }, {capture: true, passive: true});

  let lastSize = '';
  new ResizeObserver(() => {
    const size = `${holder.clientWidth} ${holder.clientHeight}`;
    if (size === lastSize || !holder.clientWidth) return;
    lastSize = size;
    const wasFitted = atFit();
    map.invalidateSize({animate: false, pan: false});
    map.setMinZoom(fitted());
    if (wasFitted) fit();
    settle();
  }).observe(holder);

  const positionOf = (event) => pixelOf(map.mouseEventToLatLng(event));
  const shape = (kind, points, {name = '', ...rest} = {}) => kind(points.map(placeOf), {className: name, color: null, fill: false, interactive: false, ...rest});
  return {
    holder,
    fit,
    zoomBy: (doublings, at = null) => {
      const zoom = Math.max(map.getMinZoom(), Math.min(map.getMaxZoom(), map.getZoom() + doublings));
      if (at) map.setZoomAround(placeOf(at), zoom, {animate: false});
      else map.setZoom(zoom, {animate: !still});
    },
    /** Screen pixels that a pixel of the picture takes. */
    scale: () => crs.scale(map.getZoom()),
    lookAt: (point, scale = 1) => map.setView(placeOf(point), Math.min(map.getMaxZoom(), crs.zoom(scale)), {animate: false}),
    lookAtAll: (points) => map.fitBounds(zoomLibrary.latLngBounds(points.map(placeOf)), {animate: false, maxZoom: fullZoom, padding: [20, 20]}),
    middle: () => pixelOf(map.getCenter()),
    positionOf,
    onMove: (task) => map.on('move zoom resize', task),
    onPointer: (task) => map.on('mousemove', (event) => task(pixelOf(event.latlng))),
    onClick: (task) => map.on('click', (event) => task(pixelOf(event.latlng), event.originalEvent)),
    doubleClickZooms: (on) => (on ? map.doubleClickZoom.enable() : map.doubleClickZoom.disable()),
    replacePicture: (address) => base?.setUrl(address),
    /** Layers: made hidden, added and taken away by show(on). */
    layer: () => {
      const group = zoomLibrary.layerGroup();
      return {
        show: (on) => (on ? group.addTo(map) : group.remove()),
        clear: () => group.clearLayers(),
        raster: (address, name = 'overlay') => group.addLayer(zoomLibrary.imageOverlay(address, edges, {className: name})),
        line: (points, options) => { const line = shape(zoomLibrary.polyline, points, options); group.addLayer(line); return line; },
        outline: (points, options) => { const outline = shape(zoomLibrary.polygon, points, options); group.addLayer(outline); return outline; },
        /** A small element that keeps its size on the screen. */
        mark: (point, content, {name = '', size = 0, onPick = null, title = ''} = {}) => {
          for (const drawn of [content, ...content.querySelectorAll('svg')]) if (drawn.matches('svg')) drawn.setAttribute('aria-hidden', 'true');
          const marker = zoomLibrary.marker(placeOf(point), {
            icon: zoomLibrary.divIcon({html: content, className: `picture-mark ${name}`, iconSize: [size, size]}), interactive: Boolean(onPick),
            keyboard: Boolean(onPick), title,
          });
          if (onPick) marker.on('click', onPick);
          group.addLayer(marker);
          return marker;
        },
      };
    },
    /** A name beside the pointer over a shape, and what a click on it does. */
    describe: (drawn, text, {onPick = null, onHover = null} = {}) => {
      drawn.bindTooltip(() => (typeof text === 'function' ? text() : text), {sticky: true, className: 'pointer-name', direction: 'top', offset: [0, -6]});
      if (onPick) drawn.on('click', (event) => { zoomLibrary.DomEvent.stopPropagation(event); onPick(); });
      if (onHover) drawn.on('mouseover', () => onHover(true)).on('mouseout', () => onHover(false));
    },
    remove: () => map.remove(),
  };
}

/** The round length whose bar is at most `most_px` long: {length, drawn_px}; lengths in units of the picture's ground. */
function barFor(unit_per_screen_px, most_px) {
  const most = unit_per_screen_px * most_px;
  const power = 10 ** Math.floor(Math.log10(most));
  const length = [5, 2, 1].map((factor) => factor * power).find((candidate) => candidate <= most);
  return {length, drawn_px: length / unit_per_screen_px};
}

/** Buttons that every zoomable picture has. */
function viewerButtons(viewer, figure) {
  const button = (text, name, task) => el('button', {type: 'button', title: name, 'aria-label': name, onclick: task}, text);
  const full = button('Full screen', 'Full screen', () => (document.fullscreenElement ? document.exitFullscreen() : figure.requestFullscreen()));
  full.classList.add('full-screen');
  figure.addEventListener('fullscreenchange', () => { full.textContent = document.fullscreenElement === figure ? 'Leave full screen' : 'Full screen'; });
  return el('div', {class: 'zoom-buttons', role: 'group', 'aria-label': 'Size'},
            button('+', 'Closer', () => viewer.zoomBy(1)), button('\u2212', 'Farther', () => viewer.zoomBy(-1)),
            button('Whole', 'Show all of it', () => viewer.fit()), button('1:1', 'Full size: one pixel of the picture for one of the screen', () => viewer.lookAt(viewer.middle(), 1 / devicePixelRatio)),
            document.fullscreenEnabled ? full : null);
}
