// What WCAG 2.1 asks and a program can check: contrast, names, reflow.
import {after, before, describe, test} from 'node:test';
import assert from 'node:assert/strict';
import {join} from 'node:path';
import {flightOf, launch, makeReport, open, scratch, until} from './browser.mjs';

const folder = scratch();
let browser, report, large;
before(async () => {
  report = makeReport(join(folder, 'small'), 24, 720);
  browser = await launch();
});
after(() => browser?.close());

/** Texts whose contrast is too low; letters over pictures are left out, which stand out from an outline of their own. Relative luminance and ratio as WCAG 2.1 defines them; 4.5:1, large text 3:1 (1.4.3). */
function lowContrast() {
  const parts = (colour) => colour.match(/[\d.]+/g).map(Number);
  const luminance = ([r, g, b]) => [r, g, b].map((c) => c / 255).map((c) => (c <= 0.03928 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4))
      .reduce((sum, c, i) => sum + c * [0.2126, 0.7152, 0.0722][i], 0);
  const ground = (node) => {
    for (let at = node; at; at = at.parentElement) {
      const [r, g, b, a = 1] = parts(getComputedStyle(at).backgroundColor);
      if (a === 1) return [r, g, b];
    }
    return [255, 255, 255];
  };
  const found = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode.parentElement;
    if (!walker.currentNode.textContent.trim() || !node.checkVisibility?.() || node.closest('.viewer svg, svg.drawing, noscript, script, option, .skip, #spoken, :disabled')) continue;
    const style = getComputedStyle(node);
    const colour = node.closest('svg') ? style.fill : style.color;
    const [light, dark] = [luminance(parts(colour)), luminance(ground(node))].sort((a, b) => b - a);
    const ratio = (light + 0.05) / (dark + 0.05);
    const size = parseFloat(style.fontSize);
    const large = size >= 24 || (size >= 18.66 && +style.fontWeight >= 700);
    if (ratio < (large ? 3 : 4.5)) found.push(`${ratio.toFixed(2)}: ${walker.currentNode.textContent.trim().slice(0, 40)}`);
  }
  return [...new Set(found)];
}

/** Things that a screen reader could not name. */
function nameless() {
  const named = (node) => node.getAttribute('aria-label') || node.getAttribute('aria-labelledby') || node.closest('label') || node.textContent.trim() || node.querySelector('img')?.alt;
  return [
    ...[...document.querySelectorAll('img')].filter((image) => !image.hasAttribute('alt')),
    ...[...document.querySelectorAll('button, a, [role=button], dialog')].filter((node) => !named(node)),
    ...[...document.querySelectorAll('input, select')].filter((node) => !node.closest('label') && !node.getAttribute('aria-label')),
    ...[...document.querySelectorAll('svg:not([aria-hidden])')].filter((node) => !node.getAttribute('aria-label')),
  ].map((node) => node.outerHTML.slice(0, 120));
}

for (const [width, colorScheme] of [[1280, 'light'], [390, 'light'], [1280, 'dark']]) {
  describe(`at ${width} px, ${colorScheme} scheme`, () => {
    let page;
    before(async () => { page = await open(browser, report, {width, height: 844, colorScheme}); });
    after(() => page.context().close());

    test('the ground is as light or dark as the reader asked', async () => {
      const ground = await page.evaluate(() => getComputedStyle(document.documentElement).backgroundColor.match(/[\d.]+/g).slice(0, 3).map(Number));
      assert.ok(colorScheme === 'dark' ? Math.max(...ground) < 80 : Math.min(...ground) > 200, `${ground}`);
    });

    test('text stands out from its ground', async () => {
      assert.deepEqual(await page.evaluate(lowContrast), []);
    });

    test('everything has a name', async () => {
      assert.deepEqual(await page.evaluate(nameless), []);
    });

    test('nothing sticks out sideways', async () => {
      assert.ok(await page.evaluate(() => document.scrollingElement.scrollWidth) <= width);
    });

    test('an opened frame keeps to the same', async () => {
      await page.evaluate(() => { document.querySelector('.filter').open = true; });
      await page.fill('#find-file', 'R0005');
      await page.click('.grid .card');
      assert.deepEqual(await page.evaluate(lowContrast), []);
      assert.deepEqual(await page.evaluate(nameless), []);
      assert.ok(await page.evaluate(() => document.querySelector('dialog').scrollWidth) <= width);
    });
  });
}

// As much as a long afternoon brings home, read in the evening: from the first card to the last, with everything open.
for (const width of [1400, 390]) {
  describe(`800 frames at ${width} px in the dark`, () => {
    let page;
    before(async () => {
      large ??= makeReport(join(folder, 'large'), 800, 480);
      page = await open(browser, large, {width, height: 844, colorScheme: 'dark'});
      await page.evaluate(() => { for (const part of document.querySelectorAll('details')) part.open = true; });
    });
    after(() => page.context().close());

    test('every card, plot and table is readable and none sticks out', async () => {
      const height = await page.evaluate(() => document.scrollingElement.scrollHeight);
      for (let part = 0; part <= 10; ++part) {
        await page.evaluate((y) => scrollTo(0, y), height * part / 10);
        await page.waitForTimeout(100);
      }
      assert.equal(await page.$$eval('.grid .card', (cards) => cards.length), 800);
      assert.deepEqual(await page.evaluate(lowContrast), []);
      assert.deepEqual(await page.evaluate(nameless), []);
      assert.ok(await page.evaluate(() => document.scrollingElement.scrollWidth) <= width);
    });

    test('the last frame is found, opened, judged and left by keyboard', async () => {
      const {file, decision} = (await flightOf(page)).frames.findLast(({fault}) => !fault);
      await page.focus('#find-file');
      await page.keyboard.type(file);
      await until(page, () => document.querySelectorAll('.grid .card').length === 1);
      for (let steps = 0; steps < 4 && await page.evaluate(() => !document.activeElement.matches('.card')); ++steps) await page.keyboard.press('Tab');
      await page.keyboard.press('Enter');
      assert.equal(await page.textContent('#frame-view-title'), file);
      await until(page, () => document.querySelector('dialog img').naturalWidth > 100);
      assert.deepEqual(await page.evaluate(lowContrast), []);
      assert.ok(await page.evaluate(() => document.querySelector('dialog').scrollWidth) <= width);
      await page.keyboard.press(decision.verdict === 'drop' ? 'k' : 'd');
      await page.keyboard.press('Escape');
      assert.match(await page.textContent('.choice-status'), /1 verdict changed/);
      assert.deepEqual(page.faults, []);
    });
  });
}

test('paper shows the whole mosaic and none of the tools', async () => {
  const page = await open(browser, report, {width: 1280, height: 844, colorScheme: 'dark'});
  await page.click('#mosaic .zoom-buttons button:has-text("1:1")');
  await page.emulateMedia({media: 'print'});
  const shown = (selector) => page.evaluate((wanted) => [...document.querySelectorAll(wanted)].filter((node) => node.checkVisibility()).length, selector);
  assert.equal(await shown('.mosaic-on-paper'), 1);
  const shape = await page.evaluate(() => { const p = document.querySelector('.mosaic-on-paper'); return [p.width / p.height, p.naturalWidth / p.naturalHeight]; });
  assert.ok(Math.abs(shape[0] / shape[1] - 1) < 0.02, `${shape}`);
  assert.equal(await shown('.viewer, .mosaic-tools, .zoom-buttons, #choice-bar, .filter'), 0);
  assert.deepEqual(await page.evaluate(lowContrast), []);
  await page.context().close();
});
