// Measures the page as a person meets it, and prints it. Run by TestPageIsMeasured.
import {execFileSync, spawn} from 'node:child_process';
import {mkdirSync, mkdtempSync, readFileSync, rmSync, statSync, writeFileSync} from 'node:fs';
import {tmpdir} from 'node:os';
import {join} from 'node:path';
import {chromium} from 'playwright-core';

const program = process.env.BITTERN_PROGRAM;
const large = process.env.BITTERN_LARGE;
const work = mkdtempSync(join(tmpdir(), 'bittern-measure-'));
const patience = 1_800_000;
const children = new Set();
const seconds = ms => (ms / 1000).toFixed(2) + ' s';

async function serve(folder) {
  const child = spawn(program, ['serve', folder, '--no-open', '--port', '0'], {stdio: ['ignore', 'pipe', 'inherit']});
  children.add(child);
  const address = await new Promise((resolve, reject) => {
    let text = '';
    child.stdout.on('data', d => {
      text += d;
      const line = text.split('\n').find(l => /^http:\/\/127\.0\.0\.1:\d+\/\w+\/$/.test(l));
      if (line) resolve(line);
    });
    child.on('exit', code => reject(new Error(`the program ended with ${code}`)));
  });
  return {child, address};
}

async function end(child) {
  children.delete(child);
  child.kill();
  await new Promise(done => child.on('exit', done));
}

/** Resident memory of a process in MiB: now, and the most it ever was. */
function memory(pid) {
  const text = readFileSync(`/proc/${pid}/status`, 'utf8');
  const of = key => Math.round(Number(new RegExp(`${key}:\\s+(\\d+)`).exec(text)[1]) / 1024);
  return `${of('VmRSS')} MiB, at most ${of('VmHWM')} MiB`;
}

/** Waits until the picture's canvas shows ground in its middle. */
const painted = page => page.waitForFunction(() => {
  const c = document.querySelector('#picture canvas');
  return c && c.width > 0 && c.getContext('2d').getImageData(c.width >> 1, c.height >> 1, 1, 1).data[3] > 0;
}, null, {polling: 'raf', timeout: patience});

/** What a finished day takes to open, in a browser that never saw it and a program that was just started. */
async function opening(browser, name, folder, id) {
  const {child, address} = await serve(folder);
  const page = await (await browser.newContext({viewport: {width: 1280, height: 800}})).newPage();
  page.setDefaultTimeout(patience);
  const from = performance.now();
  await page.goto(address + '#/' + id, {waitUntil: 'commit'});
  await page.waitForSelector('#part-suspects');
  const letter = performance.now() - from;
  await painted(page);
  const picture = performance.now() - from;
  console.log(`${name}: the letter stands after ${seconds(letter)}, the first picture after ${seconds(picture)}`);
  await tiles(name, `${address}days/${id}/`);
  console.log(`${name}: memory of the program after all of it ${memory(child.pid)}`);
  await page.context().close();
  await end(child);
}

/** How long tiles take, one after the other, level by level: when they are met first, and when a person looks at that level again. */
async function tiles(name, day) {
  const view = await (await fetch(day + 'view')).json();
  const [west, south, east, north] = view.extent;
  const levels = [];
  view.pixels.forEach((pixel, level) => {
    const side = pixel * view.tile, list = [];
    const [cols, rows] = [Math.ceil((east - west) / side), Math.ceil((north - south) / side)];
    // A screen's worth in the middle.
    for (let r = Math.max(0, (rows >> 1) - 2); r < Math.min(rows, (rows >> 1) + 2); r++) {
      for (let c = Math.max(0, (cols >> 1) - 3); c < Math.min(cols, (cols >> 1) + 3); c++) list.push(`${level}/${c}/${r}`);
    }
    levels.push(list);
  });
  const [index] = view.indices;
  for (const what of ['plain', 'departure', 'left out', ...(index ? [index.name] : [])]) {
    const took = [[], []];
    for (const list of levels) for (const times of took) {
      for (const tile of list) {
        const from = performance.now();
        const res = await fetch(`${day}tile/${encodeURIComponent(what)}/${tile}`);
        await res.arrayBuffer();
        if (!res.ok) throw new Error(`${what} ${tile}: ${res.status}`);
        times.push(performance.now() - from);
      }
    }
    const at = (times, share) => times.sort((a, b) => a - b)[Math.floor(share * (times.length - 1))].toFixed(1);
    console.log(`${name}: ${levels.flat().length} tiles of "${what}", warm p50 ${at(took[1], 0.5)} ms, p95 ${at(took[1], 0.95)} ms; met first p50 ${at(took[0], 0.5)} ms, p95 ${at(took[0], 0.95)} ms`);
  }
}

const browser = await chromium.launch({executablePath: '/usr/bin/chromium', args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run']});
try {
  // The first five minutes: from the program's start to the printed sheet of the invented field.
  const days = join(work, 'days');
  const from = performance.now();
  const first = await serve(days);
  const page = await (await browser.newContext({viewport: {width: 1280, height: 800}})).newPage();
  page.setDefaultTimeout(patience);
  let clicks = 0;
  const click = async what => {
    clicks++;
    await page.click(what);
  };
  await page.goto(first.address);
  await page.waitForSelector('#invent');
  const empty = performance.now() - from;
  await click('#invent');
  await page.waitForSelector('#part-suspects');
  const letter = performance.now() - from;
  await page.waitForFunction(() => document.querySelector('.for-paper img')?.complete);
  const sheet = await page.pdf({preferCSSPageSize: true}); // what the browser's own print command gives
  console.log(`the invented field: the empty letter after ${seconds(empty)}, its letter after ${seconds(letter)}, printed after ${seconds(performance.now() - from)} ` +
    `(${Math.round(sheet.length / 1024)} kB), ${clicks} click and the browser's print command`);
  const acres = (await (await fetch(first.address + 'days/invented-field')).json()).day.field.acres;
  console.log(`the invented field: memory of the program after the run of ${acres.toFixed(0)} acres ${memory(first.child.pid)}`);
  await page.context().close();
  await end(first.child);

  const middle = join(work, 'middle');
  const second = await serve(middle);
  await fetch(second.address + 'invent', {method: 'POST', body: JSON.stringify({acres: 160})});
  let going = true;
  while (going) {
    await new Promise(done => setTimeout(done, 500));
    ({going} = await (await fetch(second.address + 'days/invented-field/going')).json());
  }
  await end(second.child);
  await opening(browser, 'a day of 160 acres', middle, 'invented-field');

  const given = join(work, 'large', 'days', 'large', 'given');
  mkdirSync(given, {recursive: true});
  const picture = join(large, 'picture.tif'), boundary = join(large, 'boundary.geojson');
  writeFileSync(join(given, 'asked.toml'), `question = "escapes"\nflown = "2026-07-14T09:05"\ntreated = "2026-07-02"\nboundary = '${boundary}'\nimagery = ['${picture}']\n`);
  const out = join(work, 'large', 'days', 'large', 'day');
  const began = performance.now();
  execFileSync(program, ['run', '--boundary', boundary, '--imagery', picture, '--question', 'escapes', '--flown', '2026-07-14T09:05', '--treated', '2026-07-02', '--page', '--out', out], {stdio: 'ignore'});
  const suspects = JSON.parse(readFileSync(join(out, 'data', 'day.json'), 'utf8')).suspects.length;
  console.log(`1,600 acres: run in ${seconds(performance.now() - began)}, ${suspects} suspects, bands.tif ${(statSync(join(out, 'data', 'bands.tif')).size / 2 ** 20).toFixed(0)} MiB`);
  await opening(browser, 'a day of 1,600 acres', join(work, 'large', 'days'), 'large');
} finally {
  await browser.close();
  for (const c of children) c.kill();
  rmSync(work, {recursive: true, force: true});
}
