// What a day still asks of the grower: a picture, a boundary, the question, dates,
// prices and an applicator, each where it matters and in the trade's words.
import {dayPath, get, post, Refused, send, type DayPage} from './api.js';
import {el, say, tell} from './dom.js';

/** What asking needs of the page around it. */
export interface Asking {
  changed(page: DayPage): void; // the day is another now
  drawing(): Promise<void>; // begin to draw a boundary on the picture
}

const questions: Readonly<Record<string, string>> = {
  escapes: 'weeds that lived through a spraying',
  insects: 'leaves that were eaten',
  nitrogen: 'ground that is short of nitrogen',
  harvest: 'which check is ripe first',
  stand: 'gaps in the stand',
  water: 'high, dry or drowned ground',
};

/** The parts of a day that was not run yet. */
export function asking(page: DayPage, a: Asking): HTMLElement[] {
  return [
    el('section', {'aria-labelledby': 'where'},
      el('h1', {id: 'where'}, 'A new day'),
      el('p', {class: 'answer'}, page.wants.length ? `Give ${listed(page.wants)}, and the letter writes itself.` : 'All is here. Read the picture now, or say more about it first.')),
    picturePart(page, a),
    boundaryPart(page, a),
    questionPart(page, a),
  ];
}

function listed(items: readonly string[]): string {
  return items.length < 2 ? items.join('') : `${items.slice(0, -1).join(', ')} and ${items[items.length - 1] ?? ''}`;
}

/** A place to drop a file, or to give its path. */
function giver(page: DayPage, a: Asking, role: string, what: string, hint: string): HTMLElement {
  const box = el('div', {class: 'giver'});
  const bar = el('progress', {max: '1', value: '0', hidden: true, 'aria-label': `Copying ${what}`});
  let stop: AbortController | null = null;
  const cancel = el('button', {type: 'button', hidden: true, click: () => stop?.abort()}, 'Stop copying');
  const take = (files: FileList | null): void => {
    void tell(box, async () => {
      for (const file of Array.from(files ?? [])) {
        stop = new AbortController();
        bar.hidden = cancel.hidden = false;
        try {
          const next = await send<DayPage>(dayPath(page.id, `take?role=${role}&name=${encodeURIComponent(file.name)}`), file, s => { bar.value = s; }, stop.signal);
          a.changed(next);
          say(`${file.name} was taken.`);
        } finally {
          bar.hidden = cancel.hidden = true;
        }
      }
    });
  };
  const input = el('input', {type: 'file', id: `file-${role}`, multiple: role === 'picture', change: e => take((e.currentTarget as HTMLInputElement).files)});
  const path = el('input', {type: 'text', id: `path-${role}`, placeholder: 'C:\\flights\\field.tif', autocomplete: 'off', spellcheck: 'false'});
  box.addEventListener('dragover', e => {
    e.preventDefault();
    box.classList.add('over');
  });
  box.addEventListener('dragleave', () => box.classList.remove('over'));
  box.addEventListener('drop', e => {
    e.preventDefault();
    box.classList.remove('over');
    take(e.dataTransfer?.files ?? null);
  });
  box.append(
    el('p', {}, hint),
    el('label', {for: `file-${role}`}, `Drop ${what} here, or choose it`), input,
    el('form', {submit: e => {
      e.preventDefault();
      void tell(box, async () => a.changed(await post<DayPage>(dayPath(page.id, 'path'), {role, path: path.value})));
    }}, el('label', {for: `path-${role}`}, 'Or give its path: then it stays where it is and is not copied'), path, el('button', {type: 'submit'}, 'Take it from there')),
    bar, cancel);
  return box;
}

function picturePart(page: DayPage, a: Asking): HTMLElement {
  const p = page.picture;
  const box = el('section', {'aria-labelledby': 'ask-picture'}, el('h2', {id: 'ask-picture'}, 'The picture'));
  if (!p) {
    box.append(giver(page, a, 'picture', 'the picture', 'The flight as your stitching program wrote it: a GeoTIFF, or several of one flight. It is read and never changed.'));
    return box;
  }
  box.append(el('p', {}, `${p.file}: ${p.sensor}` + (p.acres ? `, covering ${p.acres.toFixed(1)} acres` : '') +
    (p.pixel_m ? `, a pixel is ${(p.pixel_m / 0.0254).toFixed(1)} inches on the ground` : '') + (p.dated ? `, dated ${p.dated}` : '') + '.'));
  for (const m of p.missing) box.append(el('p', {class: 'refused'}, `${m.what}. ${m.do}`));
  for (const w of p.warnings) box.append(el('p', {class: 'doubt'}, `${w.says} ${w.settle.replace(/ with --[a-z-]+/g, '')}`));
  if (p.bands.some(b => /guess|no name/.test(b.how)) || p.missing.length > 0) box.append(bandsForm(page, a));
  box.append(el('p', {}, el('button', {type: 'button', click: () => {
    void tell(box, async () => a.changed(await post<DayPage>(dayPath(page.id, 'drop'), {role: 'picture'})));
  }}, 'Take another picture')));
  return box;
}

function bandsForm(page: DayPage, a: Asking): HTMLElement {
  const form = el('form', {submit: e => {
    e.preventDefault();
    void tell(form, async () => a.changed(await post<DayPage>(dayPath(page.id, 'answer'), {bands: input.value.split(',').map(s => s.trim()).filter(s => s)})));
  }});
  const guess = page.picture?.bands.map(b => b.name).join(', ') ?? '';
  const input = el('input', {type: 'text', id: 'ask-bands', value: guess, autocomplete: 'off'});
  form.append(el('label', {for: 'ask-bands'}, 'Which colours does the camera store, in order? This is the guess'), input, el('button', {type: 'submit'}, 'That is right'));
  return form;
}

function boundaryPart(page: DayPage, a: Asking): HTMLElement {
  const b = page.boundary;
  const box = el('section', {'aria-labelledby': 'ask-boundary'}, el('h2', {id: 'ask-boundary'}, 'The field'));
  if (b && !b.problem) {
    box.append(
      el('p', {}, `${b.name || 'The field'}, ${(b.acres ?? 0).toFixed(1)} acres.`),
      el('p', {}, el('button', {type: 'button', click: () => {
        void tell(box, async () => a.changed(await post<DayPage>(dayPath(page.id, 'drop'), {role: 'boundary'})));
      }}, 'Give another boundary')));
    return box;
  }
  if (b?.problem) {
    box.append(el('p', {class: 'refused', role: 'alert'}, b.problem.replace(/ with --field/, '')));
    const name = el('input', {type: 'text', id: 'ask-field', value: page.asked.field});
    box.append(el('form', {submit: e => {
      e.preventDefault();
      void tell(box, async () => a.changed(await post<DayPage>(dayPath(page.id, 'answer'), {field: name.value})));
    }}, el('label', {for: 'ask-field'}, 'Which field is it?'), name, el('button', {type: 'submit'}, 'This one')));
  }
  if (page.picture && page.picture.missing.length === 0) {
    box.append(el('p', {}, el('button', {type: 'button', id: 'draw-boundary', click: () => {
      void tell(box, () => a.drawing());
    }}, 'Draw it on the picture')));
  } else {
    box.append(el('p', {class: 'quiet'}, 'Once the picture is here, the boundary can be drawn on it.'));
  }
  box.append(giver(page, a, 'boundary', 'the boundary', 'Or a file of it: GeoJSON, KML or KMZ, a zipped shapefile, GeoPackage.'));
  return box;
}

/** What is asked in the letter, also of a day that is done. */
export function questionPart(page: DayPage, a: Asking): HTMLElement {
  const asked = page.asked;
  const box = el('section', {'aria-labelledby': 'ask-about'}, el('h2', {id: 'ask-about'}, 'What to look for, and when'));
  const form = el('form', {class: 'ask', submit: e => {
    e.preventDefault();
    void save();
  }});
  const choose = el('select', {id: 'ask-question'}, ...page.questions.map(q =>
    el('option', {value: q, selected: q === asked.question}, `${q}: ${questions[q] ?? q}`)));
  const text = (id: string, label: string, value: string | number | null, kind = 'text', hint = ''): [HTMLElement, HTMLInputElement] => {
    const input = el('input', {type: kind, id, value: value ?? '', placeholder: hint, autocomplete: 'off'});
    return [el('div', {class: 'line'}, el('label', {for: id}, label), input), input];
  };
  const [flownLine, flown] = text('ask-flown', 'Flown on', local(asked.flown), 'datetime-local');
  const [treatedLine, treated] = text('ask-treated', 'Treated on', asked.treated.slice(0, 10), 'date');
  const [swathLine, swath] = text('ask-swath', 'Swath of that treatment, feet', asked.swath_ft, 'text', '65');
  const [headingLine, heading] = text('ask-heading', 'Heading of its passes, degrees from north', asked.spray_heading_deg, 'text', '0');
  const save = async (): Promise<void> => {
    await tell(form, async () => {
      a.changed(await post<DayPage>(dayPath(page.id, 'answer'), {
        question: choose.value, flown: flown.value, treated: treated.value, swath_ft: swath.value, spray_heading_deg: heading.value,
      }));
      say('Written down.');
    });
  };
  form.append(
    el('div', {class: 'line'}, el('label', {for: 'ask-question'}, 'Looking for'), choose),
    flownLine, treatedLine, swathLine, headingLine,
    el('p', {class: 'quiet'}, 'What is not known may stay empty: it becomes a doubt in the letter, nothing more.'),
    el('button', {type: 'submit'}, 'Write it down'));
  box.append(form, go(page, a, async () => save()));
  return box;
}

/** A date with a time for the browser's own control. */
function local(text: string): string {
  return text.length === 10 ? text + 'T12:00' : text.slice(0, 16);
}

/** The button that begins the run. */
function go(page: DayPage, a: Asking, first: () => Promise<void>): HTMLElement {
  const box = el('div', {class: 'go'});
  box.append(el('button', {type: 'button', class: 'main', id: 'go', disabled: page.wants.length > 0, click: () => {
    void tell(box, async () => {
      await first();
      await post(dayPath(page.id, 'run'));
      a.changed(await get<DayPage>(dayPath(page.id)));
    });
  }}, page.day ? 'Read the picture again' : 'Read the picture'));
  if (page.wants.length) box.append(el('p', {class: 'quiet'}, `Waits for ${listed(page.wants)}.`));
  return box;
}

interface Line {
  readonly key: string;
  readonly label: string;
  readonly hint: string;
  readonly words?: boolean;
}

const priceLines: readonly Line[] = [
  {key: 'crop_dollars_per_bushel', label: 'Price of the crop, dollars a bushel', hint: ''},
  {key: 'yield_bushels_per_acre', label: 'Yield you expect, bushels an acre', hint: ''},
  {key: 'loss_percent', label: 'Yield lost on that ground when it is left, percent', hint: ''},
  {key: 'control_percent', label: 'Share of the weeds that treating kills, percent', hint: ''},
];

const applicatorLines: readonly Line[] = [
  {key: 'name', label: 'Who or what applies', hint: 'plane', words: true},
  {key: 'swath_ft', label: 'Swath, feet', hint: ''},
  {key: 'speed_mph', label: 'Speed, miles an hour', hint: ''},
  {key: 'turn_s', label: 'A turn, seconds', hint: ''},
  {key: 'tank_gallons', label: 'Tank, gallons', hint: ''},
  {key: 'charge.per_acre_dollars', label: 'Charge, dollars an acre', hint: ''},
  {key: 'charge.minimum_acres', label: 'Least acres that are charged', hint: ''},
  {key: 'charge.call_out_dollars', label: 'Charge for coming out, dollars', hint: ''},
];

/** The typed files as lines to fill in; every figure is the grower's own. */
export function typedForms(page: DayPage, a: Asking): HTMLElement {
  return el('details', {}, el('summary', {}, page.typed['prices'] ? 'Your figures' : 'Give prices and an applicator, and the money is reckoned'),
    typedForm(page, a, 'prices', 'Prices', priceLines, {}),
    typedForm(page, a, 'applicator', 'Who applies', applicatorLines, applicatorChoices),
    el('p', {class: 'quiet'}, 'Nothing is filled in for you. Products and rates come from the label: put a products file into the folder of what was given.'));
}

const applicatorChoices: Readonly<Record<string, readonly string[]>> = {kind: ['aircraft', 'ground rig', 'spray drone', 'by hand']};

function typedForm(page: DayPage, a: Asking, kind: string, title: string, lines: readonly Line[], choices: Readonly<Record<string, readonly string[]>>): HTMLElement {
  const values = page.typed[kind] ?? {};
  const fields: {readonly key: string; readonly words: boolean; readonly value: () => string}[] = [];
  const form = el('form', {class: 'ask', submit: e => {
    e.preventDefault();
    void tell(form, async () => {
      a.changed(await post<DayPage>(dayPath(page.id, `type/${kind}`), gathered()));
      say('Written down.');
    });
  }}, el('h3', {}, title));
  for (const [key, names] of Object.entries(choices)) {
    const select = el('select', {id: `${kind}-${key}`}, ...names.map(n => el('option', {value: n, selected: n === values[key]}, n)));
    fields.push({key, words: true, value: () => select.value});
    form.append(el('div', {class: 'line'}, el('label', {for: `${kind}-${key}`}, 'Kind'), select));
  }
  for (const l of lines) {
    const id = `${kind}-${l.key.replace('.', '-')}`;
    const input = el('input', {type: 'text', inputmode: l.words ? 'text' : 'decimal', id, value: String(inside(values, l.key) ?? ''), placeholder: l.hint, autocomplete: 'off'});
    fields.push({key: l.key, words: l.words ?? false, value: () => input.value.trim()});
    form.append(el('div', {class: 'line'}, el('label', {for: id}, l.label), input));
  }
  const gathered = (): Record<string, unknown> => {
    const out: Record<string, unknown> = structuredClone(values) as Record<string, unknown>;
    for (const f of fields) {
      const text = f.value();
      const [table, key] = f.key.includes('.') ? (f.key.split('.') as [string, string]) : ['', f.key];
      const into = table ? ((out[table] ??= {}) as Record<string, unknown>) : out;
      if (text === '') delete into[key];
      else if (f.words) into[key] = text;
      else if (Number.isFinite(Number(text.replace(/[$,]/g, '')))) into[key] = Number(text.replace(/[$,]/g, ''));
      else throw new Refused(`${text} is not a number. Write figures only.`);
      if (table && Object.keys(into).length === 0) delete out[table];
    }
    return out;
  };
  form.append(el('button', {type: 'submit'}, 'Write it down'));
  return form;
}

function inside(values: Readonly<Record<string, unknown>>, key: string): unknown {
  const [table, name] = key.split('.');
  if (name === undefined) return values[key];
  const t = values[table ?? ''];
  return typeof t === 'object' && t !== null ? (t as Record<string, unknown>)[name] : undefined;
}

