// What is known of the marked points: coordinates, or the length between two of them. Saved as control.csv; a length goes into the command.

const survey = (() => {
  const place = `lookdown survey ${flight.key}`;
  const listeners = [];
  const coordinates = new Map(flight.accuracy.points.map(({name, coordinates: xyz}) => [name, xyz.map(String)]));
  let bar = {from: '', to: '', length: ''};
  let changed = false;

  try {
    const kept = JSON.parse(localStorage.getItem(place) ?? 'null');
    if (kept) {
      for (const [name, xyz] of kept.coordinates) coordinates.set(name, xyz);
      bar = kept.bar;
      changed = kept.changed;
    }
  } catch { /* A page from disk may be refused storage; choices say so. */ }

  function tell() {
    try {
      localStorage.setItem(place, JSON.stringify({coordinates: [...coordinates], bar, changed}));
    } catch { /* As above. */ }
    for (const listener of listeners) listener();
  }

  const isNumber = (text) => text.trim() !== '' && Number.isFinite(Number(text));
  const complete = (xyz) => isNumber(xyz[0]) && isNumber(xyz[1]) && (xyz[2].trim() === '' || isNumber(xyz[2]));
  const known = () => [...coordinates].filter(([, xyz]) => complete(xyz));
  return {
    known,
    of: (name) => coordinates.get(name) ?? ['', '', ''],
    set: (name, axis, text) => {
      const xyz = [...(coordinates.get(name) ?? ['', '', ''])];
      xyz[axis] = text.replace(',', '.');
      coordinates.set(name, xyz);
      changed = true;
      tell();
    },
    bar: () => bar,
    setBar: (part, text) => { bar = {...bar, [part]: part === 'length' ? text.replace(',', '.') : text}; tell(); },
    hasBar: () => bar.from && bar.to && bar.from !== bar.to && Number(bar.length) > 0,
    isChanged: () => changed,
    /** control.csv: name,x,y,z in metres; RFC 4180. */
    table: () => `name,x,y,z\r\n${known().map(([name, [x, y, z]]) => `${csvCell(name)},${x},${y},${z.trim() || '0'}\r\n`).join('')}`,
    onChange: (listener) => listeners.push(listener),
  };
})();

/** Options of the next run that follow from what was marked and entered here. */
function surveyOptions() {
  const options = {'marks-file': 'marks.csv'};
  if (survey.isChanged() && survey.known().length) options['control-file'] = 'control.csv';
  if (survey.hasBar()) {
    const {from, to, length} = survey.bar();
    options['scale-bar'] = `${from},${to},${length}`;
  }
  return options;
}

/** A row a point: where it is marked, what its coordinates are; and the length between two. */
function surveyForm() {
  const rows = el('tbody');
  const names = el('datalist', {id: 'point-names'});
  const known = new Map();
  const rowOf = (name) => {
    const count = el('td');
    const cells = ['x', 'y', 'z'].map((axis, index) => {
      const input = el('input', {type: 'text', inputmode: 'decimal', size: 11, 'aria-label': `${axis} of ${name} in metres`, value: survey.of(name)[index],
                                 onchange: (event) => survey.set(name, index, event.target.value)});
      return el('td', {}, input);
    });
    return {count, row: el('tr', {}, el('th', {scope: 'row'}, name), count, cells)};
  };
  const show = () => {
    const all = marks.names();
    for (const name of all) {
      if (!known.has(name)) known.set(name, rowOf(name));
      const {count, row} = known.get(name);
      count.textContent = plural(marks.list.filter((mark, index) => mark.name === name && marks.positionOf(index)).length, 'frame');
      rows.append(row);
    }
    for (const [name, {row}] of known) if (!all.includes(name)) row.remove();
    names.replaceChildren(...all.map((name) => el('option', {value: name})));
    table.hidden = all.length === 0;
    barLine.hidden = all.length < 2;
  };
  const barInput = (part, label, more = {}) => el('label', {}, `${label} `, el('input', {type: 'text', size: 7, value: survey.bar()[part], 'data-bar': part, ...more,
                                                                                    onchange: (event) => survey.setBar(part, event.target.value.trim())}));
  const table = el('div', {class: 'wide-table'}, el('table', {class: 'points'},
      el('caption', {}, 'Points, with their coordinates in metres where you know them'),
      el('thead', {}, el('tr', {}, ['Point', 'Marked in', 'x (east)', 'y (north)', 'z (up)'].map((name) => el('th', {scope: 'col'}, name)))), rows));
  const barLine = el('p', {class: 'bar-line'}, 'Or a known length: ', barInput('from', 'from', {list: 'point-names'}), ' ', barInput('to', 'to', {list: 'point-names'}), ' ',
                     barInput('length', 'metres', {inputmode: 'decimal'}));
  marks.onChange(show);
  show();
  return el('div', {class: 'survey'}, names, table, barLine);
}
