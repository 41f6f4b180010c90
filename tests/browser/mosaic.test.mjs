// The mosaic in its viewer: to its last pixel, by wheel, finger and key, with its layers, and measured as the command measures.
import {after, before, describe, test} from 'node:test';
import assert from 'node:assert/strict';
import {execFileSync} from 'node:child_process';
import {cpSync, mkdirSync, readFileSync, readdirSync, writeFileSync} from 'node:fs';
import {join} from 'node:path';
import {flightOf, launch, makeReport, open, program, saved, scratch, until} from './browser.mjs';

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
    assert.deepEqual(page.faults.filter((fault) => !options.expected?.test(fault)), []);
  } finally {
    await page.context().close();
  }
};

const size = (page) => page.evaluate(() => parseFloat(document.querySelector('.live-size').textContent));
const middle = (page) => page.evaluate(() => document.querySelector('.live-position').textContent);
/** The viewer's box on the screen, brought into sight. */
async function viewerBox(page) {
  await page.evaluate(() => document.querySelector('#mosaic .viewer').scrollIntoView({block: 'center'}));
  return (await page.$('#mosaic .viewer')).boundingBox();
}
const tilesOfLevel = (page, level) => page.$$eval('#mosaic .tiles img', (tiles, wanted) =>
  tiles.filter((tile) => tile.dataset.tile.startsWith(`${wanted}/`) && tile.complete && tile.naturalWidth === 512).length, level);

describe('the mosaic', () => {
  test('zooms by the wheel to its own pixels', withPage({}, async (page) => {
    const levels = (await flightOf(page)).mosaic.tiles.levels.length;
    const box = await viewerBox(page);
    const before = await size(page);
    await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
    for (let turn = 0; turn < 6; ++turn) { await page.mouse.wheel(0, -240); await page.waitForTimeout(150); }
    await until(page, (was) => parseFloat(document.querySelector('.live-size').textContent) > Math.max(100, was), before);
    for (let tries = 0; tries < 50 && await tilesOfLevel(page, levels - 1) === 0; ++tries) await page.waitForTimeout(100);
    assert.ok(await tilesOfLevel(page, levels - 1) > 0, 'tiles of the mosaic\'s own pixels are shown');
  }));

  test('shows full size where asked, and all of it again', withPage({}, async (page) => {
    await page.click('#mosaic .zoom-buttons button:has-text("1:1")');
    assert.equal(await size(page), 100);
    await page.click('#mosaic .zoom-buttons button:has-text("Whole")');
    assert.ok(await size(page) < 60);
  }));

  test('lets the wheel scroll the page while all of it shows', withPage({height: 500}, async (page) => {
    await page.evaluate(() => document.querySelector('#mosaic .viewer').scrollIntoView());
    const box = await (await page.$('#mosaic .viewer')).boundingBox();
    const before = await page.evaluate(() => scrollY);
    await page.mouse.move(box.x + box.width / 2, box.y + 150);
    await page.mouse.wheel(0, 200);
    await until(page, (was) => scrollY > was + 50, before);
  }));

  test('zooms under two fingers', withPage({width: 390, height: 800, hasTouch: true, isMobile: true}, async (page) => {
    const box = await viewerBox(page);
    const before = await size(page);
    const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
    const client = await page.context().newCDPSession(page);
    const fingers = (apart) => [{x: x - apart, y, id: 1}, {x: x + apart, y, id: 2}];
    await client.send('Input.dispatchTouchEvent', {type: 'touchStart', touchPoints: fingers(20)});
    for (let apart = 30; apart <= 120; apart += 15) await client.send('Input.dispatchTouchEvent', {type: 'touchMove', touchPoints: fingers(apart)});
    await client.send('Input.dispatchTouchEvent', {type: 'touchEnd', touchPoints: []});
    await until(page, (was) => parseFloat(document.querySelector('.live-size').textContent) > 2 * was, before);
  }));

  test('is panned and zoomed by keys', withPage({}, async (page) => {
    await page.focus('#mosaic .viewer');
    const before = await size(page);
    // A key that falls into the movement of the one before is not heard; a busy machine moves slowly.
    for (let presses = 0; presses < 10 && await size(page) <= 1.5 * before; ++presses) {
      await page.keyboard.press('+');
      await page.waitForTimeout(500);
    }
    assert.ok(await size(page) > 1.5 * before);
    const was = await middle(page);
    await page.keyboard.press('ArrowRight');
    await until(page, (text) => document.querySelector('.live-position').textContent !== text, was);
  }));

  test('tells where the pointer is in ground coordinates', withPage({}, async (page) => {
    const box = await viewerBox(page);
    const flight = await flightOf(page);
    await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
    // The made-up ground is 2400 x 1600 pixels of 0.05 m with its lower left corner at (0, 0): its middle is at (60, 40).
    assert.equal(flight.mosaic.width_px, 2400);
    const [, east, north] = (await middle(page)).match(/E ([\d.]+).m, N ([\d.]+).m/);
    assert.ok(Math.abs(east - 60) < 0.3 && Math.abs(north - 40) < 0.3, `${east}, ${north}`);
  }));

  test('keeps the picture that the page carries when it travels alone', async () => {
    const alone = join(folder, 'alone');
    mkdirSync(alone);
    cpSync(report, join(alone, 'report.html'));
    await withPage({file: join(alone, 'report.html'), expected: /ERR_FILE_NOT_FOUND/}, async (page) => {
      await until(page, () => document.querySelector('#mosaic .whole-picture').naturalWidth > 1000);
      await until(page, () => document.querySelector('.tiles-missing').checkVisibility());
    })();
  });

  test('draws every layer that it offers', withPage({}, async (page) => {
    const keys = await page.$$eval('#mosaic [data-layer]', (boxes) => boxes.map((box) => box.dataset.layer));
    for (const wanted of ['coverage', 'sources', 'water', 'clearest', 'footprints', 'walk', 'misfits', 'points'])
      assert.ok(keys.includes(wanted), wanted);
    for (const key of keys) {
      const drawn = () => page.$$eval('#mosaic .viewer path, #mosaic .viewer .overlay, #mosaic .viewer .picture-mark', (parts) => parts.length);
      const box = page.locator(`#mosaic [data-layer=${key}]`);
      if (await box.isChecked()) await box.click();
      const before = await drawn();
      await box.click();
      await until(page, (was) => document.querySelectorAll('#mosaic .viewer path, #mosaic .viewer .overlay, #mosaic .viewer .picture-mark').length > was, before);
      await box.click();
    }
  }));

  test('footprints are off at first, name their frame under the pointer and open it', withPage({}, async (page) => {
    assert.equal(await page.isChecked('[data-layer=footprints]'), false);
    assert.equal(await page.$('.footprint'), null);
    await page.click('[data-layer=footprints]');
    await viewerBox(page);
    await page.hover('.footprint >> nth=-1', {force: true});
    assert.match(await page.textContent('.pointer-name'), /\.jpg: (keep|unsure|drop)/);
  }));

  test('tells which frames see a spot', withPage({}, async (page) => {
    const box = await viewerBox(page);
    await page.mouse.click(box.x + box.width / 2, box.y + box.height / 2);
    await until(page, () => /frames? sees? this ground/.test(document.querySelector('.spot').textContent));
    const flight = await flightOf(page);
    const named = await page.$$eval('.spot button', (buttons) => buttons.map((button) => button.textContent));
    // A frame whose camera hung within a quarter of its height of the spot must be among them.
    const near = flight.frames.filter(({placement}) => placement.placed && Math.hypot(placement.below[0] - 1200, placement.below[1] - 800) * 0.05 < placement.height_m / 4);
    assert.ok(near.length > 0);
    for (const {file} of near) assert.ok(named.includes(file), file);
  }));
});

describe('measuring', () => {
  /** Sets corners at these shares of the viewer. */
  const draw = async (page, kind, shares) => {
    const box = await viewerBox(page);
    await page.click(`[data-measure=${kind}]`);
    for (const [x, y] of shares) await page.mouse.click(box.x + x * box.width, box.y + y * box.height);
    await page.click('button:has-text("Done")');
  };

  test('gives the same lengths, areas and uncertainties as the command', withPage({}, async (page) => {
    await draw(page, 'length', [[0.3, 0.3], [0.6, 0.42], [0.62, 0.7]]);
    await draw(page, 'area', [[0.3, 0.3], [0.6, 0.25], [0.66, 0.7], [0.34, 0.66]]);
    const {name, text} = await saved(page, '#save-shapes');
    assert.equal(name, 'shapes.geojson');
    const shapes = join(folder, 'shapes.geojson');
    writeFileSync(shapes, text);
    const flight = await flightOf(page);
    const out = join(folder, 'small');
    // What the page was told of the accuracy, as the run's own placement.json has it.
    writeFileSync(join(out, 'placement.json'), JSON.stringify({crs: null, scale_sigma_share: 0.002, accuracy: {check_rmse_r_m: 0.078, control_rmse_m: 0.03, tie_point_rmse_px: 0.62}, frames: []}));
    const told = JSON.parse(execFileSync(program(), ['measure', out, '--shapes-file', shapes, '--json'], {encoding: 'utf8'}));
    const measured = told.shapes ?? told.measured ?? told;
    const features = JSON.parse(text).features;
    assert.equal(measured.length, 2);
    const near = (mine, theirs, what) => assert.ok(Math.abs(mine - theirs) <= 1e-6 * Math.abs(theirs), `${what}: ${mine} and ${theirs}`);
    features.forEach(({properties}, i) => {
      near(properties.length, measured[i].length.value, 'length');
      near(properties.length_sigma, measured[i].length.sigma, 'its uncertainty');
    });
    near(features[1].properties.area, measured[1].area.value, 'area');
    near(features[1].properties.area_sigma, measured[1].area.sigma, 'its uncertainty');
    assert.ok(flight.mosaic.ground.point_sigma > 0);
  }));

  test('sets no corner beyond the mosaic, where the command refuses to measure', withPage({}, async (page) => {
    await draw(page, 'length', [[0.3, 0.3], [0.01, 0.5], [0.6, 0.3]]);
    const {text} = await saved(page, '#save-shapes');
    const [{geometry}] = JSON.parse(text).features;
    assert.equal(geometry.coordinates.length, 2);
    // The made-up ground spans 120 x 80 m from (0, 0).
    for (const [x, y] of geometry.coordinates) assert.ok(x >= 0 && x <= 120 && y >= 0 && y <= 80, `${x}, ${y}`);
  }));

  test('says that an outline that crosses itself has no area', withPage({}, async (page) => {
    await draw(page, 'area', [[0.3, 0.3], [0.6, 0.6], [0.6, 0.3], [0.3, 0.6]]);
    assert.match(await page.textContent('.measured'), /crosses itself/);
  }));

  test('is done by keyboard alone', withPage({}, async (page) => {
    await page.focus('[data-measure=length]');
    await page.keyboard.press('Enter');
    await page.keyboard.press('+');
    await page.waitForTimeout(500);
    await page.keyboard.press('Enter');
    await page.keyboard.press('ArrowRight');
    await page.waitForTimeout(500);
    await page.keyboard.press('Enter');
    await page.keyboard.press('Enter');  // the same place twice ends it, as a double click does
    assert.match((await page.textContent('.measured')).replaceAll('\u00a0', ' '), /line 1 [\d.]+ ± [\d.]+ m/);
  }));
});

describe('marking', () => {
  test('two ends of a bar by clicking, without a control file, leads to a command with files and length', withPage({}, async (page) => {
    await page.fill('#find-file', 'R0005');
    await page.click('.grid .card');
    await page.click('#mark-points');
    const box = await (await page.$('.marking-panel .viewer')).boundingBox();
    for (const [name, x] of [['left', 0.3], ['right', 0.7]]) {
      await page.fill('.marking-panel input', name);
      await page.mouse.click(box.x + x * box.width, box.y + 0.5 * box.height);
    }
    assert.equal(await page.$$eval('.marks-here li', (items) => items.length), 2);
    await page.click('button:has-text("Done marking")');
    await page.keyboard.press('Escape');
    await page.fill('[data-bar=from]', 'left');
    await page.fill('[data-bar=to]', 'right');
    await page.fill('[data-bar=length]', '12,5');
    await page.keyboard.press('Tab');
    const {text} = await saved(page, '#save-marks');
    const rows = text.trim().split('\r\n').map((line) => line.split(','));
    const [left, right] = ['left', 'right'].map((name) => rows.find((row) => row[1] === name));
    assert.equal(left[0], 'R0005.jpg');
    // The picture keeps its shape in the viewer, so that the marks lie on one row, 0.4 of the viewer's width apart.
    assert.ok(Math.abs(left[3] - right[3]) < 1.5, `${left[3]}, ${right[3]}`);
    assert.ok(Math.abs((+left[2] + +right[2]) / 2 - 719 / 2) < 3, 'even about the middle');
    const command = await page.textContent('#marks .command code');
    assert.match(command, /--marks-file marks\.csv/);
    assert.match(command, /--scale-bar left,right,12\.5/);
  }));

  test('coordinates make a control.csv and are named in the command', withPage({}, async (page) => {
    await page.fill('[aria-label="x of T2 in metres"]', '104.25');
    await page.keyboard.press('Tab');
    const {name, text} = await saved(page, '#save-control');
    assert.equal(name, 'control.csv');
    assert.match(text, /^name,x,y,z\r\n/);
    assert.match(text, /T2,104\.25,16,0\r\n/);
    assert.match(await page.textContent('#marks .command code'), /--control-file control\.csv/);
  }));
});

describe('a page in the field', () => {
  let field;
  before(() => { field = makeReport(join(folder, 'field'), 24, 480, 'field'); });

  test('says what serves without a mosaic, map or control', async () => withPage({file: field}, async (page) => {
    assert.equal(await page.isVisible('#mosaic'), false);
    assert.equal(await page.isVisible('#fit'), false);
    const flight = await flightOf(page);
    const kept = flight.frames.filter(({decision, fault}) => !fault && decision.verdict === 'keep').length;
    assert.match(await page.textContent('.headline'), new RegExp(`^${kept} of 24 frames serve`));
    assert.equal((await page.$$('.grid .card')).length, 24);
  })());
});

describe('tiles', () => {
  test('cover the mosaic at every level and go when it goes', () => {
    const tiles = join(folder, 'small', 'mosaic_tiles');
    // 2400 x 1600 px in tiles of 512: 5 x 4 at full size, 3 x 2 at half (1200 x 800), 2 x 1 at a quarter (600 x 400), 1 x 1 (300 x 200).
    assert.deepEqual(['3', '2', '1', '0'].map((level) => readdirSync(join(tiles, level)).length), [20, 6, 2, 1]);
    assert.equal(readFileSync(join(tiles, '3', '0_0.jpg')).subarray(0, 2).toString('hex'), 'ffd8');
  });
});
