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
const pair = process.env.BITTERN_PAIR; // a field that was flown twice: flight.tif, before.tif, boundary.geojson
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
  // A figure of eight first: said at once in plain words, and taken back.
  for (const [x, y] of [[0.2, 0.3], [0.8, 0.7], [0.8, 0.3], [0.2, 0.7]]) await corner(x, y);
  await accessible(page, 'phone-drawing');
  assert.match(await page.textContent('.drawbar .answer'), /The lines cross/);
  assert.ok(await page.isDisabled('#drawn'));
  for (let i = 0; i < 4; i++) await page.tap('#undo');
  for (const [x, y] of [[0.2, 0.3], [0.8, 0.3], [0.8, 0.7], [0.2, 0.7]]) await corner(x, y);
  assert.match(await page.textContent('.drawbar .answer'), /4 corners, [\d.]+ acre/);
  // The first corner met again closes the field: no fifth corner, and the way on is in hand.
  await corner(0.2, 0.3);
  assert.match(await page.textContent('.drawbar .answer'), /4 corners/);
  await page.waitForFunction(() => document.activeElement.id === 'drawn');
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
  await page.route('**/invent', r => r.continue({postData: JSON.stringify({acres: 16})})); // a small one, and large enough to be met at work
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
  assert.ok(one && suspect, 'the invented field of this size shows no suspect');
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

/** A day of the field that was flown twice, asked and not yet run. */
async function twoFlights(page) {
  await page.click('#new-day');
  for (const [role, name] of [['picture', 'flight.tif'], ['boundary', 'boundary.geojson']]) {
    await page.fill(`#path-${role}`, join(pair, name));
    await page.press(`#path-${role}`, 'Enter');
    await page.waitForSelector(`#path-${role}`, {state: 'detached'});
  }
}

test('two flights swiped by finger, mouse and keyboard; an index; what lies under the finger', async () => {
  const {address} = await serve(folder('swipe'));
  const page = await open(address, {hasTouch: true});
  const tiles = new Set();
  page.on('response', r => {
    const what = /\/tile\/([^/]+)\//.exec(r.url());
    if (what && r.ok()) tiles.add(decodeURIComponent(what[1]));
  });
  await twoFlights(page);
  await page.click('summary:has-text("The flight before")');
  await page.fill('#path-before', join(pair, 'before.tif'));
  await page.press('#path-before', 'Enter');
  await page.waitForSelector('#ask-before-flown');
  await page.fill('#ask-before-flown', '2026-07-02');
  await page.press('#ask-before-flown', 'Enter');
  await page.waitForFunction(() => document.querySelector('#says')?.textContent === 'Written down.');
  await page.fill('#ask-treated', '2026-07-02');
  await page.fill('#ask-flown', '2026-07-14T09:05');
  await page.click('#go');
  await letter(page);
  await page.waitForSelector('#picture canvas');
  await page.click('button[data-show="before"]');
  await page.waitForSelector('#swipe', {state: 'visible'});
  await page.waitForTimeout(1500);
  assert.ok(tiles.has('before'), 'no tile of the earlier flight was asked for');
  await accessible(page, 'desktop-swipe');
  const line = () => page.evaluate(() => Math.round(document.querySelector('.swipe .line').getBoundingClientRect().left - document.querySelector('#picture').getBoundingClientRect().left));
  const width = (await page.locator('#picture').boundingBox()).width;
  // By keyboard: to the left end only the day is seen, to the right end only the flight before.
  await page.focus('#swipe');
  await page.keyboard.press('Home');
  const day = await page.locator('#picture canvas').first().screenshot();
  assert.ok(await line() < 4);
  await page.keyboard.press('End');
  await page.waitForTimeout(300);
  const before = await page.locator('#picture canvas').first().screenshot();
  assert.ok(Math.abs(await line() - width) < 6);
  assert.ok(!day.equals(before), 'swiping shows nothing else');
  // By mouse: the square goes where it is dragged.
  const box = await page.locator('#picture').boundingBox();
  const [x, y] = [box.x + box.width, box.y + box.height / 2];
  await page.mouse.move(x - 4, y);
  await page.mouse.down();
  await page.mouse.move(box.x + box.width * 0.3, y, {steps: 5});
  await page.mouse.up();
  assert.ok(Math.abs(await line() / width - 0.3) < 0.05, `dragged to ${await line()} of ${width}`);
  // By finger: a tap on the square and a drag, as the browser's own control takes it.
  const touch = await page.context().newCDPSession(page);
  const finger = (type, at) => touch.send('Input.dispatchTouchEvent', {type, touchPoints: at === null ? [] : [{x: at, y}]});
  await finger('touchStart', box.x + box.width * 0.3);
  for (let k = 4; k <= 7; k++) await finger('touchMove', box.x + (box.width * k) / 10);
  await finger('touchEnd', null);
  assert.ok(Math.abs(await line() / width - 0.7) < 0.08, `drawn to ${await line()} of ${width}`);
  await page.click('button[data-show="before"]');
  assert.equal(await page.isVisible('#swipe'), false);

  await page.click('button[data-show="ndvi"]');
  await page.waitForSelector('.legend:not([hidden])');
  assert.match(await page.textContent('.legend'), /NDVI.*\(N-R\)\/\(N\+R\)/);
  await page.waitForTimeout(1000);
  assert.ok(tiles.has('ndvi'), 'no tile of the index was asked for');
  await accessible(page, 'desktop-index');

  await page.mouse.move(box.x + box.width / 2 + 31, box.y + box.height / 2 + 17);
  await page.waitForFunction(() => /acre/.test(document.querySelector('.under').textContent));
  await page.focus('#picture .ground');
  await page.keyboard.press('Enter');
  await page.waitForFunction(() => /acre/.test(document.querySelector('#says').textContent));
  page.check();
});

test('a tab is closed in the middle of a copy, and in the middle of a run', async () => {
  const {address} = await serve(folder('closed'));
  const first = await open(address);
  await first.click('#new-day');
  await first.waitForSelector('#file-picture');
  const given = join(await dayFolder(first), 'given');
  const slow = await first.context().newCDPSession(first);
  await slow.send('Network.enable');
  await slow.send('Network.emulateNetworkConditions', {offline: false, latency: 0, downloadThroughput: -1, uploadThroughput: 1 << 20});
  await first.setInputFiles('#file-picture', join(pair, 'flight.tif'));
  await first.waitForFunction(() => document.querySelector('.giver progress').value > 0);
  await first.close();
  const files = () => execFileSync('find', [given, '-type', 'f'], {encoding: 'utf8'}).trim().split('\n');
  for (let i = 0; files().length > 1 && i < 50; i++) await new Promise(done => setTimeout(done, 200));
  assert.deepEqual(files().map(f => f.slice(given.length + 1)), ['asked.toml'], 'something of the copy was kept');

  const second = await open(address);
  await twoFlights(second);
  await second.click('#go');
  await second.waitForSelector('#stop, #part-suspects');
  const at = second.url();
  await second.close();
  const third = await open(at);
  await letter(third); // the run went on without a reader
  third.check();
});

test('a browser without WebGL shows the same page', async () => {
  const {address} = await serve(finished('plain'));
  const other = await chromium.launch({executablePath: '/usr/bin/chromium', args: ['--no-sandbox', '--disable-gpu', '--disable-webgl', '--disable-3d-apis', '--disable-quic', '--no-first-run']});
  try {
    const page = await other.newPage();
    page.setDefaultTimeout(patience);
    await page.goto(address + '#/slough');
    await letter(page);
    assert.equal(await page.evaluate(() => document.createElement('canvas').getContext('webgl')), null, 'this browser has WebGL');
    await page.waitForSelector('#picture canvas');
    await page.waitForTimeout(1000);
    const colours = await page.evaluate(() => {
      const c = document.querySelector('#picture canvas');
      const px = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;
      return new Set(Array.from({length: 500}, (_, i) => px[4 * Math.floor((i * px.length) / 2000) + 1])).size;
    });
    assert.ok(colours > 5, `the picture has ${colours} tones`);
  } finally {
    await other.close();
  }
});

test('products, prices and levees given in the letter, and the letter written again', async () => {
  const days = finished('typed');
  const {address} = await serve(days);
  const page = await open(address + '#/slough');
  await letter(page);
  await page.click('summary:has-text("Your figures")');
  const fill = async (id, text) => page.fill(`[id="${id}"]`, text);
  await fill('products-copied_from_label_on', '2026-06-30');
  await fill('products-carrier_gallons_per_acre', '10');
  await fill('product-1-name', 'herbicide A');
  await fill('product-1-rate', 'one quart');
  await fill('product-1-rate_unit', 'qt/ac');
  const submit = page.locator('form:has([id="product-1-name"]) button[type=submit]');
  await submit.click();
  await page.waitForSelector('form:has([id="product-1-name"]) > .refused');
  await fill('product-1-rate', '1');
  await submit.click();
  await page.waitForFunction(() => document.querySelector('#says')?.textContent === 'Written down.');
  const typed = readFileSync(join(days, 'slough', 'given', 'products.toml'), 'utf8');
  assert.match(typed, /name = ['"]herbicide A['"]/);
  assert.equal(await page.inputValue('[id="product-1-rate"]'), '1'); // the form is still open, as it was
  await page.click('summary:has-text("Levees")');
  await page.fill('#path-levees', join(sample, 'day', 'data', 'levees.geojson'));
  await page.press('#path-levees', 'Enter');
  await page.waitForSelector('summary:has-text("levees.geojson")');
  await accessible(page, 'desktop-typed');
  await page.click('section:has(#part-money) button:has-text("Write it again")');
  await letter(page);
  await page.waitForSelector('button:has-text("Write it again")', {state: 'detached'});
  // A price that is moved reckons the rows anew, and reads no picture.
  const rows = () => page.textContent('section:has(#part-money) table');
  const mine = await rows();
  const runs = [];
  page.on('request', r => {
    if (/\/run$/.test(r.url())) runs.push(r.url());
  });
  await page.focus('#move-crop_dollars_per_bushel');
  await page.keyboard.press('End');
  await page.waitForSelector('#keep-prices', {state: 'visible'});
  const dear = await rows();
  assert.notEqual(dear, mine);
  await page.locator('#move-crop_dollars_per_bushel').scrollIntoViewIfNeeded();
  await accessible(page, 'desktop-money');
  await page.click('button:has-text("Back to mine")');
  assert.equal(await rows(), mine);
  await page.focus('#move-crop_dollars_per_bushel');
  await page.keyboard.press('End');
  await page.click('#keep-prices');
  await page.waitForSelector('section:has(#part-money) .doubt:has-text("after this was written")');
  assert.match(readFileSync(join(days, 'slough', 'given', 'prices.toml'), 'utf8'), /crop_dollars_per_bushel/);
  assert.deepEqual(runs, []);
  page.check();
});
