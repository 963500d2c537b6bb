// The picture beside the letter: the flight in its own projection with north up,
// what is seen through it one at a time, and our marks on top.
import Feature from 'ol/Feature.js';
import OlMap from 'ol/Map.js';
import View from 'ol/View.js';
import {defaults as interactions} from 'ol/interaction/defaults.js';
import LineString from 'ol/geom/LineString.js';
import MultiLineString from 'ol/geom/MultiLineString.js';
import Point from 'ol/geom/Point.js';
import Polygon from 'ol/geom/Polygon.js';
import TileLayer from 'ol/layer/Tile.js';
import VectorLayer from 'ol/layer/Vector.js';
import Projection from 'ol/proj/Projection.js';
import TileImage from 'ol/source/TileImage.js';
import VectorSource from 'ol/source/Vector.js';
import CircleStyle from 'ol/style/Circle.js';
import Fill from 'ol/style/Fill.js';
import Stroke from 'ol/style/Stroke.js';
import Style from 'ol/style/Style.js';
import Text from 'ol/style/Text.js';
import TileGrid from 'ol/tilegrid/TileGrid.js';
import {getRenderPixel} from 'ol/render.js';
import {dayPath, get, type IndexShown, type PointXY, type Shape, type Shapes, type Under, type ViewShown} from './api.js';
import {el, say} from './dom.js';

const squareMetersPerAcre = 4046.8564224; // international acre
const feetPerMeter = 1 / 0.3048;

interface Inks {
  readonly ink: string;
  readonly ground: string;
  readonly plum: string;
  readonly teal: string;
  readonly quiet: string;
}

function inks(): Inks {
  const css = getComputedStyle(document.documentElement);
  const of = (name: string): string => css.getPropertyValue(name).trim();
  return {ink: of('--ink'), ground: of('--ground'), plum: of('--plum'), teal: of('--teal'), quiet: of('--quiet')};
}

/** Told how a boundary stands while it is drawn: its acres, its corners, and whether its lines cross. */
type Grown = (acres: number, corners: number, crossing: boolean) => void;

/** Whether two sides of a ring of corners cross, as those of a figure of eight do. */
function crosses(ring: readonly PointXY[]): boolean {
  const side = (a: PointXY, b: PointXY, p: PointXY): number => Math.sign((b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]));
  const sides = ring.map((p, i): [PointXY, PointXY] => [p, ring[(i + 1) % ring.length] ?? p]);
  return sides.some(([a, b], i) => sides.slice(i + 2).some(([c, d]) =>
    a !== d && side(a, b, c) * side(a, b, d) < 0 && side(c, d, a) * side(c, d, b) < 0));
}

/** The picture of one day. */
export class Picture {
  private readonly map: OlMap;
  private readonly view: View;
  private readonly over: TileLayer<TileImage>;
  private readonly earlier: TileLayer<TileImage>;
  private readonly swipe: Swipe;
  private readonly legend = el('p', {class: 'legend', hidden: true});
  private asked = 0; // counts what was asked of the ground, so that a late answer knows that it is late
  private asking: ReturnType<typeof setTimeout> | undefined;
  private readonly marks = new VectorSource();
  private readonly drawn = new VectorSource();
  private readonly under: HTMLElement;
  private readonly scale: HTMLElement;
  private readonly cross: HTMLElement;
  private readonly whole: [number, number, number, number];
  private corners: PointXY[] = [];
  private shapes: Shapes = {field: [], suspects: [], killed: [], checks: [], levees: [], skips: [], blocks: [], runs: []};
  private drawing = false;
  private chosen = '';
  private about = 'suspects';
  private readonly styles = new Map<string, Style | Style[] | undefined>();
  private grown: Grown = () => undefined;
  private closed: () => void = () => undefined;
  private readonly calm = matchMedia('(prefers-reduced-motion: reduce)').matches;

  constructor(
    private readonly at: HTMLElement, private readonly id: string, private readonly stamp: string,
    private readonly shown: ViewShown, dates: readonly [string, string],
    private readonly named: (shape: Shape) => string, private readonly touched: (id: string) => void,
  ) {
    const [minX, minY, maxX, maxY] = shown.extent;
    this.whole = [minX, minY, maxX, maxY];
    const projection = new Projection({code: 'picture', units: 'm', extent: this.whole, metersPerUnit: shown.meters_per_unit});
    const finest = shown.pixels[shown.pixels.length - 1] ?? 1;
    const grid = new TileGrid({origin: [minX, maxY], resolutions: [...shown.pixels], tileSize: shown.tile, extent: this.whole});
    this.view = new View({
      projection, center: [(minX + maxX) / 2, (minY + maxY) / 2], resolution: shown.pixels[0] ?? 1,
      minResolution: finest / 4, maxResolution: (shown.pixels[0] ?? 1) * 4, extent: this.whole, constrainOnlyCenter: true,
      enableRotation: false, smoothResolutionConstraint: true, showFullExtent: true,
    });
    const tiles = (what: string): TileImage => new TileImage({
      projection, tileGrid: grid, wrapX: false, transition: 0,
      tileUrlFunction: c => this.tile(what, c[0] ?? 0, c[1] ?? 0, c[2] ?? 0),
    });
    this.over = new TileLayer({source: tiles('departure'), visible: false, className: 'over'});
    this.over.set('of', tiles);
    this.earlier = new TileLayer({source: tiles('before'), visible: false, className: 'earlier'});
    this.swipe = new Swipe(dates, () => this.map.render());
    this.swipe.clip(this.earlier);
    this.under = el('p', {class: 'under'});
    this.scale = el('p', {class: 'scale'});
    this.cross = el('div', {class: 'cross', hidden: true, 'aria-hidden': 'true'});
    const ground = el('div', {class: 'ground', tabindex: '0', role: 'application', 'aria-label':
      'Picture of the field. Arrow keys move it, plus and minus bring it nearer and farther. Enter says what lies in its middle. All that is on it stands in the letter too.'});
    at.replaceChildren(ground, this.swipe.box, this.cross, el('div', {class: 'foot'}, this.legend, this.under, this.scale), this.hand());
    this.map = new OlMap({
      target: ground, view: this.view, controls: [], keyboardEventTarget: ground,
      interactions: interactions({altShiftDragRotate: false, pinchRotate: false, doubleClickZoom: false, zoomDuration: this.calm ? 0 : 200}),
      layers: [
        new TileLayer({source: tiles('plain'), preload: 2}),
        this.earlier,
        this.over,
        new VectorLayer({source: this.marks, style: f => this.style(f as Feature), declutter: false, renderBuffer: 200}),
        new VectorLayer({source: this.drawn, style: f => this.drawnStyle(f as Feature)}),
      ],
    });
    this.fit(this.field());
    this.map.on('moveend', () => this.rule());
    this.map.on('pointermove', e => this.point(e.pixel));
    this.map.on('click', e => this.tap(e.coordinate as [number, number], e.pixel));
    ground.addEventListener('keydown', e => this.key(e));
    ground.addEventListener('focus', () => { this.cross.hidden = !this.drawing && !ground.matches(':focus-visible'); });
    ground.addEventListener('blur', () => { this.cross.hidden = !this.drawing; });
    this.rule();
  }

  /** Waits until the picture is seen, or for as long as anybody would. */
  seen(): Promise<void> {
    return new Promise(done => {
      this.map.once('rendercomplete', () => done());
      setTimeout(done, 1500);
    });
  }

  /** Puts the marks on the picture: they come after it, since a large day has many. */
  put(shapes: Shapes): void {
    this.shapes = shapes;
    this.fill();
    const chosen = this.chosen;
    this.chosen = '';
    if (chosen) this.go(chosen);
  }

  /** Takes the picture off the page. */
  close(): void {
    this.map.setTarget(undefined);
    this.map.dispose();
    this.at.replaceChildren();
  }

  /** Draws the marks again, after the theme changed. */
  repaint(): void {
    this.styles.clear();
    this.marks.changed();
    this.drawn.changed();
  }

  /** Shows one thing through the picture, or nothing. "before" is the earlier flight, to be swiped. */
  show(what: string): void {
    this.earlier.setVisible(what === 'before');
    this.swipe.box.hidden = what !== 'before';
    this.tell(this.shown.indices.find(x => x.name === what));
    if (!what || what === 'before') {
      this.over.setVisible(false);
      return;
    }
    const of = this.over.get('of') as (what: string) => TileImage;
    this.over.setSource(of(what));
    this.over.setVisible(true);
  }

  /** Says which index is shown, and what its colours stand for. */
  private tell(index: IndexShown | undefined): void {
    this.legend.hidden = !index;
    if (!index) return;
    const end = (v: number): string => v.toFixed(2).replace('-', '\u2212');
    this.legend.replaceChildren(el('strong', {}, index.title), el('span', {class: 'formula'}, ` ${index.formula}`), ' ',
      el('span', {class: 'ends'}, end(index.low), rampOf(this.shown.ramp), end(index.high)));
  }

  /** Brings the picture to a shape, and marks it as the one that is read. */
  go(id: string): void {
    if (this.chosen === id) return;
    this.chosen = id;
    this.marks.changed();
    const shape = [...(this.shapes.suspects ?? []), ...(this.shapes.blocks ?? []), ...(this.shapes.checks ?? [])].find(s => s.id === id);
    if (!shape) {
      this.fit(this.field());
      return;
    }
    const [a, b, c, d] = shape.extent;
    const pad = Math.max(c - a, d - b, 40 / this.shown.meters_per_unit) * 0.6;
    this.fit([a - pad, b - pad, c + pad, d + pad]);
  }

  /** Shows what is read about: "suspects", or "blocks" beside them. */
  read(about: string): void {
    if (this.about === about) return;
    this.about = about;
    this.marks.changed();
  }

  /** Shows the whole field. */
  all(): void {
    this.chosen = '';
    this.marks.changed();
    this.fit(this.field());
  }

  /** Begins to draw a boundary; grown is told how it stands, closed when the first corner is met again. */
  draw(grown: Grown, closed: () => void): void {
    this.drawing = true;
    [this.grown, this.closed] = [grown, closed];
    this.corners = [];
    this.cross.hidden = false;
    this.redraw();
    // The picture has just become larger: all of it should be seen.
    this.map.updateSize();
    this.fit(this.whole);
    this.at.querySelector<HTMLElement>('.ground')?.focus();
  }

  /** Takes back the last corner. */
  undo(): void {
    this.corners.pop();
    this.redraw();
  }

  /** Drops a corner in the middle of what is seen. */
  drop(): void {
    const c = this.view.getCenter();
    if (c) this.add([c[0] ?? 0, c[1] ?? 0]);
  }

  /** Ends drawing and returns the corners. */
  drawnCorners(): PointXY[] {
    return [...this.corners];
  }

  stop(): void {
    this.drawing = false;
    this.cross.hidden = true;
    this.corners = [];
    this.redraw();
  }

  private tile(what: string, z: number, x: number, y: number): string {
    return dayPath(this.id, `tile/${encodeURIComponent(what)}/${z}/${x}/${y}?of=${this.stamp}`);
  }

  private hand(): HTMLElement {
    const button = (text: string, name: string, do_: () => void): HTMLElement =>
      el('button', {type: 'button', 'aria-label': name, click: do_}, text);
    return el('div', {class: 'hand'},
      button('Nearer', 'Nearer: bring the picture nearer', () => this.zoom(1)),
      button('Farther', 'Farther: take the picture farther away', () => this.zoom(-1)),
      button('All', 'All of the field', () => this.all()));
  }

  private zoom(by: number): void {
    const z = this.view.getZoom();
    if (z !== undefined) this.view.animate({zoom: z + by, duration: this.calm ? 0 : 200});
  }

  private field(): [number, number, number, number] {
    const [a, b, c, d] = this.shown.field;
    if (c <= a) return this.whole;
    const pad = Math.max(c - a, d - b) * 0.04;
    return [a - pad, b - pad, c + pad, d + pad];
  }

  private fit(extent: [number, number, number, number]): void {
    this.view.fit(extent, {duration: this.calm ? 0 : 200, size: this.map?.getSize() ?? [600, 600]});
  }

  private fill(): void {
    const add = (kind: string, list: readonly Shape[] | null): void => {
      for (const s of list ?? []) {
        if (s.rings.length > 0) {
          // Outlines and holes of one shape: the renderer fills by the even-odd rule.
          const f = new Feature({geometry: new Polygon(s.rings.map(r => r.map(p => [...p])))});
          f.setProperties({kind, shape: s});
          this.marks.addFeature(f);
        }
        if (s.lines.length > 0) {
          const f = new Feature({geometry: new MultiLineString(s.lines.map(l => l.map(p => [...p])))});
          f.setProperties({kind, shape: s});
          this.marks.addFeature(f);
        }
      }
    };
    add('check', this.shapes.checks);
    add('levee', this.shapes.levees);
    add('field', this.shapes.field);
    add('killed', this.shapes.killed);
    add('block', this.shapes.blocks);
    add('run', this.shapes.runs);
    add('skip', this.shapes.skips);
    add('suspect', this.shapes.suspects);
  }

  /** The style of a feature; those without a letter of their own share one. */
  private style(f: Feature): Style | Style[] | undefined {
    const kind = f.get('kind') as string;
    const shape = f.get('shape') as Shape;
    const near = shape.id === this.chosen && kind !== 'field';
    const own = near || shape.letter || kind === 'block' ? shape.id : '';
    const key = `${kind} ${own} ${near} ${shape.severity} ${this.about}`;
    if (!this.styles.has(key)) this.styles.set(key, this.newStyle(kind, shape, near));
    return this.styles.get(key);
  }

  private newStyle(kind: string, shape: Shape, near: boolean): Style | Style[] | undefined {
    const c = inks();
    switch (kind) {
      case 'field':
        return [new Style({stroke: new Stroke({color: c.ground, width: 4})}), new Style({stroke: new Stroke({color: c.ink, width: 2})})];
      case 'check':
        if (!near) return undefined;
        return new Style({stroke: new Stroke({color: c.ink, width: 2, lineDash: [2, 4]})});
      case 'levee':
        return new Style({stroke: new Stroke({color: 'rgba(250,248,242,0.55)', width: 1})});
      case 'killed':
        return new Style({fill: new Fill({color: hatch(c.quiet, 90, 10)}), stroke: new Stroke({color: c.quiet, width: 1, lineDash: [1, 3]})});
      case 'block':
        if (this.about !== 'blocks') return undefined;
        return [
          new Style({stroke: new Stroke({color: c.ground, width: 4})}),
          new Style({fill: new Fill({color: hatch(c.teal, shape.heading ?? 0, 9)}), stroke: new Stroke({color: c.teal, width: 2})}),
          label(shape.id, [shape.label[0], shape.extent[1]], c.teal, c.ground, 12),
        ];
      case 'run':
        return undefined;
      case 'skip':
        return new Style({stroke: new Stroke({color: c.ink, width: 2, lineDash: [8, 4]})});
      case 'suspect': {
        const width = near ? 4 : 2.5;
        const dash = shape.severity === 'faint' ? [7, 5] : undefined;
        const out = [
          new Style({stroke: new Stroke({color: c.ground, width: width + 2})}),
          new Style({stroke: new Stroke(dash ? {color: c.plum, width, lineDash: dash} : {color: c.plum, width}), fill: new Fill({color: 'rgba(0,0,0,0.01)'})}),
        ];
        if (shape.letter) out.push(label(shape.letter, shape.label, c.plum, c.ground, 13));
        return out;
      }
    }
    return undefined;
  }

  private drawnStyle(f: Feature): Style {
    const c = inks();
    if (f.getGeometry() instanceof Point) {
      return new Style({image: new CircleStyle({radius: 7, fill: new Fill({color: c.ground}), stroke: new Stroke({color: c.ink, width: 3})})});
    }
    return new Style({stroke: new Stroke({color: c.ink, width: 3}), fill: new Fill({color: 'rgba(250,248,242,0.25)'})});
  }

  private tap(at: [number, number], pixel: number[]): void {
    if (this.drawing) {
      this.add(at);
      return;
    }
    const hit = this.under_(pixel);
    if (hit) this.touched(hit.id);
    this.ask(at, 0);
  }

  /** Says what lies at a place, once the finger has rested there so long. */
  private ask(at: readonly number[], rest: number, aloud = false): void {
    clearTimeout(this.asking);
    const turn = ++this.asked;
    this.asking = setTimeout(() => {
      void get<Under>(dayPath(this.id, `under?x=${at[0] ?? 0}&y=${at[1] ?? 0}`)).catch(() => null).then(u => {
        if (turn !== this.asked || this.drawing) return;
        this.under.textContent = u?.says ?? '';
        if (aloud && u) say(u.says);
      });
    }, rest);
  }

  private under_(pixel: number[]): Shape | undefined {
    let found: Shape | undefined;
    this.map.forEachFeatureAtPixel(pixel, f => {
      const kind = f.get('kind') as string;
      if (kind === 'suspect' || kind === 'block') {
        found = f.get('shape') as Shape;
        return true;
      }
      return undefined;
    }, {hitTolerance: 8});
    return found;
  }

  private point(pixel: number[]): void {
    if (this.drawing) return;
    const hit = this.under_(pixel);
    if (hit) this.under.textContent = this.named(hit); // at once; the rest of it follows
    this.ask(this.map.getCoordinateFromPixel(pixel), 80);
  }

  private key(e: KeyboardEvent): void {
    if (!this.drawing) {
      const c = this.view.getCenter();
      if (e.key === 'Enter' && c) this.ask(c, 0, true);
      return;
    }
    if (e.key === 'Enter' || e.key === ' ') {
      e.preventDefault();
      this.drop();
    } else if (e.key === 'Backspace' || e.key === 'Delete') {
      e.preventDefault();
      this.undo();
    }
  }

  /** A place, or the corner of the given boundary or of a levee that lies under the same finger. */
  private snapped(at: PointXY, within: number): PointXY {
    let best = at, far = within;
    for (const s of [...(this.shapes.field ?? []), ...(this.shapes.levees ?? [])]) {
      for (const p of [...s.rings, ...s.lines].flat()) {
        const d = Math.hypot(p[0] - at[0], p[1] - at[1]);
        if (d < far) [best, far] = [p, d];
      }
    }
    return best;
  }

  private add(tapped: PointXY): void {
    const first = this.corners[0];
    const res = this.view.getResolution() ?? 1;
    if (first && this.corners.length > 2 && Math.hypot(first[0] - tapped[0], first[1] - tapped[1]) < 14 * res) {
      this.closed(); // the way round ends where it began
      return;
    }
    const at = this.snapped(tapped, 14 * res);
    const last = this.corners[this.corners.length - 1];
    if (last && Math.hypot(last[0] - at[0], last[1] - at[1]) < 4 * res) return;
    this.corners.push([at[0], at[1]]);
    this.redraw();
  }

  private redraw(): void {
    this.drawn.clear();
    const list = this.corners.map(p => [...p]);
    for (const p of list) this.drawn.addFeature(new Feature({geometry: new Point(p)}));
    if (list.length === 2) this.drawn.addFeature(new Feature({geometry: new LineString(list)}));
    let acres = 0;
    if (list.length > 2) {
      const polygon = new Polygon([[...list, [...(list[0] ?? [])]]]);
      this.drawn.addFeature(new Feature({geometry: polygon}));
      acres = (polygon.getArea() * this.shown.meters_per_unit ** 2) / squareMetersPerAcre;
    }
    this.under.textContent = this.drawing && acres > 0 ? acresText(acres) : '';
    this.grown(acres, list.length, crosses(this.corners));
  }

  private rule(): void {
    const res = this.view.getResolution();
    if (!res) return;
    const feet = res * this.shown.meters_per_unit * feetPerMeter * 120;
    const step = 10 ** Math.floor(Math.log10(feet));
    const round = feet / step >= 5 ? 5 * step : feet / step >= 2 ? 2 * step : step;
    const width = Math.round((round / feet) * 120);
    this.scale.replaceChildren(rulerOf(width), `${round.toLocaleString('en-US')} ft`, el('span', {class: 'north', 'aria-label': 'north is up'}, 'N'));
  }
}

/** Two flights beside each other: the earlier one to the left of a line that a hand moves. */
class Swipe {
  readonly box: HTMLElement;
  private readonly line = el('div', {class: 'line', 'aria-hidden': 'true'});
  private share = 0.5;

  constructor(dates: readonly [string, string], private readonly moved: () => void) {
    const input = el('input', {type: 'range', id: 'swipe', min: '0', max: '100', step: '1', value: '50', 'aria-label': `How much is seen of ${dates[0]}, from the left`,
      input: e => {
        this.set(Number((e.currentTarget as HTMLInputElement).value) / 100);
        this.moved();
      }});
    this.box = el('div', {class: 'swipe', hidden: true}, this.line, input,
      el('p', {class: 'then'}, dates[0]), el('p', {class: 'now'}, dates[1]));
    this.set(this.share);
  }

  private set(share: number): void {
    this.share = share;
    this.line.style.left = `${share * 100}%`;
  }

  /** Cuts a layer off at the line. */
  clip(layer: TileLayer<TileImage>): void {
    layer.on('prerender', e => {
      const g = e.context as CanvasRenderingContext2D;
      const size = e.frameState?.size ?? [0, 0];
      const right = (size[0] ?? 0) * this.share, bottom = size[1] ?? 0;
      g.save();
      g.beginPath();
      for (const [x, y] of [[0, 0], [right, 0], [right, bottom], [0, bottom]]) {
        const p = getRenderPixel(e, [x ?? 0, y ?? 0]);
        g.lineTo(p[0] ?? 0, p[1] ?? 0);
      }
      g.closePath();
      g.clip();
    });
    layer.on('postrender', e => (e.context as CanvasRenderingContext2D).restore());
  }
}

const svgName = 'http://www.w3.org/2000/svg';

/** The colours of an index, from the lowest value to the highest. */
function rampOf(colors: readonly string[]): SVGElement {
  const part = (name: string, attributes: Readonly<Record<string, string>>): SVGElement => {
    const e = document.createElementNS(svgName, name);
    for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
    return e;
  };
  const svg = part('svg', {width: '96', height: '12', 'aria-hidden': 'true'});
  const fill = part('linearGradient', {id: 'ramp'});
  colors.forEach((c, i) => fill.append(part('stop', {offset: String(i / (colors.length - 1)), 'stop-color': c})));
  svg.append(fill, part('rect', {width: '96', height: '12', fill: 'url(#ramp)'}));
  return svg;
}

function rulerOf(width: number): SVGElement {
  const svg = document.createElementNS(svgName, 'svg');
  svg.setAttribute('width', String(width));
  svg.setAttribute('height', '10');
  svg.setAttribute('aria-hidden', 'true');
  const path = document.createElementNS(svgName, 'path');
  path.setAttribute('d', `M1 1V9H${width - 1}V1`);
  svg.append(path);
  return svg;
}

/** Acres as a grower says them: tenths from one acre up, hundredths below. */
export function acresText(acres: number): string {
  return acres >= 1 ? `${acres.toFixed(1)} acres` : `${acres.toFixed(2)} acre`;
}

function label(text: string, at: PointXY, ink: string, ground: string, radius: number): Style {
  return new Style({
    geometry: new Point([...at]),
    image: new CircleStyle({radius, fill: new Fill({color: ground}), stroke: new Stroke({color: ink, width: 2})}),
    text: new Text({text, font: `bold ${radius + 2}px system-ui, sans-serif`, fill: new Fill({color: ink})}),
    zIndex: 10,
  });
}

const hatches = new Map<string, CanvasPattern>();

/** Lines along a heading (degrees clockwise from north), a few pixels apart. */
function hatch(color: string, heading: number, spacing: number): CanvasPattern | string {
  const key = `${color} ${Math.round(heading)} ${spacing}`;
  const known = hatches.get(key);
  if (known) return known;
  const canvas = document.createElement('canvas');
  const ratio = devicePixelRatio || 1;
  canvas.width = canvas.height = Math.round(spacing * 8 * ratio);
  const g = canvas.getContext('2d');
  if (!g) return 'rgba(0,0,0,0)';
  g.scale(ratio, ratio);
  g.strokeStyle = color;
  g.lineWidth = 1.5;
  const vertical = Math.abs(Math.cos((heading * Math.PI) / 180)) > 0.7;
  const slope = vertical ? Math.tan((heading * Math.PI) / 180) : 1 / Math.tan((heading * Math.PI) / 180);
  const bend = Math.round(slope * 8) / 8; // so that the pattern joins itself
  const side = spacing * 8;
  for (let k = -8; k <= 16; k++) {
    g.beginPath();
    if (vertical) {
      g.moveTo(k * spacing, side);
      g.lineTo(k * spacing + bend * side, 0);
    } else {
      g.moveTo(0, k * spacing);
      g.lineTo(side, k * spacing - bend * side);
    }
    g.stroke();
  }
  const pattern = g.createPattern(canvas, 'repeat');
  if (!pattern) return 'rgba(0,0,0,0)';
  hatches.set(key, pattern);
  return pattern;
}
