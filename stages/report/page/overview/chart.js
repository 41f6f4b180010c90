// Small plots over time, drawn as SVG at the width that there is. Points bear the verdict's shape and open their frame.

const CHART_HEIGHT = 150;
const CHART_EDGE = {left: 46, right: 12, top: 22, bottom: 24};

/** Seconds since the first frame where the clock is known, else the place in the row. */
const chartTimes = (() => {
  const known = frames.filter((frame) => frame.shot.taken_at_s !== null);
  const useClock = known.length > frames.length / 2;
  const first = useClock ? Math.min(...known.map((frame) => frame.shot.taken_at_s)) : 0;
  const shortFlight = useClock && Math.max(...known.map((frame) => frame.shot.taken_at_s)) - first < 900;
  const at = (frame) => (!useClock ? frame.index : frame.shot.taken_at_s === null ? null : frame.shot.taken_at_s - first);
  const label = (value) => {
    if (!useClock) return `frame ${Math.round(value) + 1}`;
    return new Date((first + value) * 1000).toISOString().slice(11, shortFlight ? 19 : 16);
  };
  return {at, label};
})();

/** Round steps for an axis. */
function ticksFor(least, most, wanted) {
  const raw = (most - least) / wanted || 1;
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 2.5, 5, 10].map((factor) => factor * power).find((candidate) => candidate >= raw);
  const ticks = [];
  for (let tick = Math.ceil(least / step) * step; tick <= most + step * 1e-6; tick += step) ticks.push(tick);
  return ticks;
}

function axis(values, plot) {
  const reach = plot.limit ? [...values, plot.limit] : values;
  if (plot.log) {
    const least = Math.log2(Math.min(...reach)) - 0.2;
    const most = Math.log2(Math.max(...reach)) + 0.2;
    const ticks = [0.25, 0.5, 1, 2, 4, 8, 16, 32, 64, 128].filter((tick) => Math.log2(tick) >= least && Math.log2(tick) <= most);
    return {least, most, ticks, place: Math.log2};
  }
  const low = Math.min(...reach, plot.fromZero ? 0 : Infinity);
  const high = Math.max(...reach);
  const margin = (high - low || Math.abs(high) || 1) * 0.08;
  const least = plot.fromZero && low >= 0 ? 0 : low - margin;
  const most = high + margin;
  return {least, most, ticks: ticksFor(least, most, 5), place: (value) => value};
}

function drawChart(holder, plot, shown) {
  const width = Math.max(holder.clientWidth, 280);
  const x0 = CHART_EDGE.left;
  const x1 = width - CHART_EDGE.right;
  const y0 = CHART_HEIGHT - CHART_EDGE.bottom;
  const y1 = CHART_EDGE.top;
  const last = Math.max(...frames.map((frame) => chartTimes.at(frame) ?? 0)) || 1;
  const {least, most, ticks, place} = axis(shown.map((frame) => plot.value(frame)), plot);
  const x = (time) => x0 + 6 + (x1 - x0 - 12) * (time / last);
  const y = (value) => y0 - (y0 - y1) * ((place(value) - least) / (most - least));

  const lines = ticks.map((tick) => [
    svg('line', {x1: x0, x2: x1, y1: y(tick), y2: y(tick), class: 'grid-line'}),
    svg('text', {x: x0 - 6, y: y(tick) + 4, 'text-anchor': 'end'}, String(+tick.toPrecision(3))),
  ]);
  const clocks = ticksFor(0, last, Math.max(2, Math.floor(width / 160)))
      .filter((tick) => x(tick) < x1 - 70)
      .concat([last])
      .map((tick) => svg('text', {x: tick === last ? x1 : x(tick), y: CHART_HEIGHT - 6, 'text-anchor': tick === 0 ? 'start' : tick === last ? 'end' : 'middle'},
                         chartTimes.label(tick)));
  const unit = svg('text', {x: 4, y: 13, class: 'axis-unit'}, `${plot.unit}${plot.log ? ' (each step doubles)' : ''}`);
  const limit = plot.limit
      ? [svg('line', {x1: x0, x2: x1, y1: y(plot.limit), y2: y(plot.limit), class: 'limit-line'}),
         svg('text', {x: x1, y: y(plot.limit) - 4, 'text-anchor': 'end', class: 'limit-text'},
             `limit ${quantity(plot.limit, plot.unit, plot.digits)}`)]
      : [];
  const walker = chartWalker(plot, shown, (frame) => ({x: x(chartTimes.at(frame)), y: y(plot.value(frame))}), {x0, x1});
  const marks = shown.map((frame) => {
    const mark = verdictMark(choices.verdictOf(frame), frames.length > 200 ? 6 : 8);
    mark.setAttribute('transform', `translate(${x(chartTimes.at(frame)).toFixed(1)} ${y(plot.value(frame)).toFixed(1)})`);
    mark.append(svg('title', {}, `${frame.file}: ${quantity(plot.value(frame), plot.unit, plot.digits)}`));
    mark.addEventListener('click', () => openFrame(frame));
    mark.addEventListener('pointerenter', () => walker.point(frame));
    return mark;
  });
  const hadFocus = holder.contains(document.activeElement);
  holder.replaceChildren(svg('svg', {
    viewBox: `0 0 ${width} ${CHART_HEIGHT}`, width, height: CHART_HEIGHT, role: 'application', class: 'chart', tabindex: 0,
    'aria-roledescription': 'plot', 'aria-label': `${chartInWords(plot, shown)} Left and right walk the frames, Enter opens one.`,
    onkeydown: walker.key, onfocus: walker.show, onblur: walker.hide,
    onpointerleave: walker.hide,
  }, unit, lines, clocks, limit, marks, walker.pointer));
  if (hadFocus) holder.firstChild.focus();
}

/** The keyboard's way through a plot: a ring that walks from frame to frame in time and reads each one out. */
function chartWalker(plot, shown, place, {x0, x1}) {
  const inTime = [...shown].sort((a, b) => chartTimes.at(a) - chartTimes.at(b));
  const ring = svg('circle', {r: 8, class: 'pointer-ring'});
  const text = svg('text', {class: 'pointer-text', y: CHART_EDGE.top + 6});
  const pointer = svg('g', {class: 'pointer', visibility: 'hidden'}, ring, text);
  const show = (aloud = true) => {
    const frame = inTime[Math.min(plot.at ?? 0, inTime.length - 1)];
    const {x, y} = place(frame);
    const words = `${frame.file}: ${quantity(plot.value(frame), plot.unit, plot.digits)}`;
    ring.setAttribute('cx', x);
    ring.setAttribute('cy', y);
    const leftHalf = x < (x0 + x1) / 2;
    text.setAttribute('x', leftHalf ? x1 : x0 + 4);
    text.setAttribute('text-anchor', leftHalf ? 'end' : 'start');
    text.textContent = words;
    pointer.setAttribute('visibility', 'visible');
    if (aloud) say(words);
  };
  const point = (frame) => {
    plot.at = inTime.indexOf(frame);
    show(false);
  };
  const key = (event) => {
    const last = inTime.length - 1;
    const at = Math.min(plot.at ?? 0, last);
    const next = {ArrowLeft: at - 1, ArrowRight: at + 1, Home: 0, End: last}[event.key];
    if (next !== undefined) plot.at = Math.min(Math.max(next, 0), last);
    else if (event.key === 'Enter') openFrame(inTime[at]);
    else return;
    event.preventDefault();
    event.stopPropagation();
    if (next !== undefined) show();
  };
  return {pointer, key, point, show: () => show(), hide: () => pointer.setAttribute('visibility', 'hidden')};
}

function middle(values) {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted.length ? sorted[Math.floor((sorted.length - 1) / 2)] : null;
}

function chartInWords(plot, shown) {
  const values = shown.map(plot.value);
  const range = `${quantity(Math.min(...values), plot.unit, plot.digits)} to ${quantity(Math.max(...values), plot.unit, plot.digits)}`;
  return `${plot.title}: ${range}, median ${quantity(middle(values), plot.unit, plot.digits)}, ${plural(values.length, 'frame')}.`;
}

const shownIn = (plot) => frames.filter((frame) => !frame.fault && plot.value(frame) !== null && plot.value(frame) !== undefined &&
                                                   chartTimes.at(frame) !== null && (!plot.log || plot.value(frame) > 0));
const hasPoints = (plot) => shownIn(plot).length > 0;

/** A titled plot that follows the window's width and the choices. */
function chartFigure(plot) {
  const shown = shownIn(plot);
  const caption = el('figcaption', {}, el('strong', {}, plot.title), plot.note ? ` ${plot.note}` : '');
  const holder = el('div', {class: 'plot-holder'});
  const redraw = () => drawChart(holder, plot, shown);
  whenSeen(holder, () => {
    let drawnWidth = holder.clientWidth;
    redraw();
    new ResizeObserver(() => {
      if (holder.clientWidth === drawnWidth) return;
      drawnWidth = holder.clientWidth;
      redraw();
    }).observe(holder);
    choices.onChange(redraw);
  });
  return el('figure', {class: 'plot'}, caption, holder);
}
