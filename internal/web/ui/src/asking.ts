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
    placesPart(page, a),
    questionPart(page, a),
  ];
}

/** A file that a day may be given beside its picture and boundary. */
interface Place {
  readonly role: 'before' | 'levees' | 'marks' | 'strip';
  readonly title: string;
  readonly what: string;
  readonly why: string;
}

const places: readonly Place[] = [
  {role: 'before', title: 'The flight before', what: 'the earlier picture',
    why: 'A flight of the same field before the treatment worked: what stands out on both dates lived. It is laid back on the new one by the levees and tracks on both.'},
  {role: 'levees', title: 'Levees', what: 'the levees', why: 'The lines of your levees, from the survey or the levee plow. They go before those found in the picture.'},
  {role: 'marks', title: 'Marks', what: 'the marks', why: 'Places you know: inlets, outlets, gates, wires, poles, pads, neighbours. Each has a property "mark" with that word.'},
  {role: 'strip', title: 'A strip with extra nitrogen', what: 'the strip', why: 'Its outline, with properties "pounds_per_acre" and "date".'},
];

/** What only the grower knows, as files; each waits closed. */
export function placesPart(page: DayPage, a: Asking): HTMLElement {
  return el('section', {'aria-labelledby': 'ask-places'}, el('h2', {id: 'ask-places'}, 'What the picture cannot know'),
    ...places.map(p => {
      const given = page.asked[p.role];
      const box = el('details', {}, el('summary', {}, p.title + (given ? ': ' + baseName(given) : '')));
      if (!given) {
        box.append(giver(page, a, p.role, p.what, p.why));
        return box;
      }
      if (p.role === 'before') box.append(beforeFlown(page, a));
      box.append(el('p', {}, el('button', {type: 'button', click: () => {
        void tell(box, async () => a.changed(await post<DayPage>(dayPath(page.id, 'drop'), {role: p.role})));
      }}, `Take ${baseName(given)} out again`)));
      return box;
    }));
}

function baseName(path: string): string {
  return path.split(/[\\/]/).pop() ?? path;
}

function beforeFlown(page: DayPage, a: Asking): HTMLElement {
  const input = el('input', {type: 'date', id: 'ask-before-flown', value: page.asked.before_flown.slice(0, 10)});
  const form = el('form', {class: 'ask', submit: e => {
    e.preventDefault();
    void tell(form, async () => {
      a.changed(await post<DayPage>(dayPath(page.id, 'answer'), {before_flown: input.value}));
      say('Written down.');
    });
  }}, el('label', {for: 'ask-before-flown'}, 'The earlier flight was on'), input, el('button', {type: 'submit'}, 'Write it down'));
  return form;
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
    if (page.picture && page.picture.missing.length === 0) {
      box.append(el('p', {}, el('button', {type: 'button', id: 'draw-boundary', click: () => {
        void tell(box, () => a.drawing());
      }}, 'Draw it anew on the picture')));
    }
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
  return el('details', {}, el('summary', {}, page.typed['prices'] ? 'Your figures' : 'Your figures: prices, who applies, products'),
    typedForm(page, a, 'prices', 'Prices', priceLines, {}),
    typedForm(page, a, 'applicator', 'Who applies', applicatorLines, applicatorChoices),
    productsForm(page, a),
    el('p', {class: 'quiet'}, 'Nothing is filled in for you: prices are yours, products and rates are copied from the label.'));
}

const mixLines: readonly Line[] = [
  {key: 'copied_from_label_on', label: 'Copied from the label on', hint: 'year-month-day', words: true},
  {key: 'carrier_gallons_per_acre', label: 'Water, gallons an acre', hint: ''},
];

const productLines: readonly Line[] = [
  {key: 'name', label: 'Product', hint: '', words: true},
  {key: 'registration', label: 'Registration number on the label', hint: '', words: true},
  {key: 'rate', label: 'Rate', hint: ''},
  {key: 'rate_unit', label: 'Unit of the rate, like qt/ac', hint: 'oz, pt, qt, gal, lb, g, kg, L, mL per ac or ha', words: true},
  {key: 'dollars_per_unit', label: 'Dollars for one of that unit', hint: ''},
  {key: 'max_per_season', label: 'Most that is allowed in a season', hint: ''},
  {key: 'rei_hours', label: 'Hours before anyone may enter (REI)', hint: ''},
  {key: 'phi_days', label: 'Days before harvest (PHI)', hint: ''},
];

/** The tank mix as typed from the label, in mixing order. */
function productsForm(page: DayPage, a: Asking): HTMLElement {
  const kept = page.typed['products'] ?? {};
  const list = Array.isArray(kept['product']) ? (kept['product'] as readonly Readonly<Record<string, unknown>>[]) : [];
  const mix = linesOf('products', mixLines, kept);
  const rows = el('div', {});
  const products: (() => Record<string, unknown>)[] = [];
  const more = (values: Readonly<Record<string, unknown>>): void => {
    const n = products.length + 1;
    const lines = linesOf(`product-${n}`, productLines, values);
    products.push(lines.gathered);
    rows.append(el('fieldset', {}, el('legend', {}, `Product ${n}, in mixing order`), ...lines.rows));
  };
  for (const p of list.length ? list : [{}]) more(p);
  const form = el('form', {class: 'ask', submit: e => {
    e.preventDefault();
    void tell(form, async () => {
      const product = products.map(p => p()).filter(p => Object.keys(p).length > 0);
      const all = mix.gathered();
      if (product.length) all['product'] = product;
      else delete all['product'];
      a.changed(await post<DayPage>(dayPath(page.id, 'type/products'), all));
      say('Written down.');
    });
  }}, el('h3', {}, 'Products, as the label has them'), ...mix.rows, rows,
  el('button', {type: 'button', click: () => more({})}, 'Another product'), ' ', el('button', {type: 'submit'}, 'Write it down'));
  return form;
}

/** Lines to fill in, and what was filled in. */
function linesOf(prefix: string, lines: readonly Line[], values: Readonly<Record<string, unknown>>): {rows: HTMLElement[]; gathered: () => Record<string, unknown>} {
  const inputs = lines.map(l => el('input', {type: 'text', inputmode: l.words ? 'text' : 'decimal', id: `${prefix}-${l.key.replace('.', '-')}`,
    value: String(inside(values, l.key) ?? ''), placeholder: l.hint, autocomplete: 'off'}));
  const rows = lines.map((l, i) => el('div', {class: 'line'}, el('label', {for: inputs[i]?.id ?? ''}, l.label), inputs[i]));
  const gathered = (): Record<string, unknown> => {
    const out = structuredClone(values) as Record<string, unknown>;
    lines.forEach((l, i) => put(out, l, inputs[i]?.value.trim() ?? ''));
    return out;
  };
  return {rows, gathered};
}

/** Puts what was typed where the typed file has it. */
function put(out: Record<string, unknown>, l: Line, text: string): void {
  const [table, key] = l.key.includes('.') ? (l.key.split('.') as [string, string]) : ['', l.key];
  const into = table ? ((out[table] ??= {}) as Record<string, unknown>) : out;
  const figure = Number(text.replace(/[$,]/g, ''));
  if (text === '') delete into[key];
  else if (l.words) into[key] = text;
  else if (Number.isFinite(figure)) into[key] = figure;
  else throw new Refused(`${text} is not a number. Write figures only.`);
  if (table && Object.keys(into).length === 0) delete out[table];
}

const applicatorChoices: Readonly<Record<string, readonly string[]>> = {kind: ['aircraft', 'ground rig', 'spray drone', 'by hand']};

function typedForm(page: DayPage, a: Asking, kind: string, title: string, lines: readonly Line[], choices: Readonly<Record<string, readonly string[]>>): HTMLElement {
  const values = page.typed[kind] ?? {};
  const chosen = Object.entries(choices).map(([key, names]) => {
    const select = el('select', {id: `${kind}-${key}`}, ...names.map(n => el('option', {value: n, selected: n === values[key]}, n)));
    return {key, select, row: el('div', {class: 'line'}, el('label', {for: select.id}, 'Kind'), select)};
  });
  const typed = linesOf(kind, lines, values);
  const form = el('form', {class: 'ask', submit: e => {
    e.preventDefault();
    void tell(form, async () => {
      const all = typed.gathered();
      for (const c of chosen) all[c.key] = c.select.value;
      a.changed(await post<DayPage>(dayPath(page.id, `type/${kind}`), all));
      say('Written down.');
    });
  }}, el('h3', {}, title), ...chosen.map(c => c.row), ...typed.rows, el('button', {type: 'submit'}, 'Write it down'));
  return form;
}

function inside(values: Readonly<Record<string, unknown>>, key: string): unknown {
  const [table, name] = key.split('.');
  if (name === undefined) return values[key];
  const t = values[table ?? ''];
  return typeof t === 'object' && t !== null ? (t as Record<string, unknown>)[name] : undefined;
}

