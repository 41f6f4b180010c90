// Making elements. Text goes in as text nodes only, never as markup: file names come from the card and are not trusted.

const SVG = 'http://www.w3.org/2000/svg';

function fill(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith('on')) node.addEventListener(name.slice(2), value);
    else if (name === 'style') for (const [key, text] of Object.entries(value)) node.style.setProperty(key, text);
    else node.setAttribute(name, value === true ? '' : value);
  }
  for (const child of children.flat(Infinity)) {
    if (child !== null && child !== undefined && child !== false) node.append(child);
  }
  return node;
}

/** el('p', {class: 'x', onclick: f}, 'text', child, [children]) */
function el(tag, attributes = {}, ...children) {
  return fill(document.createElement(tag), attributes, children);
}

function svg(tag, attributes = {}, ...children) {
  return fill(document.createElementNS(SVG, tag), attributes, children);
}

const bodyOf = (section) => document.querySelector(`#${section} .body`);
const addTo = (section, ...children) => fill(bodyOf(section), {}, children);

/** Reads a sentence to people who do not see the page change. */
function say(sentence) {
  document.getElementById('spoken').textContent = sentence;
}

/** Draws a thing when it first comes near the window; paper shows everything, so printing draws what is left. */
const whenSeen = (() => {
  const tasks = new Map();
  const draw = (node) => {
    watcher.unobserve(node);
    const task = tasks.get(node);
    tasks.delete(node);
    task?.();
  };
  const watcher = new IntersectionObserver((entries) => {
    for (const entry of entries) if (entry.isIntersecting) draw(entry.target);
  }, {rootMargin: '400px'});
  const drawAll = () => { for (const node of [...tasks.keys()]) draw(node); };
  addEventListener('beforeprint', drawAll);
  matchMedia('print').addEventListener('change', ({matches}) => { if (matches) drawAll(); });
  return (node, task) => {
    tasks.set(node, task);
    watcher.observe(node);
  };
})();

/** Offers a text as a file to save. */
function saveText(name, text, type = 'text/csv') {
  const address = URL.createObjectURL(new Blob([text], {type: `${type};charset=utf-8`}));
  const link = el('a', {href: address, download: name});
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 10000);
}

/** Copies a text and says so in `told`; the clipboard may be closed to a page from disk: then the text is shown, marked for the copy key. */
async function copyText(text, told, shown = null) {
  try {
    await navigator.clipboard.writeText(text);
    told.textContent = ' Copied.';
  } catch {
    const place = shown ?? el('span', {class: 'to-copy'}, text);
    told.replaceChildren(' The text is marked: copy it with Ctrl+C. ', ...(shown ? [] : [place]));
    getSelection().selectAllChildren(place);
  }
}

/** An RFC 4180 cell. */
const csvCell = (text) => (/[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);
