// A person's word over the program's: verdicts set on this page, with undo, kept over reloads and saved as choices.csv.

const choices = (() => {
  const place = `lookdown choices ${flight.key}`;
  const listeners = [];
  let undone = [];
  let done = [];  // {frame: index, from: verdict or null, to: verdict or null}
  const chosen = new Map();
  let keptInBrowser = true;

  // Choices of an earlier run are in the record already; they are written again so that choices.csv stays whole.
  const isGiven = (frame) => frame.decision.by_person;

  /** Pages opened from disk may be refused storage: the page then works, and says that it will forget. */
  function remember() {
    try {
      localStorage.setItem(place, JSON.stringify([...chosen].map(([index, verdict]) => [frames[index].file, verdict])));
    } catch {
      keptInBrowser = false;
    }
  }

  function recall() {
    try {
      for (const [file, verdict] of JSON.parse(localStorage.getItem(place) ?? '[]')) {
        const frame = frameByFile.get(file);
        if (frame && VERDICTS.includes(verdict)) chosen.set(frame.index, verdict);
      }
    } catch {
      keptInBrowser = false;
    }
  }

  function apply(index, verdict) {
    if (verdict === null) chosen.delete(index);
    else chosen.set(index, verdict);
    remember();
    for (const listener of listeners) listener(frames[index]);
  }

  function set(frame, verdict) {
    const from = chosen.get(frame.index) ?? null;
    const to = verdict === programVerdict(frame) ? null : verdict;
    if (from === to) return;
    done.push({frame: frame.index, from, to});
    undone = [];
    apply(frame.index, to);
    say(`${frame.file}: ${verdict}`);
  }

  function step(source, target, side) {
    const change = source.pop();
    if (!change) return null;
    target.push(change);
    apply(change.frame, change[side]);
    const frame = frames[change.frame];
    say(`${frame.file}: ${verdictOf(frame)} again`);
    return frame;
  }

  const verdictOf = (frame) => chosen.get(frame.index) ?? programVerdict(frame);
  const quoted = (text) => (/[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);

  /** choices.csv: file,verdict; RFC 4180. */
  function table() {
    const rows = frames.filter((frame) => chosen.has(frame.index) || isGiven(frame))
                       .map((frame) => `${quoted(frame.file)},${verdictOf(frame)}\r\n`);
    return `file,verdict\r\n${rows.join('')}`;
  }

  recall();
  return {
    set,
    verdictOf,
    table,
    undo: () => step(done, undone, 'from'),
    redo: () => step(undone, done, 'to'),
    isChanged: (frame) => chosen.has(frame.index),
    isByPerson: (frame) => chosen.has(frame.index) || isGiven(frame),
    count: () => chosen.size,
    canUndo: () => done.length > 0,
    canRedo: () => undone.length > 0,
    isKept: () => keptInBrowser,
    onChange: (listener) => listeners.push(listener),
  };
})();

/** Three buttons that set a frame's verdict and show which one holds. */
function verdictButtons(frame) {
  const buttons = VERDICTS.map((verdict) => el('button', {
    type: 'button', class: `choose ${verdict}`, 'data-verdict': verdict, title: `${verdict} (key ${verdictKey[verdict]})`,
    onclick: (event) => { event.stopPropagation(); choices.set(frame, verdict); },
  }, verdictShape(verdict), ` ${verdict}`));
  const group = el('div', {class: 'choose-group', role: 'group', 'aria-label': `Verdict for ${frame.file}`}, buttons);
  const show = () => {
    for (const button of buttons) button.setAttribute('aria-pressed', button.dataset.verdict === choices.verdictOf(frame));
  };
  show();
  group.refresh = show;
  return group;
}

/** A word of a command as a shell takes it. */
const shellWord = (text) => (/^[\w@%+=:,./-]+$/.test(text) ? text : `'${text.replaceAll("'", "'\\''")}'`);

/** The command of this run with options put in or set anew: {'choices-file': 'choices.csv', ...}; a list repeats the option. */
function commandWith(options) {
  let command = flight.command_line || 'lookdown run FLIGHT -o OUT';
  for (const [name, values] of Object.entries(options)) {
    command = command.replace(new RegExp(` --${name}(=| +)('[^']*'|"[^"]*"|\\S+)`, 'g'), '');
    for (const value of [values].flat()) command += ` --${name} ${shellWord(value)}`;
  }
  return command;
}

/** A command to run next, with a button that copies it. */
function commandLine(options) {
  const code = el('code', {}, commandWith(options()));
  const told = el('span', {role: 'status'});
  const line = el('span', {class: 'command'}, code, ' ', el('button', {type: 'button', onclick: () => copyText(code.textContent, told, code)}, 'Copy the command'), told);
  line.refresh = () => { code.textContent = commandWith(options()); };
  return line;
}

function drawChoiceBar() {
  const bar = document.getElementById('choice-bar');
  const status = el('span', {class: 'choice-status'});
  const undo = el('button', {type: 'button', onclick: () => choices.undo()}, 'Undo');
  const redo = el('button', {type: 'button', onclick: () => choices.redo()}, 'Redo');
  const save = el('button', {type: 'button', class: 'main', id: 'save-choices', onclick: () => {
    saveText('choices.csv', choices.table());
    next.hidden = false;
  }}, 'Save choices.csv');
  const next = el('p', {class: 'next-step', hidden: true}, 'Put choices.csv where you run the program, then: ',
                  commandLine(() => ({'choices-file': 'choices.csv'})));
  const show = () => {
    const count = choices.count();
    status.textContent = count === 0 ? 'No verdict changed'
        : `${plural(count, 'verdict')} changed${choices.isKept() ? '' : ' (this browser will forget them: save)'}`;
    bar.classList.toggle('unchanged', count === 0);
    undo.disabled = !choices.canUndo();
    redo.disabled = !choices.canRedo();
  };
  choices.onChange(show);
  show();
  bar.append(status, undo, redo, save, next);
}
