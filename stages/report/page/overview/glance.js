// The flight at a glance: what was kept and why the rest was not, what to know first, how the numbers ran.

function drawMasthead() {
  const first = frames.find((frame) => frame.shot.taken_at);
  const day = first ? first.shot.taken_at.slice(0, 10) : 'day not known';
  const cameras = [...new Set(frames.map((frame) => frame.shot.camera).filter(Boolean))];
  document.title = `Flight of ${day}: ${plural(frames.length, 'frame')}`;
  document.getElementById('masthead-text').replaceChildren(
      el('h1', {}, first ? `Flight of ${day}` : 'Flight report'),
      el('p', {}, [plural(frames.length, 'frame'), cameras.join(', ') || 'camera not named in the files'].join(' \u00b7 ')));
}

function warningList() {
  if (flight.warnings.length === 0) return el('p', {class: 'all-well'}, 'The program has no warning for this flight.');
  return el('div', {class: 'warnings'},
            el('h3', {}, 'Know this first'),
            el('ul', {}, flight.warnings.map((warning) => el('li', {}, warning))));
}

/** How many frames got which verdict; redrawn as choices change. */
function verdictTally() {
  const holder = el('div', {class: 'tally'});
  const show = () => {
    const counts = Object.fromEntries(VERDICTS.map((verdict) => [verdict, 0]));
    for (const frame of frames) counts[choices.verdictOf(frame)] += 1;
    holder.replaceChildren(
        el('div', {class: 'tally-bar', 'aria-hidden': 'true'}, VERDICTS.filter((verdict) => counts[verdict] > 0).map((verdict) =>
          el('span', {class: verdict, style: {'flex-grow': counts[verdict]}}))),
        el('ul', {class: 'tally-words'}, VERDICTS.map((verdict) => el('li', {},
          el('button', {type: 'button', class: 'plain', onclick: () => showFramesWith({verdict})},
             verdictShape(verdict, 18), ' ', el('strong', {}, String(counts[verdict])), ` ${verdict}`)))));
  };
  choices.onChange(show);
  show();
  return holder;
}

/** Why frames were not kept, most frequent reason first; each leads to its frames. */
function reasonTable() {
  const counts = new Map();
  for (const frame of frames) {
    const verdict = programVerdict(frame);
    if (verdict === 'keep') continue;
    const word = frame.decision.by_person ? 'your choice' : decidingReason(frame)?.word ?? 'no reason given';
    const entry = counts.get(`${verdict} ${word}`) ?? {verdict, word, count: 0};
    entry.count += 1;
    counts.set(`${verdict} ${word}`, entry);
  }
  const rows = [...counts.values()].sort((a, b) => b.count - a.count);
  if (rows.length === 0) return el('p', {}, 'Every frame was kept.');
  const most = rows[0].count;
  return el('table', {class: 'reasons'},
            el('caption', {}, 'Why frames were not kept'),
            el('thead', {}, el('tr', {}, ['Reason', 'Verdict', 'Frames'].map((name) => el('th', {scope: 'col'}, name)))),
            el('tbody', {}, rows.map(({verdict, word, count}) => el('tr', {},
              el('th', {scope: 'row'}, el('button', {type: 'button', class: 'plain', onclick: () => showFramesWith({reason: word})}, word)),
              el('td', {}, verdictWord(verdict)),
              el('td', {class: 'count'}, el('span', {class: `bar ${verdict}`, style: {width: `${(count / most) * 60}%`}}), String(count))))));
}

function spreadText(values, text) {
  const known = values.filter((value) => value !== null && value !== undefined);
  if (known.length === 0) return null;
  const least = text(Math.min(...known));
  const most = text(Math.max(...known));
  return least === most ? least : `${least} to ${most}, median ${text(middle(known))}`;
}

function flightFacts() {
  const read = frames.filter((frame) => !frame.fault);
  const times = read.map((frame) => frame.shot.taken_at).filter(Boolean).sort();
  const placed = read.filter((frame) => frame.placement.placed);
  const water = read.map((frame) => frame.glare?.water_share).filter((value) => value > 0.005);
  const {scale_from: scale, north_from: north} = flight.placement;
  const none = (from) => !from || from === 'none' || from === 'arbitrary';
  return [
    times.length && ['Taken', `${clockTime(times[0])} to ${clockTime(times.at(-1))} by the camera\u2019s clock`],
    ['Height above ground', spreadText(placed.map((frame) => frame.placement.height_m), (v) => quantity(v, 'm', 1))],
    ['Ground size of a pixel', spreadText(placed.map((frame) => frame.placement.gsd_m), lengthText)],
    ['Swing off straight down', spreadText(read.filter((frame) => frame.decision.view === 'nadir').map(offNadir), (v) => quantity(v, '\u00b0', 1))],
    ['Exposure', spreadText(read.map((frame) => frame.shot.exposure_s), exposureText)],
    ['Sun above the horizon', spreadText(read.map((frame) => frame.sun?.elevation_deg), (v) => quantity(v, '\u00b0', 0))],
    water.length && ['Water in view', `in ${plural(water.length, 'frame')}, median ${share(middle(water))} of these`],
    flight.placed && ['Joined', `${placed.length} of ${frames.length} frames${flight.placement.groups > 1 ? `, in ${flight.placement.groups} parts that do not touch` : ''}`],
    flight.placed && ['Scale and up', `${none(scale) ? 'no scale' : `scale from ${scale}`}; ${none(north) ? 'up is arbitrary' : `north from ${north}`}`],
  ].filter((fact) => fact && fact[1]);
}

/** The limit that blur was held against, from any frame that names it. */
const limitOf = (words) => {
  for (const frame of frames) {
    for (const reason of frame.decision.reasons) if (words.includes(reason.word) && reason.limit) return reason.limit;
  }
  return null;
};

/** Blur too small to be measured comes as 0, which a logarithmic axis cannot show. */
const LEAST_BLUR_SHOWN_PX = 0.5;

const PLOTS = [
  {title: 'Sharpness over time', note: 'as width of the blur: lower is sharper', unit: 'px', digits: 1, log: true,
   value: (frame) => (frame.blur && frame.blur.blur_fwhm_px !== null ? Math.max(frame.blur.blur_fwhm_px, LEAST_BLUR_SHOWN_PX) : null),
   limit: limitOf(['blurred', 'sharp'])},
  {title: 'Smear', note: 'length of motion blur', unit: 'px', digits: 1, fromZero: true,
   value: (frame) => frame.blur?.smear_px ?? null, limit: limitOf(['smeared'])},
  {title: 'Swing', note: 'angle off straight down', unit: '\u00b0', digits: 1, fromZero: true, value: offNadir,
   limit: limitOf(['oblique'])},
  {title: 'Height above ground', note: 'of the camera', unit: 'm', digits: 1, value: (frame) => frame.placement.height_m ?? null},
  {title: 'Brightness', note: 'mean of the frame in linear light', unit: '%', digits: 0, fromZero: true,
   value: (frame) => (frame.blur ? frame.blur.mean_level * 100 : null)},
  {title: 'Glare', note: 'share of the frame', unit: '%', digits: 1, fromZero: true,
   value: (frame) => (frame.glare ? frame.glare.glare_share * 100 : null), limit: (limitOf(['glare']) ?? 0) * 100 || null},
];

/** Plots that nothing is known for are named in one line, not drawn empty. */
function plotList() {
  const [drawn, empty] = [PLOTS.filter(hasPoints), PLOTS.filter((plot) => !hasPoints(plot))];
  return [
    drawn.length ? el('p', {class: 'hint'}, 'Each point is a frame; point at it to read it, click to open it.') : null,
    el('div', {class: 'plots'}, drawn.map(chartFigure)),
    empty.length ? el('p', {class: 'unknown'}, `Not known for any frame: ${empty.map(({title}) => title.toLowerCase()).join(', ')}.`) : null,
  ];
}

function drawGlance() {
  addTo('glance',
      el('div', {class: 'glance-columns'},
         el('div', {}, verdictTally(), warningList()),
         el('div', {}, reasonTable())),
      el('dl', {class: 'facts'}, flightFacts().map(([name, text]) => el('div', {}, el('dt', {}, name), el('dd', {}, text)))),
      plotList());
}
