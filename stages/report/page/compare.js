// Near-repeats side by side, at the same spot of the ground.

function compareColumn(frame, best) {
  const place = el('div', {class: 'compare-picture'});
  whenSeen(place, () => {
    const address = fullSizePiece(frame) ?? wholePicture(frame);
    if (address) place.append(el('img', {src: address, alt: `Part of ${frame.file} at full size`}));
  });
  const buttons = verdictButtons(frame);
  choices.onChange((changed) => { if (changed === frame) buttons.refresh(); });
  return el('div', {class: 'compare-column'},
            el('h4', {}, el('button', {type: 'button', class: 'plain', onclick: () => openFrame(frame)}, frame.file), frame === best ? ' (best by the numbers)' : ''),
            place,
            el('p', {}, `blur width ${quantity(frame.blur?.blur_fwhm_px, 'px')}, smear ${quantity(frame.blur?.smear_px, 'px')}, ${quantity(offNadir(frame), '\u00b0')} off straight down, glare ${share(frame.glare?.glare_share)}`),
            buttons);
}

function showRepeats(group) {
  const row = document.getElementById(`repeats-${repeatGroups.indexOf(group)}`);
  row.scrollIntoView({block: 'start'});
  row.focus({preventScroll: true});
}

function drawCompare() {
  if (repeatGroups.length === 0) {
    bodyOf('compare').append(el('p', {class: 'unknown'}, 'No frame repeats another.'));
    return;
  }
  bodyOf('compare').append(
      el('p', {class: 'hint'}, `${plural(repeatGroups.length, 'group')} of frames that show the same ground. The best one stays; choose another if you see better.`),
      repeatGroups.map((group, i) => el('div', {class: 'repeats', id: `repeats-${i}`, tabindex: '-1', role: 'group', 'aria-label': `Near-repeats of ${group[0].file}`},
        group.map((frame) => compareColumn(frame, group[0])))));
}
