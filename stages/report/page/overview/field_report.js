// Accuracy and method as text to paste.

function drawFieldReport() {
  const text = el('pre', {class: 'field-text', tabindex: '0', 'aria-label': 'Accuracy and method'}, flight.field_text);
  const told = el('span', {role: 'status'});
  addTo('field-report',
      el('p', {class: 'accuracy'}, flight.accuracy.sentence),
      el('p', {}, el('button', {type: 'button', onclick: () => copyText(flight.field_text, told, text)}, 'Copy the text'), told),
      text);
}
