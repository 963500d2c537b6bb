// The page in a real browser: Debian's Chromium, driven as a person drives it.
// Run by TestPageInABrowser, which says where the program is.
import assert from 'node:assert/strict';
import {execFileSync, spawn} from 'node:child_process';
import {cpSync, existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync} from 'node:fs';
import {tmpdir} from 'node:os';
import {join} from 'node:path';
import {after, before, test} from 'node:test';
import {chromium} from 'playwright-core';

const program = process.env.BITTERN_PROGRAM;
const shots = process.env.BITTERN_SHOTS; // where pictures of every view are kept, to be looked at
const axe = readFileSync(new URL('../node_modules/axe-core/axe.min.js', import.meta.url), 'utf8');
const patience = 180_000; // a machine under load is slow, not wrong

let work, browser, sample;
const served = [];

before(async () => {
  work = mkdtempSync(join(tmpdir(), 'bittern-page-'));
  sample = join(work, 'sample');
  execFileSync(program, ['demo', '--out', sample, '--acres', '6'], {stdio: 'ignore'});
  browser = await chromium.launch({executablePath: '/usr/bin/chromium', args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run',
    '--disable-background-networking', '--disable-component-update', '--disable-sync']});
});

after(async () => {
  await browser?.close();
  for (const s of served) s.kill();
  rmSync(work, {recursive: true, force: true});
});

/** Starts the page on a folder and waits for its address. */
async function serve(folder, port = 0) {
  const child = spawn(program, ['serve', folder, '--no-open', '--port', String(port)], {stdio: ['ignore', 'pipe', 'inherit']});
  served.push(child);
  const address = await new Promise((resolve, reject) => {
    let text = '';
    child.stdout.on('data', d => {
      text += d;
      const line = text.split('\n').find(l => /^http:\/\/127\.0\.0\.1:\d+\/\w+\/$/.test(l));
      if (line) resolve(line);
    });
    child.on('exit', code => reject(new Error(`the program ended with ${code}: ${text}`)));
  });
  return {child, address};
}

/** A folder of days of its own. */
function folder(name) {
  return join(mkdtempSync(join(work, `${name}-`)), 'days');
}

/** A finished day in a folder of its own. */
function finished(name) {
  const at = folder(name);
  mkdirSync(at, {recursive: true});
  cpSync(sample, join(at, 'slough'), {recursive: true});
  return at;
}

/** Opens a browser's page and notes whatever it asks of the network. */
async function open(address, options = {}) {
  const context = await browser.newContext({viewport: {width: 1280, height: 800}, ...options});
  const page = await context.newPage();
  page.setDefaultTimeout(patience);
  const asked = [], wrong = [];
  page.on('request', r => asked.push(r.url()));
  page.on('pageerror', e => wrong.push(e.message));
  page.on('console', m => {
    if (m.type() === 'error' && !/status of 422|ERR_CONNECTION_REFUSED/.test(m.text())) wrong.push(m.text());
  });
  const base = address.split('#')[0];
  page.check = () => {
    const outside = asked.filter(u => !u.startsWith(base) && !/^(data|blob):/.test(u));
    assert.deepEqual(outside, [], 'the page asked something outside');
    assert.deepEqual(wrong, []);
  };
  await page.goto(address);
  return page;
}

/** WCAG 2.2 AA and text contrast 7:1 (axe's own AAA rule), and targets of 44 px. */
async function accessible(page, view) {
  await page.waitForTimeout(300);
  if (shots) await page.screenshot({path: join(shots, `${view}.png`)});
  const left = await page.evaluate(async source => {
    if (!window.axe) (0, eval)(source);
    const found = await window.axe.run(document, {
      runOnly: {type: 'tag', values: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']},
      rules: {'color-contrast-enhanced': {enabled: true}},
    });
    return found.violations.map(v => `${v.id}: ${v.nodes.map(n => n.html).join(' | ').slice(0, 300)}`);
  }, axe);
  assert.deepEqual(left, [], view);
  const small = await page.evaluate(() => [...document.querySelectorAll('button, input, select, summary, li > a, nav a')]
    .filter(e => e.checkVisibility() && !e.closest('.skip-to'))
    .map(e => [e.textContent || e.id, e.getBoundingClientRect()])
    .filter(([, r]) => r.height > 0 && r.height < 43.5).map(([name, r]) => `${name} ${r.height}`));
  assert.deepEqual(small, [], `${view}: targets under 44 px`);
}

/** Presses Tab until the element is in hand. */
async function tabTo(page, selector) {
  for (let i = 0; i < 200; i++) {
    if (await page.evaluate(s => document.activeElement?.matches(s), selector)) return;
    await page.keyboard.press('Tab');
  }
  assert.fail(`the keyboard does not reach ${selector}`);
}

const letter = page => page.waitForSelector('section .answer', {state: 'visible'}).then(() => page.waitForSelector('#part-suspects'));

test('from an empty folder to the field sheet by keyboard alone', async () => {
  const {address} = await serve(folder('keyboard'));
  const page = await open(address);
  await page.waitForSelector('#new-day');
  await accessible(page, 'desktop-empty');
  await tabTo(page, '#new-day');
  await page.keyboard.press('Enter');
  await page.waitForSelector('#path-picture');
  await accessible(page, 'desktop-asking');
  for (const [role, name] of [['picture', 'flight.tif'], ['boundary', 'boundary.geojson']]) {
    await tabTo(page, `#path-${role}`);
    await page.keyboard.type(join(sample, 'given', name));
    await page.keyboard.press('Enter');
    await page.waitForSelector(`#path-${role}`, {state: 'detached'});
  }
  await tabTo(page, '#go');
  await page.keyboard.press('Enter');
  await page.waitForSelector('#stop, #part-suspects');
  await letter(page);
  await accessible(page, 'desktop-letter');
  await tabTo(page, 'a[href$="field-sheet.pdf"]');
  const [sheet] = await Promise.all([page.context().waitForEvent('page'), page.keyboard.press('Enter')]);
  const href = await page.getAttribute('a[href$="field-sheet.pdf"]', 'href');
  const got = await page.request.get(new URL(href, address).href);
  assert.equal(got.status(), 200);
  assert.equal(got.headers()['content-type'], 'application/pdf');
  assert.equal((await got.body()).subarray(0, 5).toString(), '%PDF-');
  await sheet.close();
  page.check();
});

test('on a phone by touch: a picture dropped, its boundary drawn, the letter read', async () => {
  const {address} = await serve(folder('touch'));
  const page = await open(address, {viewport: {width: 390, height: 844}, deviceScaleFactor: 2, hasTouch: true, isMobile: true});
  await page.tap('#new-day');
  await page.setInputFiles('#file-picture', join(sample, 'given', 'flight.tif'));
  await page.waitForSelector('#draw-boundary');
  await accessible(page, 'phone-asking');
  await page.tap('#draw-boundary');
  await page.waitForSelector('.drawbar');
  await page.waitForTimeout(1000);
  const box = await page.locator('#picture .ground').boundingBox();
  const bar = await page.locator('.drawbar').boundingBox();
  const tall = bar.y - box.y;
  const corner = (x, y) => page.touchscreen.tap(box.x + box.width * x, box.y + 60 + (tall - 60) * y);
  // A figure of eight first: refused in plain words, and taken back.
  for (const [x, y] of [[0.2, 0.3], [0.8, 0.7], [0.8, 0.3], [0.2, 0.7]]) await corner(x, y);
  await accessible(page, 'phone-drawing');
  await page.tap('#drawn');
  await page.waitForSelector('.drawbar .refused');
  for (let i = 0; i < 4; i++) await page.tap('#undo');
  for (const [x, y] of [[0.2, 0.3], [0.8, 0.3], [0.8, 0.7], [0.2, 0.7]]) await corner(x, y);
  assert.match(await page.textContent('.drawbar .answer'), /4 corners, [\d.]+ acre/);
  await page.tap('#drawn');
  await page.waitForSelector('#go:not([disabled])');
  await page.tap('#go');
  await letter(page);
  await accessible(page, 'phone-letter');
  const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
  assert.ok(wide <= 0, `the page is ${wide} px wider than the phone`);
  page.check();
});

test('the invented field, with a reload and a second tab in the middle of it', async () => {
  const {address} = await serve(folder('invented'));
  const page = await open(address);
  await page.route('**/invent', r => r.continue({postData: JSON.stringify({acres: 6})})); // a small one: seconds, not minutes
  await page.click('#invent');
  await page.waitForSelector('#stop');
  await accessible(page, 'desktop-working');
  await page.reload();
  const other = await page.context().newPage();
  other.setDefaultTimeout(patience);
  await other.goto(page.url());
  await Promise.all([letter(page), letter(other)]);
  assert.equal(await page.textContent('.answer'), await other.textContent('.answer'));
  // The picture follows what is read, and words show what they name.
  await page.waitForSelector('#picture canvas');
  await page.click('button[data-show="departure"]');
  assert.equal(await page.getAttribute('button[data-show="departure"]', 'aria-pressed'), 'true');
  await accessible(page, 'desktop-departure');
  await page.click('button.theme');
  await accessible(page, 'desktop-night');
  page.check();
});

test('a run that is stopped leaves a day that can be run again', async () => {
  const {address} = await serve(folder('stopped'));
  const page = await open(address);
  await page.click('#new-day');
  for (const [role, name] of [['picture', 'flight.tif'], ['boundary', 'boundary.geojson']]) {
    await page.fill(`#path-${role}`, join(sample, 'given', name));
    await page.press(`#path-${role}`, 'Enter');
    await page.waitForSelector(`#path-${role}`, {state: 'detached'});
  }
  await page.click('#go');
  const stop = await page.waitForSelector('#stop, #part-suspects');
  if (await stop.getAttribute('id') === 'stop') {
    await stop.click();
    await page.waitForSelector('#go');
    assert.match(await page.textContent('#stopped'), /[Ss]topped|^$/);
  }
  page.check();
});

test('what cannot be a picture is refused in plain words', async () => {
  const {address} = await serve(folder('refused'));
  const page = await open(address);
  await page.click('#new-day');
  const pdf = join(work, 'letter.pdf');
  writeFileSync(pdf, '%PDF-1.4\n%%EOF\n');
  await page.setInputFiles('#file-picture', pdf);
  await page.waitForSelector('.giver .refused');
  assert.match(await page.textContent('.giver .refused'), /letter\.pdf/);
  const given = execFileSync('find', [join(await dayFolder(page), 'given'), '-type', 'f'], {encoding: 'utf8'}).trim().split('\n');
  assert.equal(given.length, 1, 'something of it was kept');
  await accessible(page, 'desktop-refused');
  page.check();
});

async function dayFolder(page) {
  const id = decodeURIComponent(new URL(page.url()).hash.slice(2));
  const day = await (await page.request.get(new URL('days/' + id, page.url().split('#')[0]).href)).json();
  return join(day.folder, '..');
}

test('the program is stopped and started again', async () => {
  const at = finished('restart');
  const first = await serve(at);
  const page = await open(first.address + '#/slough');
  await letter(page);
  first.child.kill();
  await new Promise(done => first.child.on('exit', done));
  assert.equal(existsSync(join(at, '.bittern-page')), false);
  await page.click('nav a');
  await page.waitForSelector('.refused');
  assert.match(await page.textContent('.refused'), /safe on the disk/);
  await accessible(page, 'desktop-gone');
  const second = await serve(at);
  await page.goto(second.address);
  await page.click('.days a');
  await letter(page);
});

test('ten thousand suspects', async () => {
  const at = finished('many');
  const data = join(at, 'slough', 'day', 'data');
  const day = JSON.parse(readFileSync(join(data, 'day.json'), 'utf8'));
  const map = JSON.parse(readFileSync(join(data, 'suspects.geojson'), 'utf8'));
  const one = map.features.find(f => f.properties.state !== 'killed'), [suspect] = day.suspects;
  if (!one || !suspect) return; // the invented field of this size shows none
  for (let i = 0; day.suspects.length < 10_000; i++) {
    day.suspects.push({...suspect, id: `s-many-${i}`, letter: null});
    map.features.push({...one, properties: {...one.properties, id: `s-many-${i}`, letter: null}});
  }
  writeFileSync(join(data, 'day.json'), JSON.stringify(day));
  writeFileSync(join(data, 'suspects.geojson'), JSON.stringify(map));
  const {address} = await serve(at);
  const page = await open(address + '#/slough');
  await letter(page);
  await page.waitForSelector('#picture canvas');
  assert.ok((await page.locator('article.suspect').count()) <= 9);
  page.check();
});
