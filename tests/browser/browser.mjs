// Chromium for the tests, and what every page must not do: fail, ask the network, open a dialog.
import {createRequire} from 'node:module';
import {execFileSync} from 'node:child_process';
import {mkdtempSync, rmSync} from 'node:fs';
import {tmpdir} from 'node:os';
import {join} from 'node:path';
import assert from 'node:assert/strict';

const required = (name) => {
  assert.ok(process.env[name], `the environment must name ${name}; run this through ctest`);
  return process.env[name];
};
const require = createRequire(join(required('LOOKDOWN_NODE_MODULES'), 'anything.js'));
const {chromium} = require('playwright-core');

export const program = () => required('LOOKDOWN_PROGRAM');

/** A scratch folder that goes when the tests end. */
export function scratch() {
  const folder = mkdtempSync(join(tmpdir(), 'report_page_'));
  process.on('exit', () => rmSync(folder, {recursive: true, force: true}));
  return folder;
}

/** Writes the report of a made-up flight and returns its path. */
export function makeReport(folder, count, longSide, ...more) {
  return execFileSync(required('LOOKDOWN_MAKE_FLIGHT'), [folder, String(count), String(longSide), ...more], {encoding: 'utf8'}).trim();
}

export const launch = () => chromium.launch({
  executablePath: process.env.LOOKDOWN_CHROMIUM || '/usr/bin/chromium',
  args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking',
         '--disable-component-update', '--disable-sync'],
});

/** Opens a page from disk; `page.faults` collects everything that must not happen. */
export async function open(browser, file, {width = 1280, height = 800, before, ...options} = {}) {
  const context = await browser.newContext({viewport: {width, height}, acceptDownloads: true, ...options});
  const page = await context.newPage();
  page.faults = [];
  page.on('console', (message) => { if (message.type() === 'error') page.faults.push(`console: ${message.text()}`); });
  page.on('pageerror', (error) => page.faults.push(`error: ${error.message}`));
  page.on('dialog', (dialog) => { page.faults.push(`dialog: ${dialog.message()}`); dialog.dismiss(); });
  page.on('request', (request) => {
    if (!/^(file|data|blob):/.test(request.url())) page.faults.push(`request: ${request.url()}`);
  });
  if (before) await page.addInitScript(before);
  await page.goto(`file://${file}`);
  if (options.javaScriptEnabled !== false) await page.waitForSelector('html.drawn');
  return page;
}

export const flightOf = (page) => page.evaluate(() => JSON.parse(document.getElementById('flight-json').textContent));

/** Clicks what saves a file and returns the file's text. */
export async function saved(page, selector) {
  const [download] = await Promise.all([page.waitForEvent('download'), page.click(selector)]);
  const chunks = [];
  for await (const chunk of await download.createReadStream()) chunks.push(chunk);
  return {name: download.suggestedFilename(), text: Buffer.concat(chunks).toString('utf8')};
}

/** Waits until `condition`, run in the page, holds. (The page's content policy forbids the driver's own way of waiting.) */
export async function until(page, condition, argument) {
  for (let tries = 0; tries < 300; ++tries) {
    if (await page.evaluate(condition, argument)) return;
    await page.waitForTimeout(100);
  }
  assert.fail(`never came true: ${condition}`);
}
