// One frame opened large: the picture with what was decided drawn on it, the reasons, and every number with its unit.

const frameView = {frame: null, opener: null};

/** Numbers of a frame, in the order in which one asks for them. */
function frameNumbers(frame) {
  const {blur, tilt, horizon, glare, placement, shot} = frame;
  const rows = [
    ['Taken', shot.taken_at?.replace('T', ' ') ?? NOT_KNOWN],
    ['View', frame.decision.view],
    ['Exposure', [exposureText(shot.exposure_s), shot.f_number ? `f/${shot.f_number}` : null, shot.iso ? `ISO ${shot.iso}` : null].filter(Boolean).join(', ')],
    ['Size as displayed', `${frame.width_px} \u00d7 ${frame.height_px}\u00a0px`],
    ['Focal length', shot.focal_px ? `${quantity(shot.focal_px, 'px', 0)} (${shot.focal_from || 'source not known'})` : NOT_KNOWN],
  ];
  if (blur) {
    rows.push(['Sharpness (0 to 1)', quantity(blur.sharpness, '', 2)],
              ['Blur width', withSigma(blur.blur_fwhm_px, blur.blur_fwhm_px * (blur.blur_sigma_share ?? 0), 'px', 2)],
              ['Smear', blur.smear_px === null ? NOT_KNOWN : quantity(blur.smear_px, 'px')],
              ['Detail to judge by (0 to 1)', quantity(blur.detail, '', 2)],
              ['Clipped highlights', share(blur.clipped_high_share)],
              ['Clipped shadows', share(blur.clipped_low_share)]);
  }
  rows.push(['Off straight down', tilt ? `${withSigma(tilt.off_nadir_deg, tilt.sigma_deg, '\u00b0')} (from ${tilt.from})` : NOT_KNOWN]);
  if (horizon) {
    rows.push(['Horizon', horizon.kind], ['Roll, clockwise', withSigma(horizon.roll_deg, horizon.roll_sigma_deg, '\u00b0')],
              ['Pitch above the horizontal', withSigma(horizon.pitch_deg, horizon.pitch_sigma_deg, '\u00b0')]);
  }
  if (glare) {
    rows.push(['Water', `${share(glare.water_share)} of the frame`], ['Glare', `${share(glare.glare_share)} of the frame`],
              ['Water that can be read', share(glare.readable_water_share)]);
  }
  if (frame.sun) rows.push(['Sun', `${quantity(frame.sun.elevation_deg, '\u00b0', 0)} above the horizon, azimuth ${quantity(frame.sun.azimuth_deg, '\u00b0', 0)}`]);
  if (placement.placed) {
    rows.push(['Height above ground', quantity(placement.height_m, 'm')], ['Ground size of a pixel', lengthText(placement.gsd_m)],
              ['Fit to its neighbours', `${quantity(placement.rmse_px, 'px', 2)} (RMSE of ${plural(placement.tie_points, 'tie point')} with ${plural(placement.neighbour_count, 'frame')})`]);
  }
  if (flight.placed) rows.push(['In the mosaic', frame.used ? 'yes' : placement.placed ? 'no' : `no, not placed${placement.why_not ? `: ${placement.why_not}` : ''}`]);
  return rows;
}

function reasonList(frame) {
  if (frame.fault) return el('p', {class: 'fault'}, frame.fault);
  const reasons = frame.decision.reasons;
  if (frame.decision.by_person) return el('p', {}, 'Set by a person in an earlier choices.csv.');
  if (reasons.length === 0) return el('p', {}, 'The program gave no reason.');
  return el('ul', {class: 'reason-list'}, reasons.map((reason) =>
    el('li', {class: reason.decides ? 'decides' : ''}, reasonText(reason, frame), reason.decides && reasons.length > 1 ? ' (decided)' : '')));
}

/** Frames beside this one: its near-repeats and its neighbours on the ground. */
function relatedFrames(frame) {
  const open = (other, text) => el('button', {type: 'button', class: 'plain', onclick: () => openFrame(other)}, text);
  const group = groupOf(frame);
  const near = (frame.placement.neighbours ?? []).slice(0, 8).map(({frame: index}) => frames[index]);
  return [
    el('p', {class: 'frame-links'},
       mosaicView.viewer && frameOnMosaic(frame) ? el('button', {type: 'button', onclick: () => showOnMosaic(frame)}, 'Show on the mosaic') : null,
       frame.original ? [' ', el('a', {href: fileAddress(frame.original), target: '_blank', rel: 'noopener'}, 'Open the original')] : null),
    group ? el('p', {}, 'Near-repeats: ', group.filter((other) => other !== frame).map((other) => [open(other, other.file), ' ']),
               el('button', {type: 'button', onclick: () => { closeFrame(); showRepeats(group); }}, 'Compare them')) : null,
    near.length ? el('p', {}, 'Neighbours on the ground: ', near.map((other) => [open(other, other.file), ' '])) : null,
  ];
}

function drawFrameView() {
  const {frame} = frameView;
  const dialog = document.getElementById('frame-view');
  const picture = el('div', {class: 'picture-place'});
  const redraw = () => picture.replaceChildren(frame.fault ? el('p', {class: 'unknown'}, 'This file could not be read.') : drawnFrame(frame));
  redraw();
  const piece = frame.fault ? null : fullSizePiece(frame);
  const buttons = verdictButtons(frame);
  const mark = el('button', {type: 'button', id: 'mark-points', onclick: () => {
    const panel = markingPanel(frame, () => { redraw(); pictureSide.replaceChildren(...sideParts); mark.focus(); });
    pictureSide.replaceChildren(panel);
    panel.start();
  }}, 'Mark points');
  const sideParts = [picture, frame.fault ? null : layerSwitches(frame, redraw), frame.fault ? null : el('p', {class: 'frame-links'}, mark)].filter(Boolean);
  const pictureSide = el('div', {class: 'view-picture'}, sideParts);
  const place = grid.shown.indexOf(frame);
  frameView.buttons = buttons;
  dialog.replaceChildren(
      el('div', {class: 'view-head'},
         el('h2', {id: 'frame-view-title', tabindex: '-1'}, frame.file),
         el('span', {class: 'count'}, place < 0 ? '' : `${place + 1} of ${grid.shown.length} shown`),
         el('span', {class: 'view-turns'},
            el('button', {type: 'button', onclick: () => openNeighbour(-1), disabled: place <= 0}, '\u2190 Before'),
            el('button', {type: 'button', onclick: () => openNeighbour(1), disabled: place < 0 || place === grid.shown.length - 1}, 'Next \u2192'),
            el('button', {type: 'button', onclick: closeFrame}, 'Close'))),
      el('div', {class: 'view-columns'},
         pictureSide,
         el('div', {class: 'view-facts'},
            buttons, reasonList(frame),
            piece ? el('figure', {class: 'piece'}, el('img', {src: piece, alt: `Part of ${frame.file} at full size`}),
                       el('figcaption', {}, 'At full size, where the frame has most detail')) : null,
            relatedFrames(frame),
            el('table', {class: 'numbers'}, el('caption', {}, 'Measured'),
               el('tbody', {}, frameNumbers(frame).map(([name, text]) => el('tr', {}, el('th', {scope: 'row'}, name), el('td', {}, text))))))));
}

function openFrame(frame) {
  const dialog = document.getElementById('frame-view');
  if (!frameView.frame) frameView.opener = document.activeElement;
  frameView.frame = frame;
  drawFrameView();
  if (!dialog.open) dialog.showModal();
  dialog.scrollTop = 0;
  document.getElementById('frame-view-title').focus({preventScroll: true});
}

function openNeighbour(step) {
  const next = grid.shown[grid.shown.indexOf(frameView.frame) + step];
  if (next) openFrame(next);
}

function closeFrame() {
  const dialog = document.getElementById('frame-view');
  if (dialog.open) dialog.close();
}

function prepareFrameView() {
  document.getElementById('frame-view').addEventListener('close', () => {
    const {frame, opener} = frameView;
    frameView.frame = null;
    const place = grid.shown.indexOf(frame);
    if (opener?.matches('.card') && place >= 0) focusPlace(place);
    else opener?.focus?.();
  });
  choices.onChange((frame) => {
    if (frame === frameView.frame) frameView.buttons.refresh();
  });
}
