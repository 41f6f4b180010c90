// The flight as the run recorded it, and what follows from it without asking the person.

const flight = JSON.parse(document.getElementById('flight-json').textContent);
const frames = flight.frames;
frames.forEach((frame, index) => { frame.index = index; });
const frameByFile = new Map(frames.map((frame) => [frame.file, frame]));

/** Pictures are many megabytes: they are parsed when the first one is asked for. */
const pictures = (() => {
  let parsed = null;
  return () => {
    const holder = document.getElementById('pictures-json');
    if (!parsed) {
      parsed = JSON.parse(holder.textContent);
      holder.textContent = '';
    }
    return parsed;
  };
})();

const jpegAddress = (base64) => (base64 ? `data:image/jpeg;base64,${base64}` : null);
const pngAddress = (base64) => (base64 ? `data:image/png;base64,${base64}` : null);
const wholePicture = (frame) => jpegAddress(pictures().whole[frame.index]);
const fullSizePiece = (frame) => jpegAddress(pictures().piece[frame.index]);

/** A path below or beside the page's folder as an address. */
const fileAddress = (path) => path.split('/').map(encodeURIComponent).join('/');

/** What the program says; a file that could not be read is dropped. */
const programVerdict = (frame) => (frame.fault ? 'drop' : frame.decision.verdict);

/** The reason that decided the verdict, or null. */
function decidingReason(frame) {
  if (frame.fault) return {word: 'unreadable', value: null, limit: null, unit: ''};
  const reasons = frame.decision.reasons;
  return reasons.find((reason) => reason.decides) ?? reasons[0] ?? null;
}

/** How far a number is from its limit, as a factor of at least 1 whichever side it is on; null without a limit. */
function distanceFromLimit(reason) {
  if (!reason || reason.value === null || !reason.limit) return null;
  const ratio = Math.abs(reason.value / reason.limit);
  return ratio > 0 ? Math.max(ratio, 1 / ratio) : Infinity;
}

/** Orders frames worst first: dropped before unsure before kept, and within these by distance from the limit. */
function badness(frame, verdict) {
  const rank = {drop: 2, unsure: 1, keep: 0}[verdict];
  const factor = Math.min(distanceFromLimit(decidingReason(frame)) ?? 1, 1000) / 1001;
  return rank + (rank === 0 ? 1 - factor : factor);
}

const offNadir = (frame) => frame.tilt?.off_nadir_deg ?? null;

/** Frames that repeat one another: [[best, others...], ...] in order of time. */
const repeatGroups = (() => {
  const groups = new Map();
  for (const frame of frames) {
    const best = frameByFile.get(frame.decision.repeat_of);
    if (!best || best === frame) continue;
    if (!groups.has(best)) groups.set(best, [best]);
    groups.get(best).push(frame);
  }
  return [...groups.values()].sort((a, b) => a[0].index - b[0].index);
})();

const groupOf = (frame) => repeatGroups.find((group) => group.includes(frame)) ?? null;
