// Accuracy and method as text to paste.

function drawFieldReport() {
  const text = el('pre', {class: 'field-text', tabindex: '0', 'aria-label': 'Accuracy and method'}, flight.field_text);
  const told = el('span', {role: 'status'});
  /** The clipboard may be closed to a page from disk: then the text is marked, ready for the copy key. */
  const copy = async () => {
    try {
      await navigator.clipboard.writeText(flight.field_text);
      told.textContent = ' Copied.';
    } catch {
      getSelection().selectAllChildren(text);
      told.textContent = ' The text is marked: copy it with Ctrl+C.';
    }
  };
  addTo('field-report',
      el('p', {class: 'accuracy'}, flight.accuracy.sentence),
      el('p', {}, el('button', {type: 'button', onclick: copy}, 'Copy the text'), told),
      text);
}
