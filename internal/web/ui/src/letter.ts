// The letter of a finished day, the answer first. What is read moves the picture;
// the words that name something on the ground are the switches that show it.
import {dayPath, type Day, type DayPage, type Suspect, type Words} from './api.js';
import {el, type Child} from './dom.js';
import {moneyRows, sliders} from './money.js';

/** What the letter asks of the page around it. */
export interface Around {
  show(what: string): void; // something through the picture; '' for nothing
  go(id: string): void; // the picture to a shape; '' for the whole field
  again(): void; // run the day again
  changed(page: DayPage): void; // something was written down
  readonly stamp: string;
}

/** Sections of the letter in reading order. */
export function letter(page: DayPage, around: Around, forms: (about: string) => Child): HTMLElement[] {
  const day = page.day;
  const words = page.words;
  if (!day || !words) return [];
  return [
    opening(page, words, around),
    doubts(page, around),
    standsOut(page, words, around),
    rest(page, words, around),
    waiting('The walk', 'walk', 'Waits for sightings: where to park, the stops in order and the minutes will stand here. Until then, walk to the letters above; the field sheet has them on its map.'),
    withBlocks(moneyPart(page, words, around, forms)),
    withBlocks(orderPart(page, words, around)),
    waiting('What was done, and whether it worked', 'after', 'Waits for what was applied and for a later flight.'),
    takeAway(page),
    forPaper(page),
  ].filter(s => s !== null);
}

function section(title: string, name: string, ...children: readonly Child[]): HTMLElement {
  const id = `part-${name}`;
  return el('section', {'aria-labelledby': id}, el('h2', {id}, title), ...children);
}

/** A part that the picture shows blocks for. */
function withBlocks(part: HTMLElement): HTMLElement {
  part.dataset['go'] = '';
  part.dataset['about'] = 'blocks';
  return part;
}

function waiting(title: string, name: string, text: string): HTMLElement {
  return section(title, name, el('p', {class: 'quiet'}, text));
}

function opening(page: DayPage, words: Words, around: Around): HTMLElement {
  const answer = page.day?.answer ?? [];
  return el('section', {'aria-labelledby': 'where', 'data-go': ''},
    el('h1', {id: 'where'}, words.where),
    el('p', {class: 'answer'}, answer.join(' ')),
    el('p', {}, words.how_sure + ' ' + words.missed),
    stale(page, around),
    el('p', {class: 'words'}, 'On the picture: ',
      ...switches(['departure', 'left out'], around),
      ...(has(page, 'data/before.tif') ? [', ', switchWord(`as it was on ${earlierWords(page.day)}`, 'before', around)] : []), '. Press a word and it is shown through the picture; press again and it goes.'));
}

/** Says that the letter does not hold what was given last. */
function stale(page: DayPage, around: Around): Child {
  return page.stale && el('p', {class: 'doubt'}, 'Something was given after this was written. ',
    el('button', {type: 'button', click: () => around.again()}, 'Write it again'));
}

/** Whether the run wrote a file. */
function has(page: DayPage, name: string): boolean {
  return page.files.some(f => f.name === name);
}

/** A date as it is said: "Tuesday 14 July". */
function dateWords(text: string): string {
  const d = new Date(text.slice(0, 10) + 'T12:00');
  return Number.isNaN(d.getTime()) ? text
    : `${d.toLocaleDateString('en-US', {weekday: 'long'})} ${d.getDate()} ${d.toLocaleDateString('en-US', {month: 'long'})}`;
}

/** A date where there is little room, "14 July"; or what stands for it. */
export function shortDate(text: string | null | undefined, none: string): string {
  return text ? dateWords(text).replace(/^\w+ /, '') : none;
}

/** Which the earlier flight was, in words. */
function earlierWords(day: Day | null): string {
  return day?.before_flown ? dateWords(day.before_flown) : 'the earlier flight';
}

/** Words that switch what is seen through the picture. */
function switches(names: readonly string[], around: Around): Child[] {
  return names.flatMap((name, i) => [i > 0 ? ', ' : '', switchWord(name, name, around)]);
}

export function switchWord(text: string, what: string, around: Around, title?: string): HTMLElement {
  return el('button', {type: 'button', class: 'word', title, 'aria-pressed': 'false', 'data-show': what, click: e => {
    const button = e.currentTarget as HTMLButtonElement;
    const on = button.getAttribute('aria-pressed') !== 'true';
    document.querySelectorAll('[data-show]').forEach(b => b.setAttribute('aria-pressed', 'false'));
    document.querySelectorAll(`[data-show="${CSS.escape(what)}"]`).forEach(b => b.setAttribute('aria-pressed', String(on)));
    around.show(on ? what : '');
  }}, text);
}

function doubts(page: DayPage, around: Around): HTMLElement | null {
  const list = page.day?.warnings ?? [];
  if (list.length === 0) return null;
  return section('Doubts', 'doubts', el('p', {class: 'quiet'}, 'What could change the answer, the largest first.'),
    el('ol', {class: 'doubts'}, ...list.map(w => el('li', {class: 'doubt'}, w.says + ' ', settle(page, w.about, w.settle, around)))));
}

/** Each doubt has one button where the page can settle it, else its sentence. */
function settle(page: DayPage, about: string, text: string, around: Around): Child {
  const field = {
    treated: 'ask-treated', flown: 'ask-flown', before: !page.asked.before ? 'path-before' : !page.asked.before_flown ? 'ask-before-flown' : undefined, levees: 'path-levees', strip: 'path-strip', prices: 'prices-crop_dollars_per_bushel',
    products: 'products-copied_from_label_on', applicator: 'applicator-name',
  }[about];
  if (field) {
    return el('button', {type: 'button', click: () => {
      const to = document.getElementById(field);
      for (let d = to?.closest('details'); d; d = d.parentElement?.closest('details')) d.open = true;
      to?.scrollIntoView({block: 'center'});
      to?.focus();
    }}, `Give it: ${plainAbout(about)}`);
  }
  if (about === 'shade' || about === 'left out') return switchWord('Show it on the picture', about === 'shade' ? 'shade' : 'left out', around);
  return el('span', {}, withoutOptions(text));
}

function plainAbout(about: string): string {
  return {
    treated: 'the day of treatment', flown: 'the day of the flight', before: 'the earlier flight', levees: 'the lines of the levees',
    strip: 'the strip with extra nitrogen', prices: 'your prices', products: 'the products', applicator: 'who applies',
  }[about] ?? about;
}

/** The terminal's options mean nothing here. */
function withoutOptions(text: string): string {
  return text.replace(/ with --[a-z-]+/g, '').replace(/--([a-z-]+)/g, (_, n: string) => n.replace(/-/g, ' '));
}

function standsOut(page: DayPage, words: Words, around: Around): HTMLElement {
  const suspects = page.day?.suspects ?? [];
  const lettered = suspects.filter(s => s.letter);
  return section('What stands out', 'suspects',
    lettered.length === 0 ? el('p', {}, 'Nothing large enough to act on.') : null,
    ...lettered.map(s => suspect(page, s, words, around)),
    words.small ? el('p', {}, words.small + ' Each is on the map files.') : null);
}

function suspect(page: DayPage, s: Suspect, words: Words, around: Around): HTMLElement {
  const crop = (what: string, alt: string): HTMLElement =>
    el('img', {src: dayPath(page.id, `crop/${what}/${encodeURIComponent(s.id)}?of=${around.stamp}`), alt, width: 320, height: 320, loading: 'lazy'});
  const name = `Suspect ${s.letter ?? ''}`;
  const chance = words.chance[s.id];
  return el('article', {class: 'suspect', 'data-go': s.id, id: `s-${s.id}`, tabindex: '0', 'aria-label': name},
    el('h3', {}, el('span', {class: s.severity === 'faint' ? 'disc faint' : 'disc'}, s.letter ?? ''), ` ${words.area[s.id] ?? ''}, ${s.look}, ${s.severity}`),
    el('p', {}, `Check ${s.check}, ${s.place}. `, el('strong', {}, capital(words.comes[s.id] ?? 'walk')), chance ? `: ${chance}.` : '.'),
    el('div', {class: 'crops'}, crop('plain', `${name} in plain colour`), crop('departure', `${name} with its departure in plum`)),
    ...s.hints.map(h => el('p', {class: 'hint'}, el('em', {}, `Consistent with ${h.cause}. `),
      h.for.length ? `For: ${h.for.join('; ')}. ` : '', h.against.length ? `Against: ${h.against.join('; ')}. ` : '', `Look for: ${h.look_for}`)),
    s.hints.length === 0 ? el('p', {class: 'hint'}, 'Nothing that is known fits its shape.') : null);
}

function capital(s: string): string {
  return s.charAt(0).toUpperCase() + s.slice(1);
}

function rest(page: DayPage, words: Words, around: Around): HTMLElement {
  const day = page.day;
  const reasons = (day?.left_out ?? []).map(l => l.reason);
  const apart = (day?.checks ?? []).filter(c => c.standing?.apart);
  const skips = day?.skips;
  const indices = day?.imagery.indices ?? [];
  return section('The rest of the field', 'rest',
    words.killed ? el('p', {'data-go': ''}, words.killed) : null,
    skips && skips.verdict !== 'none' ? el('p', {}, `Strips at the swath spacing: ${skips.verdict}. ${skips.why}`) : null,
    ...apart.map(c => el('p', {'data-go': `check-${c.id}`}, `Check ${c.id} stands apart from its peers${c.standing?.look ? ': ' + c.standing.look : ''}. A patch cannot show that; look at why.`)),
    ...words.notes.map(n => el('p', {}, n)),
    el('p', {}, words.ground),
    reasons.length ? el('p', {class: 'words'}, 'Show where: ', ...switches(reasons, around), '.') : null,
    indices.length && has(page, 'data/bands.tif') ? el('p', {class: 'words'}, 'The crop by published formulas, dark where low and bright where high: ',
      ...indices.flatMap((x, i) => [i > 0 ? ', ' : '', switchWord(x.title, x.name, around, `${x.title}: ${x.formula}, ${x.source}`)]),
      '. They say how the ground differs, not why.') : null);
}

function moneyPart(page: DayPage, words: Words, around: Around, forms: (about: string) => Child): HTMLElement {
  const rows = el('div', {}, ...moneyRows(words));
  return section('The money', 'money', rows, sliders(page, rows, around.changed), forms('prices'), stale(page, around));
}

function orderPart(page: DayPage, words: Words, around: Around): HTMLElement {
  const day = page.day;
  const blocks = day?.blocks ?? [];
  const job = day?.job;
  return section('The order', 'order',
    blocks.length === 0 ? el('p', {class: 'quiet'}, 'Waits for prices and an applicator: blocks are cut for one when treating would pay.') : null,
    blocks.length ? el('div', {class: 'wide'}, el('table', {},
      el('caption', {}, `Blocks for ${blocks[0]?.applicator ?? ''}`),
      el('thead', {}, el('tr', {}, ...['block', 'acres', 'runs', 'heading'].map(h => el('th', {scope: 'col'}, h)))),
      el('tbody', {}, ...blocks.map(b => el('tr', {},
        el('th', {scope: 'row'}, el('button', {type: 'button', class: 'word', click: () => around.go(b.id)}, b.id)),
        el('td', {}, words.area[b.id] ?? ''), el('td', {}, String(b.runs)), el('td', {}, `${Math.round(b.heading_deg)}°`)))))) : null,
    job ? el('p', {}, `Revision ${job.revision}, read-back code ${job.code}, ${job.state}. ${job.why_draft.join(' ')}`) : null,
    ...words.caution.map(c => el('p', {class: 'caution'}, c)),
    el('p', {class: 'caution'}, 'The label is the law: it, local rules and a licensed applicator decide.'));
}

/** On paper the page is the field sheet; the screen never shows this. */
function forPaper(page: DayPage): HTMLElement | null {
  const sheet = page.files.find(f => f.name === 'data/field-sheet.png');
  if (!sheet) return null;
  document.body.classList.add('has-sheet');
  return el('section', {class: 'for-paper', 'aria-hidden': 'true'}, el('img', {src: dayPath(page.id, 'file/' + sheet.name), alt: ''}));
}

function takeAway(page: DayPage): HTMLElement {
  const row = (name: string, what: string): HTMLElement => {
    const short = name.split('/').pop() ?? name;
    return el('li', {}, el('a', {href: dayPath(page.id, 'file/' + name.split('/').map(encodeURIComponent).join('/')), target: '_blank', rel: 'noopener'}, short), what ? `, ${what}` : '');
  };
  return section('Sheets and files', 'files',
    el('ul', {class: 'files'}, ...page.sheets.map(f => row(f.name, f.what))),
    el('details', {}, el('summary', {}, 'Maps and figures for other programs'), el('ul', {class: 'files'}, ...page.files.map(f => row(f.name, f.what)))),
    el('p', {class: 'quiet'}, `All of it lies in ${page.folder}.`));
}
