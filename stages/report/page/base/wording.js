// Numbers and verdicts in words: every number with its unit, "not known" where nothing is known.

const NOT_KNOWN = 'not known';
const VERDICTS = ['keep', 'unsure', 'drop'];
const verdictKey = {keep: 'K', unsure: 'U', drop: 'D'};

const number = (value, digits) => value.toFixed(digits).replace('-', '\u2212');

/** A unit as it follows its number: a degree sign stands close, others after a space that does not break. */
const unitText = (unit) => (!unit ? '' : unit.startsWith('\u00b0') ? unit : `\u00a0${unit}`);

/** 3.14159 -> "3.1 px". */
function quantity(value, unit, digits = 1) {
  if (value === null || value === undefined || !Number.isFinite(value)) return NOT_KNOWN;
  return number(value, digits) + unitText(unit);
}

/** Rounded as the standard deviation asks, which never shows as nothing: "5.2 \u00b1 0.04". */
function withSigma(value, sigma, unit, digits = 1) {
  const text = quantity(value, unit, digits);
  if (text === NOT_KNOWN || !sigma) return text;
  const needed = Math.max(digits, Math.min(6, -Math.floor(Math.log10(sigma))));
  return `${number(value, needed)} \u00b1 ${number(sigma, needed)}${unitText(unit)}`;
}

const share = (value) => quantity(value === null || value === undefined ? null : value * 100, '%', value < 0.1 ? 1 : 0);

function lengthText(metres) {
  if (metres === null || metres === undefined) return NOT_KNOWN;
  const size = Math.abs(metres);
  if (size < 0.01) return quantity(metres * 1000, 'mm', 1);
  if (size < 0.1) return quantity(metres * 1000, 'mm', 0);
  return quantity(metres, 'm', size < 10 ? 2 : 1);
}

function exposureText(seconds) {
  if (!seconds) return NOT_KNOWN;
  return seconds < 0.3 ? `1/${Math.round(1 / seconds)}\u00a0s` : quantity(seconds, 's', 1);
}

/** A reason's number in its unit; shares read better as percent. */
function reasonNumber(value, unit) {
  if (unit === 'of the frame' || unit === 'of the water') return `${number(value * 100, 1)}\u00a0% ${unit}`;
  const spelled = unit === 'deg' ? '\u00b0' : unit.replace(/^deg /, '\u00b0 ');
  return quantity(value, spelled, Math.abs(value) < 1 ? 2 : Number.isInteger(value) ? 0 : 1);
}

/** "px (limit from this flight)" -> the unit, and where the limit came from as it follows the limit. */
function unitAndOrigin(text) {
  const [, unit, origin] = /^(.*?)(?: \((?:limit )?(.*)\))?$/.exec(text);
  return {unit, origin: origin ? ` (${origin})` : ''};
}

/** What a number of pixels of a frame is on the ground, where its scale is known. */
function onTheGround(frame, px) {
  const size = frame?.placement?.gsd_m;
  return size && px ? `, ${lengthText(px * size)} on the ground` : '';
}

/** Reasons whose word alone says too little: the sentence that takes its place. `limit` is the limit in words. */
const REASON_SENTENCES = {
  'unlike the other frames': (value, limit) => `looks like no other frame of the flight (${value}, ${limit})`,
  'too little detail': (value, limit) => `too little detail to judge its sharpness by (${value}, ${limit})`,
};

/** "smeared: 7.4 px, limit 3.0 px, 19 cm on the ground" */
function reasonText(reason, frame = null) {
  if (!reason) return 'no reason given';
  if (reason.word === 'near-repeat' && frame?.decision.repeat_of) return `near-repeat of ${frame.decision.repeat_of}`;
  if (reason.value === null) return reason.word;
  const {unit, origin} = unitAndOrigin(reason.unit);
  const shortUnit = unit === 'times as far from its like as others' || unit === 'of the evidence wanted' ? '' : unit;
  const value = reason.value === 0 && unit === 'px' ? 'none measured' : reasonNumber(reason.value, shortUnit);
  const limit = reason.limit === null ? null : `limit ${reasonNumber(reason.limit, shortUnit).replace(/ of the .*/, '')}${origin}`;
  const sentence = REASON_SENTENCES[reason.word];
  if (sentence && limit) return sentence(value, limit);
  return `${reason.word}: ${value}${limit ? `, ${limit}` : ''}${unit === 'px' && reason.asks_for !== 'keep' ? onTheGround(frame, reason.value) : ''}`;
}

/** A shape for each verdict, so that colour carries nothing alone: disc, open diamond, cross. */
function verdictShape(verdict, size = 14) {
  const shape = {
    keep: () => svg('circle', {cx: 8, cy: 8, r: 6.4}),
    unsure: () => svg('path', {d: 'M8 1.2 14.8 8 8 14.8 1.2 8z', 'fill-opacity': 0.15, 'stroke-width': 2}),
    drop: () => svg('path', {d: 'M2.5 2.5l11 11M13.5 2.5l-11 11', 'stroke-width': 3.4, 'stroke-linecap': 'round'}),
  }[verdict]();
  return svg('svg', {viewBox: '0 0 16 16', width: size, height: size, class: `shape ${verdict}`, 'aria-hidden': 'true'},
             shape);
}

/** The same shapes as part of a drawing, centred on (0, 0). */
function verdictMark(verdict, size) {
  const half = size / 2;
  if (verdict === 'keep') return svg('circle', {r: half, class: 'mark keep'});
  if (verdict === 'unsure') return svg('path', {d: `M0 ${-half}L${half} 0 0 ${half} ${-half} 0z`, class: 'mark unsure'});
  return svg('path', {d: `M${-half} ${-half}L${half} ${half}M${half} ${-half}L${-half} ${half}`, class: 'mark drop'});
}

const verdictWord = (verdict) => el('span', {class: `verdict ${verdict}`}, verdictShape(verdict), ` ${verdict}`);

const plural = (count, one, many = `${one}s`) => `${count} ${count === 1 ? one : many}`;
const clockTime = (takenAt) => (takenAt ? takenAt.slice(11, 19) : NOT_KNOWN);

/** Whether the mosaic shows the frame somewhere; nothing where there is no mosaic. */
const useWord = (frame) => (frame.used === null ? null : el('span', {class: 'use'}, frame.used ? ' \u00b7 in the mosaic' : ' \u00b7 not in the mosaic'));
