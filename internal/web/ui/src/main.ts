// The day page. The address after # says which day is read; without one, the days
// are listed.
import {asking, placesPart, questionPart, typedForms, type Asking} from './asking.js';
import {dayPath, get, post, Refused, sentence, type DayPage, type DayRow, type Going, type Shapes, type ViewShown} from './api.js';
import {el, say, tell} from './dom.js';
import {letter, shortDate, type Around} from './letter.js';
import {acresText, Picture} from './map.js';

const main = document.getElementById('letter') as HTMLElement;
const side = document.getElementById('picture') as HTMLElement;

let picture: Picture | null = null;
let opened = 0; // counts what was opened, so that a late answer knows that it is late
let watcher: IntersectionObserver | null = null;

function closePicture(): void {
  picture?.close();
  picture = null;
  side.hidden = true;
  document.body.classList.remove('with-picture', 'whole-picture', 'drawing', 'has-sheet');
}

/** Opens what the address says. */
async function open(): Promise<void> {
  const turn = ++opened;
  watcher?.disconnect();
  closePicture();
  const id = decodeURIComponent(location.hash.replace(/^#\/?/, ''));
  try {
    if (id) await openDay(id, turn);
    else await openList(turn);
  } catch (e) {
    main.replaceChildren(el('h1', {}, 'This could not be opened'), el('p', {class: 'refused', role: 'alert'}, e instanceof Error ? e.message : String(e)),
      el('p', {}, el('a', {href: '#/'}, 'To the list of days'), ' ', el('button', {type: 'button', click: () => void open()}, 'Try again')));
  }
}

async function openList(turn: number): Promise<void> {
  const rows = await get<readonly DayRow[]>('days');
  if (turn !== opened) return;
  document.title = 'Your days, bittern';
  const box = el('div', {});
  const begin = (path: string, body: unknown): void => {
    void tell(box, async () => {
      const made = await post<{id: string}>(path, body);
      location.hash = '/' + encodeURIComponent(made.id);
    });
  };
  box.append(
    el('p', {}, el('button', {type: 'button', class: 'main', id: 'new-day', click: () => begin('days', {})}, 'Bring in a picture'),
      ' a flight of your field, as a file.'),
    el('p', {}, el('button', {type: 'button', id: 'invent', click: () => begin('invent', {acres: 0})}, 'Try the invented field'),
      ' to see what a day is. It is made here in half a minute; nothing is fetched.'));
  main.replaceChildren(themeButton(),
    el('h1', {}, rows.length ? 'Your days' : 'No day is here yet'),
    ...(rows.length ? [el('ul', {class: 'days'}, ...rows.map(row))] : [el('p', {class: 'answer'}, 'A day is one flight over one field with one question. Begin with one.')]),
    box);
  main.focus({preventScroll: true});
}

function row(r: DayRow): HTMLElement {
  const says = r.state === 'working' ? 'Being read now.' : r.state === 'asking' ? 'Waits for you.' : r.answer.join(' ');
  return el('li', {}, el('a', {href: '#/' + encodeURIComponent(r.id)}, r.field),
    el('span', {}, `${r.acres ? ' ' + acresText(r.acres) : ''}${r.flown ? ', flown ' + r.flown.replace('T', ' at ') : ''}${r.question ? ', ' + r.question : ''}. `), el('span', {class: 'quiet'}, says));
}

async function openDay(id: string, turn: number): Promise<void> {
  const page = await get<DayPage>(dayPath(id));
  if (turn !== opened) return;
  show(page, turn);
  // The letter stands already; the picture and any work on the day come after it.
  if (page.state === 'working') void follow(page, turn);
  else if (page.day) await openPicture(page, turn).catch(e => say(e instanceof Error ? e.message : String(e)));
}

function show(page: DayPage, turn: number): void {
  const a: Asking = {
    changed: next => {
      if (turn !== opened) return;
      if (next.state === 'working') {
        void open();
        return;
      }
      inPlace(() => show(next, turn));
    },
    drawing: () => draw(page, turn),
  };
  document.title = `${page.day?.field.name ?? page.boundary?.name ?? 'A new day'}, bittern`;
  const back = el('nav', {'aria-label': 'Days'}, el('a', {href: '#/'}, 'All days'), themeButton());
  const problem = page.problem ? [el('p', {class: 'refused', role: 'alert'}, page.problem)] : [];
  if (page.state === 'working') {
    main.replaceChildren(back, el('h1', {}, 'The picture is being read'), el('div', {id: 'going'}));
    return;
  }
  if (!page.day) {
    main.replaceChildren(back, ...problem, el('div', {id: 'stopped'}), ...asking(page, a));
    void why(page);
    return;
  }
  const around: Around = {
    stamp: stampOf(page),
    changed: a.changed,
    show: what => picture?.show(what),
    go: shape => goTo(shape),
    again: () => {
      void tell(main, async () => {
        await post(dayPath(page.id, 'run'));
        await open();
      });
    },
  };
  main.replaceChildren(back, ...problem, el('div', {id: 'stopped'}), ...letter(page, around, about => (about === 'prices' ? typedForms(page, a) : null)), placesPart(page, a), questionPart(page, a));
  void why(page);
  follow_();
}

/** Writes the letter anew and leaves the reader where they were. */
function inPlace(write: () => void): void {
  const name = (d: HTMLDetailsElement): string => d.querySelector('summary')?.textContent?.split(':')[0] ?? '';
  const opened_ = new Set([...main.querySelectorAll('details')].filter(d => d.open).map(name));
  const focus = document.activeElement?.id ?? '';
  const y = scrollY;
  picture?.show('');
  write();
  for (const d of main.querySelectorAll('details')) d.open = opened_.has(name(d));
  document.getElementById(focus)?.focus({preventScroll: true});
  scrollTo(0, y);
}

/** Why the last work on the day stopped, if it did. */
async function why(page: DayPage): Promise<void> {
  const g = await get<Going>(dayPath(page.id, 'going')).catch(() => null);
  if (g?.problem) document.getElementById('stopped')?.replaceChildren(el('p', {class: 'refused', role: 'alert'}, sentence(g.problem)));
}

/** Another run gives other pictures: the stamp keeps the browser from mixing them. */
function stampOf(page: DayPage): string {
  let hash = 0;
  for (const c of JSON.stringify(page.day ?? {})) hash = (hash * 31 + (c.codePointAt(0) ?? 0)) | 0;
  return (hash >>> 0).toString(36);
}

/** Shows how far the work has come, and the letter's parts as they are made. */
async function follow(page: DayPage, turn: number): Promise<void> {
  const box = document.getElementById('going');
  if (!box) return;
  const stage = el('p', {class: 'answer'});
  const bar = el('progress', {max: '1', 'aria-label': 'How far this stage has come'});
  const left = el('p', {class: 'quiet'});
  const parts = el('div', {'aria-live': 'polite'});
  box.replaceChildren(stage, bar, left, el('p', {}, el('button', {type: 'button', id: 'stop', click: () => {
    void tell(box, async () => {
      await post(dayPath(page.id, 'cancel'));
    });
  }}, 'Stop; nothing is lost')), parts);
  let said = 0;
  for (;;) {
    let g: Going;
    try {
      g = await get<Going>(dayPath(page.id, 'going'));
    } catch (e) {
      if (turn !== opened) return;
      left.textContent = e instanceof Error ? e.message : String(e);
      await pause(2000);
      continue;
    }
    if (turn !== opened) return;
    if (!g.going) {
      await open();
      return;
    }
    stage.textContent = capital(g.stage || 'beginning') + '.';
    if (g.share === null) bar.removeAttribute('value');
    else bar.value = g.share;
    left.textContent = [g.rate ? `${g.rate.toFixed(0)} ${g.unit} a second` : '', g.left_s ? `about ${Math.ceil(g.left_s)} seconds left of this stage` : ''].filter(s => s).join(', ');
    for (const p of g.parts.slice(said)) for (const s of p.says) parts.append(el('p', {}, s));
    said = g.parts.length;
    await pause(400);
  }
}

function capital(s: string): string {
  return s.charAt(0).toUpperCase() + s.slice(1);
}

function pause(ms: number): Promise<void> {
  return new Promise(done => setTimeout(done, ms));
}

async function openPicture(page: DayPage, turn: number): Promise<void> {
  const view = await get<ViewShown>(dayPath(page.id, 'view'));
  if (turn !== opened) return;
  side.hidden = false;
  document.body.classList.add('with-picture');
  picture = new Picture(side, page.id, stampOf(page), view, [shortDate(page.day?.before_flown, 'the flight before'), shortDate(page.day?.flown, 'this flight')],
    s => (s.letter ? `${s.letter}, ${page.words?.area[s.id] ?? ''}` : page.words?.area[s.id] ?? ''),
    id => {
      const at = document.getElementById(`s-${id}`);
      at?.scrollIntoView({block: 'center', behavior: matchMedia('(prefers-reduced-motion: reduce)').matches ? 'auto' : 'smooth'});
      at?.focus({preventScroll: true});
    });
  side.append(el('button', {type: 'button', class: 'wider', click: e => {
    const on = document.body.classList.toggle('whole-picture');
    (e.currentTarget as HTMLElement).textContent = on ? 'Back to the letter' : 'Whole screen';
    dispatchEvent(new Event('resize'));
  }}, 'Whole screen'));
  const mine = picture;
  await mine.seen();
  const shapes = await get<Shapes>(dayPath(page.id, 'shapes'));
  if (mine === picture) mine.put(shapes);
  if (view.why) main.querySelector('section')?.append(el('p', {class: 'doubt'}, sentence(view.why)));
}

function goTo(id: string): void {
  document.querySelectorAll('.read').forEach(e => e.classList.remove('read'));
  if (id) document.getElementById(`s-${id}`)?.classList.add('read');
  picture?.go(id);
}

/** The paragraph nearest the middle of the screen, or the one in hand, moves the picture. */
function follow_(): void {
  watcher?.disconnect();
  const read = (e: HTMLElement): void => {
    picture?.read(e.dataset['about'] ?? 'suspects');
    goTo(e.dataset['go'] ?? '');
  };
  watcher = new IntersectionObserver(entries => {
    for (const e of entries) if (e.isIntersecting) read(e.target as HTMLElement);
  }, {rootMargin: '-45% 0px -45% 0px'});
  for (const e of main.querySelectorAll<HTMLElement>('[data-go]')) {
    watcher.observe(e);
    e.addEventListener('focusin', () => read(e));
  }
}

/** Draws the boundary on the picture; the letter steps aside until it is done. */
async function draw(page: DayPage, turn: number): Promise<void> {
  if (!picture) {
    await post(dayPath(page.id, 'look'));
    for (;;) {
      const g = await get<Going>(dayPath(page.id, 'going'));
      if (turn !== opened) return;
      say(g.going ? `${capital(g.stage)}${g.share === null ? '' : ` ${Math.round(g.share * 100)} %`}` : '');
      if (g.problem) throw new Refused(sentence(g.problem));
      if (!g.going) break;
      await pause(300);
    }
    await openPicture(page, turn);
  }
  const acres = el('p', {class: 'answer', 'aria-live': 'polite'}, 'Tap the corners of the field, one after the other.');
  const done = el('button', {type: 'button', class: 'main', id: 'drawn', disabled: true, click: () => {
    void tell(bar, async () => {
      const next = await post<DayPage>(dayPath(page.id, 'draw'), {corners: picture?.drawnCorners() ?? []});
      end();
      show(next, turn);
    });
  }}, 'That is the field');
  const bar = el('div', {class: 'drawbar'}, acres,
    el('p', {class: 'quiet by-keyboard'}, 'By keyboard: arrows move the picture, Enter drops a corner at the cross, Backspace takes the last one back.'),
    el('button', {type: 'button', id: 'corner', click: () => picture?.drop()}, 'Corner at the cross'),
    el('button', {type: 'button', id: 'undo', click: () => picture?.undo()}, 'Take the last corner back'),
    done,
    el('button', {type: 'button', click: () => end()}, 'Leave it'));
  const end = (): void => {
    picture?.stop();
    bar.remove();
    document.body.classList.remove('drawing');
  };
  document.querySelector('.drawbar')?.remove();
  document.body.classList.add('drawing');
  side.append(bar);
  dispatchEvent(new Event('resize'));
  picture?.draw((area, corners, crossing) => {
    acres.textContent = corners === 0 ? 'Tap the corners of the field, one after the other.'
      : crossing ? 'The lines cross. Take the last corner back and go round the field.'
        : corners < 3 ? `${corners} corner${corners > 1 ? 's' : ''}.` : `${corners} corners, ${acresText(area)}.`;
    done.disabled = corners < 3 || crossing;
  }, () => {
    say('The first corner is met again: the field is closed.');
    setTimeout(() => done.focus(), 100); // after the tap has had its own way with the focus
  });
}

/** Paper or night; remembered on this computer. */
function themeButton(): HTMLElement {
  const night = (): boolean => document.documentElement.dataset['theme'] === 'night';
  const button = el('button', {type: 'button', class: 'theme', click: () => {
    setTheme(night() ? 'paper' : 'night');
    button.textContent = night() ? 'Paper' : 'Night';
    picture?.repaint();
  }}, night() ? 'Paper' : 'Night');
  return button;
}

function setTheme(theme: string): void {
  document.documentElement.dataset['theme'] = theme;
  try {
    localStorage.setItem('theme', theme);
  } catch {
    // a browser that keeps nothing still shows it now
  }
}

function firstTheme(): string {
  try {
    const kept = localStorage.getItem('theme');
    if (kept) return kept;
  } catch {
    // none is kept
  }
  return matchMedia('(prefers-color-scheme: dark)').matches ? 'night' : 'paper';
}

document.documentElement.dataset['theme'] = firstTheme();
addEventListener('hashchange', () => void open());
// A file that misses its place must not replace the page.
for (const name of ['dragover', 'drop']) addEventListener(name, e => e.preventDefault());
void open();
