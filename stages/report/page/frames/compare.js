// Near-repeats side by side, at the same spot of the ground and the same size.

const ALIGNED = {
  itself: '',
  placement: 'same ground, laid over the best by the placement',
  features: 'same ground, laid over the best by matched details',
  nothing: 'could not be laid over: same place in the frame, may show other ground',
};

/** Magnification of all crops; shared, so that one looks at the same thing in each. */
const compareZoom = {factor: 1};

function compareColumn(crop, isBest) {
  const frame = frames[crop.frame];
  const place = el('div', {class: 'compare-picture', tabindex: '0', role: 'img', 'aria-label': `Part of ${frame.file} at full size`});
  whenSeen(place, () => {
    const address = jpegAddress(pictures().repeat[crop.picture]);
    if (address) place.append(el('img', {src: address, alt: '', decoding: 'sync'}));
    else place.append(el('p', {class: 'unknown'}, 'no picture'));
  });
  const buttons = verdictButtons(frame);
  choices.onChange((changed) => { if (changed === frame) buttons.refresh(); });
  const facts = [['blur width', quantity(frame.blur?.blur_fwhm_px, 'px')], ['smear', quantity(frame.blur?.smear_px, 'px')],
                 ['off straight down', quantity(offNadir(frame), '\u00b0')], ['glare', share(frame.glare?.glare_share)]];
  return el('div', {class: 'compare-column'},
            el('h4', {}, el('button', {type: 'button', class: 'plain', onclick: () => openFrame(frame)}, frame.file), isBest ? ' best by the numbers' : ''),
            place,
            el('p', {class: 'aligned'}, ALIGNED[crop.aligned_by]),
            el('dl', {class: 'compare-facts'}, facts.map(([name, text]) => el('div', {}, el('dt', {}, name), el('dd', {}, text)))),
            buttons);
}

/** Crops of one group scroll together. */
function scrollTogether(row) {
  const places = [...row.querySelectorAll('.compare-picture')];
  for (const place of places) {
    place.addEventListener('scroll', () => {
      for (const other of places) {
        if (other === place) continue;
        if (Math.abs(other.scrollLeft - place.scrollLeft) > 1) other.scrollLeft = place.scrollLeft;
        if (Math.abs(other.scrollTop - place.scrollTop) > 1) other.scrollTop = place.scrollTop;
      }
    });
  }
}

const rowOfGroup = (group) => flight.repeats.findIndex((crops) => frames[crops[0].frame] === group[0]);

function showRepeats(group) {
  const row = document.getElementById(`repeats-${rowOfGroup(group)}`);
  row.scrollIntoView({block: 'start'});
  row.focus({preventScroll: true});
}

function zoomButtons() {
  const buttons = [1, 2, 4].map((factor) => el('button', {type: 'button', 'data-factor': factor, onclick: () => {
    compareZoom.factor = factor;
    show();
  }}, `\u00d7\u00a0${factor}`));
  const show = () => {
    bodyOf('compare').style.setProperty('--zoom', compareZoom.factor);
    for (const button of buttons) button.setAttribute('aria-pressed', +button.dataset.factor === compareZoom.factor);
  };
  show();
  return el('div', {class: 'zoom', role: 'group', 'aria-label': 'Magnification'}, 'One pixel of the frame drawn ', buttons);
}

function drawCompare() {
    if (flight.repeats.length === 0) {
    addTo('compare', el('p', {class: 'unknown'}, 'No frame repeats another.'));
    return;
  }
  addTo('compare',
      el('p', {class: 'hint'}, `${plural(flight.repeats.length, 'group')} of frames that show the same ground, cut at full size at the same spot. The best by the numbers stays; choose another if you see better.`),
      zoomButtons(),
      flight.repeats.map((crops, i) => {
        const best = frames[crops[0].frame];
        const left = (groupOf(best)?.length ?? crops.length) - crops.length;
        const row = el('div', {class: 'repeats', id: `repeats-${i}`, tabindex: '-1', role: 'group', 'aria-label': `Near-repeats of ${best.file}`},
                       crops.map((crop, place) => compareColumn(crop, place === 0)),
                       left > 0 ? el('p', {class: 'hint'}, `and ${plural(left, 'more frame')} of the same ground`) : null);
        scrollTogether(row);
        return row;
      }));
}
