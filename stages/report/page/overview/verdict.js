// What came of the flight, in words, before anything else; what waits for a person; what to do better next time.

/** "3 frames wait for you": leads from one to the next, and counts down as they are judged. */
function waitingButton() {
  const waiting = () => frames.filter((frame) => choices.verdictOf(frame) === 'unsure' && !choices.isByPerson(frame));
  const button = el('button', {type: 'button', class: 'main waiting', id: 'next-waiting', onclick: () => {
    const [first] = waiting();
    if (first) { showFramesWith({verdict: 'unsure'}); openFrame(first); }
  }});
  const show = () => {
    const count = waiting().length;
    button.hidden = count === 0;
    button.textContent = `${plural(count, 'frame waits', 'frames wait')} for you`;
  };
  choices.onChange(show);
  show();
  return button;
}

/** Frames that are kept and frames that the mosaic shows are not the same. */
function usedSentence() {
  if (!flight.mosaic) return null;
  const kept = frames.filter((frame) => programVerdict(frame) === 'keep');
  const unused = kept.filter((frame) => !frame.used);
  const others = frames.filter((frame) => frame.used).length - (kept.length - unused.length);
  const more = others > 0 ? ` ${plural(others, 'frame that is', 'frames that are')} not kept ${others === 1 ? 'fills' : 'fill'} in.` : '';
  if (unused.length === 0) return el('p', {}, `All ${plural(kept.length, 'frame')} that ${kept.length === 1 ? 'is' : 'are'} kept ${kept.length === 1 ? 'is' : 'are'} in it.${more}`);
  return el('p', {}, `Of ${plural(kept.length, 'kept frame')} ${kept.length - unused.length} are in it; `,
            el('button', {type: 'button', class: 'plain', onclick: () => showFramesWith({use: 'unused'})}, `${plural(unused.length, 'is', 'are')} not`),
            ` (obliques, frames that could not be placed, and those that others cover better).${more}`);
}

function drawVerdict() {
  const {headline, known, missing} = flight.verdict;
  addTo('verdict',
      el('div', {class: 'verdict-banner'},
         el('div', {class: 'verdict-words'},
            el('p', {class: 'headline'}, headline),
            known.map((sentence) => el('p', {}, sentence)), usedSentence(),
            missing.length ? el('ul', {class: 'missing', 'aria-label': 'Missing'}, missing.map((sentence) => el('li', {}, sentence))) : null),
         waitingButton()),
      flight.advice.length ? el('details', {class: 'advice', open: !flight.mosaic}, el('summary', {}, 'For the next flight'),
                                el('ul', {}, flight.advice.map((sentence) => {
                                  const [head, ...rest] = sentence.split(': ');
                                  return el('li', {}, el('strong', {}, `${head}: `), rest.join(': '));
                                }))) : null);
  if (!flight.mosaic) addTo('verdict', fileLinks());
}
