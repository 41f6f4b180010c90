// The report in a real browser, as a person uses it: by keyboard first.
import {after, before, describe, test} from 'node:test';
import assert from 'node:assert/strict';
import {execFileSync} from 'node:child_process';
import {mkdirSync, readFileSync, readdirSync, copyFileSync, statSync, writeFileSync} from 'node:fs';
import {join} from 'node:path';
import {flightOf, launch, makeReport, open, program, saved, scratch, until} from './browser.mjs';

const HOSTILE = '"><img src=x onerror=alert(1)>.jpg';
const folder = scratch();
let browser, report;

before(async () => {
  report = makeReport(join(folder, 'small'), 40, 720);
  browser = await launch();
});
after(() => browser?.close());

const withPage = (options, use) => async () => {
  const page = await open(browser, options.file ?? report, options);
  try {
    await use(page);
    assert.deepEqual(page.faults, []);
  } finally {
    await page.context().close();
  }
};

const shownFiles = (page) => page.$$eval('.grid .card', (cards) => cards.map((card) => card.dataset.file));
const focusedFile = (page) => page.evaluate(() => document.activeElement.dataset?.file ?? null);
/** A dialog tells that it was closed in a task of its own, so the focus goes to the card a moment after the key. */
const focusComesTo = (page, file) => until(page, (name) => document.activeElement.dataset?.file === name, file);
const verdictOnCard = (page, file) => page.$$eval('.grid .card', (cards, name) =>
  cards.find((card) => card.dataset.file === name).getAttribute('aria-label').match(/: (keep|unsure|drop),/)[1], file);

async function focusFirstCard(page) {
  await page.focus('#find-file');
  await page.keyboard.press('Tab');  // the box "changed by me only"
  await page.keyboard.press('Tab');
}

describe('the page', () => {
  test('opens without an error and shows every frame', withPage({}, async (page) => {
    assert.equal((await shownFiles(page)).length, 40);
  }));

  test('shows a hostile file name as text', withPage({}, async (page) => {
    await page.fill('#find-file', 'onerror');
    assert.deepEqual(await shownFiles(page), [HOSTILE]);
    await page.click('.grid .card');
    assert.equal(await page.textContent('#frame-view-title'), HOSTILE);
    assert.equal(await page.$('img[src="x"]'), null);
    await page.waitForTimeout(200);
  }));

  test('counts on the page agree with the flight', withPage({}, async (page) => {
    const flight = await flightOf(page);
    for (const verdict of ['keep', 'unsure', 'drop']) {
      const expected = flight.frames.filter((frame) => (frame.fault ? 'drop' : frame.decision.verdict) === verdict).length;
      assert.match(await page.textContent('.tally-words'), new RegExp(`${expected} ${verdict}`));
      await page.selectOption('select >> nth=1', verdict);
      assert.equal((await shownFiles(page)).length, expected);
    }
  }));

  test('worst first puts drops before unsure before keeps', withPage({}, async (page) => {
    const order = await page.$$eval('.grid .card', (cards) => cards.map((card) => card.className.match(/keep|unsure|drop/)[0]));
    const rank = {drop: 0, unsure: 1, keep: 2};
    assert.deepEqual(order, [...order].sort((a, b) => rank[a] - rank[b]));
  }));

  test('draws cards only as they come near', withPage({}, async (page) => {
    const drawn = await page.$$eval('.grid .card img', (images) => images.length);
    assert.ok(drawn < 40, `${drawn} of 40 drawn at once`);
    await page.evaluate(() => document.querySelector('.grid li:last-child').scrollIntoView());
    await until(page, () => document.querySelector('.grid li:last-child img'));
  }));

  test('names and judges frames that are not drawn yet', withPage({}, async (page) => {
    const undrawn = await page.$$eval('.grid .card', (cards) => cards.filter((card) => !card.querySelector('.card-picture'))
        .map((card) => [card.dataset.file, card.getAttribute('aria-label')]));
    assert.ok(undrawn.length > 0, 'all cards are drawn: nothing is tested');
    for (const [file, label] of undrawn) {
      assert.ok(label?.startsWith(`${file}: `), `${file} is named ${label}`);
      assert.match(label.slice(file.length), /^: (keep|unsure|drop), /);
    }
  }));

  test('says what it is without scripts', withPage({javaScriptEnabled: false}, async (page) => {
    assert.match(await page.textContent('noscript'), /frames\.csv/);
  }));

  test('prints every frame, without controls', withPage({}, async (page) => {
    await page.emulateMedia({media: 'print'});
    assert.equal(await page.isVisible('#choice-bar'), false);
    assert.equal(await page.isVisible('.controls'), false);
    // Nobody scrolls on paper: every frame that can be read must have been drawn.
    const readable = (await flightOf(page)).frames.filter((frame) => !frame.fault).length;
    assert.equal(await page.$$eval('.grid .card img', (images) => images.length), readable);
    assert.ok((await page.pdf({format: 'A4'})).length > 10000);
  }));
});

describe('by keyboard alone', () => {
  test('frames are walked, opened, judged and left', withPage({}, async (page) => {
    await focusFirstCard(page);
    const files = await shownFiles(page);
    assert.equal(await focusedFile(page), files[0]);
    await page.keyboard.press('ArrowRight');
    assert.equal(await focusedFile(page), files[1]);
    await page.keyboard.press('ArrowDown');
    await page.keyboard.press('ArrowUp');
    assert.equal(await focusedFile(page), files[1]);
    await page.keyboard.press('Enter');
    assert.equal(await page.textContent('#frame-view-title'), files[1]);
    await page.keyboard.press('k');
    assert.equal(await page.getAttribute('dialog .choose.keep', 'aria-pressed'), 'true');
    await page.keyboard.press('ArrowRight');
    assert.equal(await page.textContent('#frame-view-title'), files[2]);
    await page.keyboard.press('Escape');
    assert.equal(await page.isVisible('dialog'), false);
    await focusComesTo(page, files[2]);
    assert.equal(await verdictOnCard(page, files[1]), 'keep');
  }));

  test('a plot is walked from point to point and opens the frame', withPage({}, async (page) => {
    // Plots are drawn as they come near.
    await page.evaluate(() => document.querySelector('.plot-holder').scrollIntoView());
    const plot = page.locator('#glance .chart').first();
    await plot.focus();
    const first = (await page.textContent('#spoken')).split(':')[0];
    await page.keyboard.press('ArrowRight');
    const second = (await page.textContent('#spoken')).split(':')[0];
    assert.notEqual(first, second);
    await page.keyboard.press('Enter');
    assert.equal(await page.textContent('#frame-view-title'), second);
  }));

  test('a change is undone and done again', withPage({}, async (page) => {
    await focusFirstCard(page);
    const [file] = await shownFiles(page);
    await page.keyboard.press('u');
    assert.equal(await verdictOnCard(page, file), 'unsure');
    await page.keyboard.press('z');
    assert.equal(await verdictOnCard(page, file), 'drop');
    await page.keyboard.press('y');
    assert.equal(await verdictOnCard(page, file), 'unsure');
  }));

  test('letters typed into the search do not judge frames', withPage({}, async (page) => {
    await page.focus('#find-file');
    await page.keyboard.type('kud');
    assert.match(await page.textContent('.choice-status'), /No verdict changed/);
  }));
});

describe('choices', () => {
  const changes = {'R0001.jpg': 'drop', 'R0004.jpg': 'keep', [HOSTILE]: 'unsure'};
  const change = async (page) => {
    for (const [file, verdict] of Object.entries(changes)) {
      await page.fill('#find-file', file);
      await page.click('.grid .card');
      await page.click(`dialog .choose.${verdict}`);
      await page.keyboard.press('Escape');
    }
  };

  test('survive a reload and are saved as a table that RFC 4180 readers take', withPage({}, async (page) => {
    await change(page);
    await page.reload();
    assert.match(await page.textContent('.choice-status'), /3 verdicts changed/);
    const {name, text} = await saved(page, '#save-choices');
    assert.equal(name, 'choices.csv');
    // A quote inside a quoted field is doubled (RFC 4180, rule 7).
    assert.deepEqual(text.split('\r\n'), ['file,verdict', 'R0001.jpg,drop', 'R0004.jpg,keep', `"""><img src=x onerror=alert(1)>.jpg",unsure`, '']);
  }));

  test('work, and say that they will be forgotten, where storage is refused', withPage({
    before: () => Object.defineProperty(window, 'localStorage', {get() { throw new DOMException('refused', 'SecurityError'); }}),
  }, async (page) => {
    await change(page);
    assert.match(await page.textContent('.choice-status'), /3 verdicts changed .*forget/);
  }));

  test('are obeyed by the next run', async () => {
    const card = join(folder, 'card');
    mkdirSync(card);
    const source = join(folder, 'small', 'frames');
    for (const file of readdirSync(source).filter((name) => /^R00(09|1[0-2])/.test(name))) copyFileSync(join(source, file), join(card, file));
    const out = join(folder, 'out');
    execFileSync(program(), ['run', card, '-o', out, '--quiet']);
    const page = await open(browser, join(out, 'report.html'));
    const flight = await flightOf(page);
    const wanted = Object.fromEntries(flight.frames.map(({file, decision}) => [file, decision.verdict === 'drop' ? 'keep' : 'drop']));
    await focusFirstCard(page);
    for (let i = 0; i < flight.frames.length; ++i) {
      await page.keyboard.press(wanted[await focusedFile(page)][0]);
      await page.keyboard.press('ArrowRight');
    }
    const {text} = await saved(page, '#save-choices');
    assert.deepEqual(page.faults, []);
    await page.context().close();
    writeFileSync(join(folder, 'choices.csv'), text);
    execFileSync(program(), ['run', card, '-o', out, '--quiet', '--choices-file', join(folder, 'choices.csv')]);
    const [head, ...rows] = readFileSync(join(out, 'frames.csv'), 'utf8').trim().split(/\r?\n/).map((line) => line.split(','));
    const verdicts = Object.fromEntries(rows.map((row) => [row[head.indexOf('file')], row[head.indexOf('verdict')]]));
    assert.deepEqual(verdicts, wanted);
  });
});

describe('a frame opened large', () => {
  const openFile = async (page, file) => {
    await page.fill('#find-file', file);
    await page.click('.grid .card');
  };

  test('has the horizon drawn where the record says', withPage({}, async (page) => {
    await openFile(page, 'R0003.jpg');
    const flight = await flightOf(page);
    const frame = flight.frames.find(({file}) => file === 'R0003.jpg');
    const [x, y] = frame.horizon.line[0];
    assert.ok((await page.getAttribute('.layer.horizon .over', 'd')).startsWith(`M${(x * frame.width_px).toFixed(1)} ${(y * frame.height_px).toFixed(1)}`));
  }));

  test('gives the deciding number and its limit', withPage({}, async (page) => {
    await openFile(page, 'R0007.jpg');
    assert.match((await page.textContent('.reason-list .decides')).replaceAll('\u00a0', ' '), /smeared: 12 px, limit 3 px/);
  }));

  test('shows and hides what is drawn', withPage({}, async (page) => {
    await openFile(page, 'R0005.jpg');
    assert.ok(await page.$('.layer.glare'));
    await page.click('dialog label:has-text("glare")');
    assert.equal(await page.$('.layer.glare'), null);
    await page.click('dialog label:has-text("neighbours")');
    assert.ok(await page.$('.layer.neighbours'));
  }));
});

describe('marks of control points', () => {
  const markOf = async (page) => {
    const flight = await flightOf(page);
    const mark = flight.marks.find(({frame, marked}) => flight.frames[frame].orientation === 6 && marked);
    return {flight, mark, file: flight.frames[mark.frame].file};
  };
  const rowOf = (text, file, name) => text.split('\r\n').map((line) => line.split(',')).find((row) => row[0] === file && row[1] === name);

  test('move by keys in the frame as displayed and are saved in the frame as stored', withPage({}, async (page) => {
    const {mark, file} = await markOf(page);
    await page.evaluate(() => { for (const part of document.querySelectorAll('#marks details')) part.open = true; });
    await page.focus(`[aria-label^="Mark ${mark.name} in ${file}"]`);
    await page.keyboard.press('ArrowRight');
    const {name, text} = await saved(page, '#save-marks');
    assert.equal(name, 'marks.csv');
    const row = rowOf(text, file, mark.name);
    // Exif orientation 6 shows row 0 on the right (CIPA DC-008): one to the right on display is one row up as stored.
    const [x, y] = mark.marked;
    assert.ok(Math.abs(+row[2] - x) < 0.02, `${row[2]} is near ${x}`);
    assert.ok(Math.abs(+row[3] - (y - 1)) < 0.02, `${row[3]} is near ${y - 1}`);
  }));

  test('worst fit stands first', withPage({}, async (page) => {
    assert.match(await page.textContent('#marks .mark-words'), /1[12]\.\d\s?px from where it is expected/);
  }));
});

describe('a flight of 800 frames', () => {
  let large;
  before(() => { large = makeReport(join(folder, 'large'), 800, 480); });

  test('stays below 40 MB, opens, filters and opens a frame', async () => {
    assert.ok(statSync(large).size < 40e6);
    await withPage({file: large}, async (page) => {
      assert.equal((await shownFiles(page)).length, 800);
      assert.ok(await page.$$eval('.grid .card img', (images) => images.length) < 200);
      await page.fill('#find-file', 'R0777');
      assert.deepEqual(await shownFiles(page), ['R0777.jpg']);
      await page.click('.grid .card');
      await until(page, () => document.querySelector('dialog img').naturalWidth > 100);
    })();
  });
});
