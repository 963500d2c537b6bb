// What the program says and takes. The names are those of internal/app; a Go test
// compares the two.

export interface DayRow {
  readonly id: string;
  readonly state: string;
  readonly field: string;
  readonly question: string;
  readonly flown: string;
  readonly acres: number | null;
  readonly answer: readonly string[];
}

export interface Part {
  readonly stage: string;
  readonly says: readonly string[];
}

export interface Going {
  readonly what: string;
  readonly going: boolean;
  readonly stage: string;
  readonly share: number | null;
  readonly rate: number | null;
  readonly unit: string;
  readonly left_s: number | null;
  readonly parts: readonly Part[];
  readonly problem: string | null;
}

export interface Warning {
  readonly about: string;
  readonly says: string;
  readonly settle: string;
}

export interface Asked {
  readonly field: string;
  readonly question: string;
  readonly flown: string;
  readonly treated: string;
  readonly before_flown: string;
  readonly units: string;
  readonly swath_ft: number | null;
  readonly spray_heading_deg: number | null;
  readonly boundary: string;
  readonly imagery: readonly string[] | null;
  readonly bands: readonly string[] | null;
  readonly before: string;
  readonly levees: string;
  readonly marks: string;
  readonly strip: string;
  readonly prices: string;
  readonly products: string;
  readonly sightings: string;
  readonly applicators: readonly string[] | null;
}

export interface Band {
  readonly name: string;
  readonly file: string;
  readonly index: number;
  readonly how: string;
}

export interface Description {
  readonly file: string;
  readonly pixel_m: number | null;
  readonly acres: number | null;
  readonly sensor: string;
  readonly dated: string | null;
  readonly bands: readonly Band[];
  readonly can_ask: readonly string[];
  readonly missing: readonly {readonly what: string; readonly do: string}[];
  readonly warnings: readonly Warning[];
}

export interface BoundaryShown {
  readonly name: string;
  readonly acres: number | null;
  readonly problem: string | null;
}

export interface Hint {
  readonly cause: string;
  readonly for: readonly string[];
  readonly against: readonly string[];
  readonly look_for: string;
}

export interface Suspect {
  readonly id: string;
  readonly letter: string | null;
  readonly check: string;
  readonly acres: number;
  readonly severity: string;
  readonly look: string;
  readonly state: string;
  readonly place: string;
  readonly hints: readonly Hint[];
}

export interface Check {
  readonly id: string;
  readonly acres: number;
  readonly standing: {readonly spreads: number; readonly apart: boolean; readonly look: string | null} | null;
}

export interface Block {
  readonly id: string;
  readonly applicator: string;
  readonly acres: number;
  readonly valve_on_acres: number;
  readonly runs: number;
  readonly heading_deg: number;
  readonly wind_not_from_deg: readonly (readonly [number, number])[] | null;
}

export interface IndexShown {
  readonly name: string;
  readonly title: string;
  readonly formula: string;
  readonly source: string;
  readonly low: number;
  readonly high: number;
}

export interface Under {
  readonly says: string;
  readonly id: string;
}

export interface Reckoned {
  readonly answer: readonly string[];
  readonly words: Words;
}

export interface Day {
  readonly question: string;
  readonly flown: string | null;
  readonly before_flown: string | null;
  readonly answer: readonly string[];
  readonly imagery: {readonly indices: readonly IndexShown[]};
  readonly warnings: readonly Warning[];
  readonly field: {readonly name: string; readonly acres: number};
  readonly left_out: readonly {readonly reason: string; readonly acres: number}[];
  readonly checks: readonly Check[];
  readonly levees: {readonly found: string; readonly feet: number; readonly weeds_feet: number | null};
  readonly suspects: readonly Suspect[];
  readonly killed: {readonly acres: number};
  readonly skips: {readonly verdict: string; readonly why: string} | null;
  readonly blocks: readonly Block[];
  readonly reckoning: object | null;
  readonly job: {readonly state: string; readonly why_draft: readonly string[]; readonly revision: number; readonly code: string} | null;
}

export interface MoneyRow {
  readonly id: string;
  readonly name: string;
  readonly area: string;
  readonly cost: string;
  readonly loss: string;
  readonly note: string;
  readonly chosen: boolean;
}

export interface Words {
  readonly where: string;
  readonly how_sure: string;
  readonly missed: string;
  readonly cost: string;
  readonly killed: string;
  readonly ground: string;
  readonly notes: readonly string[];
  readonly flips: readonly string[];
  readonly area: Readonly<Record<string, string>>;
  readonly comes: Readonly<Record<string, string>>;
  readonly chance: Readonly<Record<string, string>>;
  readonly small: string;
  readonly money: readonly MoneyRow[];
  readonly caution: readonly string[];
}

export interface FileShown {
  readonly name: string;
  readonly what: string;
}

export interface DayPage {
  readonly id: string;
  readonly state: string;
  readonly folder: string;
  readonly asked: Asked;
  readonly typed: Readonly<Record<string, Readonly<Record<string, unknown>>>>;
  readonly picture: Description | null;
  readonly boundary: BoundaryShown | null;
  readonly wants: readonly string[];
  readonly questions: readonly string[];
  readonly stale: boolean;
  readonly problem: string | null;
  readonly day: Day | null;
  readonly words: Words | null;
  readonly sheets: readonly FileShown[];
  readonly files: readonly FileShown[];
}

export interface ViewShown {
  readonly extent: readonly [number, number, number, number];
  readonly pixels: readonly number[];
  readonly tile: number;
  readonly meters_per_unit: number;
  readonly crs: string;
  readonly why: string | null;
  readonly reasons: readonly string[];
  readonly field: readonly [number, number, number, number];
  readonly has_departure: boolean;
  readonly has_before: boolean;
  readonly indices: readonly IndexShown[];
  readonly ramp: readonly string[];
}

export type PointXY = readonly [number, number];

export interface Shape {
  readonly id: string;
  readonly letter: string;
  readonly severity: string;
  readonly state: string;
  readonly heading: number | null;
  readonly label: PointXY;
  readonly rings: readonly (readonly PointXY[])[];
  readonly lines: readonly (readonly PointXY[])[];
  readonly extent: readonly [number, number, number, number];
}

export interface Shapes {
  readonly field: readonly Shape[] | null;
  readonly suspects: readonly Shape[] | null;
  readonly killed: readonly Shape[] | null;
  readonly checks: readonly Shape[] | null;
  readonly levees: readonly Shape[] | null;
  readonly skips: readonly Shape[] | null;
  readonly blocks: readonly Shape[] | null;
  readonly runs: readonly Shape[] | null;
}

/** A Refused carries the one sentence that says what was not done and why. */
export class Refused extends Error {}

const gone = 'The program does not answer. What was written is safe on the disk; start bittern again and open the address that it prints.';

async function answer<T>(path: string, init: RequestInit): Promise<T> {
  let res: Response;
  try {
    res = await fetch(path, init);
  } catch (e) {
    if (init.signal?.aborted) throw e;
    throw new Refused(gone);
  }
  const text = await res.text();
  if (res.ok) return JSON.parse(text) as T;
  let says = text;
  try {
    says = (JSON.parse(text) as {says: string}).says;
  } catch {
    // plain words already
  }
  throw new Refused(sentence(says));
}

/** A sentence of the program as one stands on a page; a file keeps its own letters. */
export function sentence(s: string): string {
  const text = /^[\w-]+\.\w/.test(s) ? s : s.charAt(0).toUpperCase() + s.slice(1);
  return /[.!?]$/.test(text) ? text : text + '.';
}

export function get<T>(path: string): Promise<T> {
  return answer<T>(path, {});
}

export function post<T>(path: string, body: unknown = {}): Promise<T> {
  return answer<T>(path, {method: 'POST', headers: {'Content-Type': 'application/json'}, body: JSON.stringify(body)});
}

/** Sends a file as it is, and tells how much of it has gone. */
export function send<T>(path: string, file: File, gone01: (share: number) => void, signal: AbortSignal): Promise<T> {
  return new Promise<T>((resolve, reject) => {
    const req = new XMLHttpRequest();
    req.open('POST', path);
    req.upload.onprogress = e => {
      if (e.lengthComputable) gone01(e.loaded / e.total);
    };
    req.onload = () => {
      if (req.status >= 200 && req.status < 300) {
        resolve(JSON.parse(req.responseText) as T);
        return;
      }
      let says = req.responseText;
      try {
        says = (JSON.parse(says) as {says: string}).says;
      } catch {
        // plain words already
      }
      reject(new Refused(sentence(says || 'It was not taken')));
    };
    req.onerror = () => reject(new Refused(gone));
    req.onabort = () => reject(new Refused('Stopped; nothing of it was kept.'));
    signal.addEventListener('abort', () => req.abort());
    req.send(file);
  });
}

export function dayPath(id: string, rest = ''): string {
  return 'days/' + encodeURIComponent(id) + (rest && '/' + rest);
}
