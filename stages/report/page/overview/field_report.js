// Accuracy and method as text to paste.

function drawFieldReport() {
  const text = el('pre', {class: 'field-text', tabindex: '0', 'aria-label': 'Accuracy and method'}, flight.field_text);
  const told = el('span', {role: 'status'});
  const options = /\n(Options: .*\n)/.exec(flight.field_text);
  const shown = options ? flight.field_text.replace(options[1], '') : flight.field_text;
  text.textContent = shown;
  addTo('field-report',
      el('p', {}, el('button', {type: 'button', onclick: () => copyText(flight.field_text, told, text)}, 'Copy the text'), told),
      text,
      options ? el('details', {}, el('summary', {}, 'Options of the run'), el('pre', {class: 'field-text'}, options[1].trim())) : null);
}
