// Two days of one place on one page: the slider cuts where it stands, each day alone, both in turns slowly enough, the difference.
import {after, before, describe, test} from 'node:test';
import assert from 'node:assert/strict';
import {execFileSync} from 'node:child_process';
import {join} from 'node:path';
import {launch, makeReport, open, program, scratch, until} from './browser.mjs';

const folder = scratch();
let browser, page;
before(async () => {
  makeReport(join(folder, 'spring'), 12, 480);
  makeReport(join(folder, 'autumn'), 12, 480);
  execFileSync(program(), ['align', join(folder, 'spring'), join(folder, 'autumn'), '-o', join(folder, 'pair')], {stdio: 'ignore'});
  browser = await launch();
  page = await open(browser, join(folder, 'pair', 'before_after.html'));
});
after(() => browser?.close());

const choose = (mode) => page.click(`.pair-tools button[data-mode=${mode}]`);
/** Share of the later picture's width that is cut away from the left, 0..1. */
const cut = () => page.evaluate(() => parseFloat(document.querySelector('.after-picture').style.clipPath.match(/([\d.]+)%/)[1]) / 100);
const shownDays = () => page.evaluate(() => [...document.querySelectorAll('.day')].filter((label) => !label.hidden).map((label) => label.textContent));

describe('before and after', () => {
  test('the slider cuts the later day where it stands', async () => {
    await page.focus('.pair-tools input');
    await page.keyboard.press('Home');
    assert.ok(await cut() < 0.01);
    await page.keyboard.press('End');
    assert.ok(await cut() > 0.99);
    await page.$eval('.pair-tools input', (slider) => { slider.value = 50; slider.dispatchEvent(new Event('input')); });
    assert.ok(Math.abs(await cut() - 0.5) < 0.02, 'in the middle of a picture that is centred in its window');
    assert.deepEqual(await shownDays(), ['spring', 'autumn']);
  });

  test('shows each day alone', async () => {
    await choose('before');
    assert.deepEqual(await shownDays(), ['spring']);
    await choose('after');
    assert.deepEqual(await shownDays(), ['autumn']);
  });

  test('takes turns, at most three times a second (WCAG 2.1, 2.3.1)', async () => {
    await choose('turns');
    const changes = await page.evaluate(() => new Promise((done) => {
      const label = document.querySelector('.day.after');
      let count = 0, was = label.hidden;
      const watch = setInterval(() => { count += label.hidden !== was; was = label.hidden; }, 20);
      setTimeout(() => { clearInterval(watch); done(count); }, 4000);
    }));
    assert.ok(changes >= 2 && changes <= 12, `${changes} changes in four seconds`);
    await choose('slider');
  });

  test('shows the difference with its key', async () => {
    await choose('difference');
    await until(page, () => document.querySelector('.difference-picture')?.checkVisibility());
    assert.ok(await page.evaluate(() => /lighter/.test(document.querySelector('.mosaic-figure .hint').textContent)));
    assert.deepEqual(await shownDays(), []);
  });

  test('asks nothing of the network and fails nowhere', () => { assert.deepEqual(page.faults, []); });
});
