// The money of a day, and what it comes to when a price is moved.
import {dayPath, post, type DayPage, type Reckoned, type Words} from './api.js';
import {el, say, tell, type Child} from './dom.js';

/** The alternatives as rows, and what would change the choice. */
export function moneyRows(words: Words): Child[] {
  return [
    el('p', {}, words.cost),
    words.money.length ? el('div', {class: 'wide'}, el('table', {},
      el('caption', {}, 'What could be done'),
      el('thead', {}, el('tr', {}, ...['what', 'treated', 'cost', 'loss that remains'].map(h => el('th', {scope: 'col'}, h)))),
      el('tbody', {}, ...words.money.map(m => el('tr', m.chosen ? {class: 'chosen'} : {},
        el('th', {scope: 'row'}, (m.chosen ? '* ' : '') + m.name, m.note ? el('small', {}, ' ' + m.note) : null),
        el('td', {}, m.area), el('td', {}, m.cost), el('td', {}, m.loss)))))) : null,
    words.money.some(m => m.chosen) ? el('p', {class: 'quiet'}, '* costs least, loss included, if every suspect is real. Nobody has walked yet.') : null,
    ...words.flips.map(f => el('p', {}, f)),
  ];
}

/** A price that can be moved by hand. */
interface Moved {
  readonly key: string;
  readonly label: string;
  readonly most: (typed: number) => number;
  readonly step: number;
  readonly words: (v: number) => string;
}

const moved: readonly Moved[] = [
  {key: 'crop_dollars_per_bushel', label: 'If the crop brings', most: v => Math.max(1, Math.ceil(2 * v)), step: 0.05, words: v => `$${v.toFixed(2)} a bushel`},
  {key: 'loss_percent', label: 'If ground that is left loses', most: () => 100, step: 1, words: v => `${v.toFixed(0)} percent of its yield`},
];

/** Sliders for the prices that matter most; moving one reckons the rows anew, and the picture is not read again. */
export function sliders(page: DayPage, rows: HTMLElement, changed: (page: DayPage) => void): Child {
  const typed = page.typed['prices'] ?? {};
  const here = moved.filter(m => typeof typed[m.key] === 'number');
  if (here.length === 0 || !page.words?.money.length) return null;
  const box = el('div', {class: 'sliders'});
  const note = el('div', {class: 'doubt', hidden: true});
  const prices = structuredClone(typed) as Record<string, unknown>;
  let turn = 0;
  let rest: ReturnType<typeof setTimeout> | undefined;
  const reckon = (): void => {
    clearTimeout(rest);
    const mine = ++turn;
    rest = setTimeout(() => {
      void tell(box, async () => {
        const out = await post<Reckoned>(dayPath(page.id, 'reckon'), prices);
        if (mine !== turn) return;
        rows.replaceChildren(...moneyRows(out.words).filter(c => c instanceof Node));
        note.querySelector('p')?.replaceChildren(`With these prices: ${out.answer.slice(1).join(' ')} The sheets and the blocks stand as they were written.`);
        note.hidden = false;
        say(out.words.cost);
      });
    }, 150);
  };
  const lines = here.map(m => {
    const value = typed[m.key] as number;
    const out = el('output', {for: `move-${m.key}`}, m.words(value));
    const input = el('input', {type: 'range', id: `move-${m.key}`, min: '0', max: String(m.most(value)), step: String(m.step), value: String(value), 'aria-valuetext': m.words(value), input: () => {
      prices[m.key] = Number(input.value);
      out.textContent = m.words(Number(input.value));
      input.setAttribute('aria-valuetext', m.words(Number(input.value)));
      reckon();
    }});
    return {input, value, out, m, row: el('div', {class: 'line'}, el('label', {for: input.id}, `${m.label} `, out), input)};
  });
  note.append(el('p', {}),
    el('button', {type: 'button', id: 'keep-prices', click: () => {
      void tell(box, async () => changed(await post<DayPage>(dayPath(page.id, 'type/prices'), prices)));
    }}, 'Keep these prices'), ' ',
    el('button', {type: 'button', click: () => {
      for (const l of lines) {
        prices[l.m.key] = l.value;
        l.input.value = String(l.value);
        l.out.textContent = l.m.words(l.value);
      }
      turn++;
      clearTimeout(rest);
      if (page.words) rows.replaceChildren(...moneyRows(page.words).filter(c => c instanceof Node));
      note.hidden = true;
    }}, 'Back to mine'));
  box.append(...lines.map(l => l.row), note);
  return box;
}
