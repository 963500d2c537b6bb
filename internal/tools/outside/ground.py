"""A field's ground on cells of half a metre: its outline, levees, ditches, tracks, ponds, trees and soils.

Levees follow the contour lines of a gentle slope, or of a plane when they are
straight, as they do on real ground; all else is laid out from there.
"""

from dataclasses import dataclass, field

import numpy as np
from scipy import ndimage

import matter
from fields import ACRE_M2, CELL_M, Raster, inside, share, signed_distance_m, smoothstep, waves

MARGIN_M = 11.0


@dataclass
class Ground:
    """All arrays lie on the cells; shares run from 0 to 1."""

    cells: Raster
    ring: np.ndarray  # the true outline, UTM metres, closed
    drawn: np.ndarray  # the outline as somebody drew it
    edge_m: np.ndarray  # distance inwards from the true outline
    check: np.ndarray  # number of the check, 0 outside the field
    crop: np.ndarray  # share of ground that was planted
    grass: np.ndarray  # cover of grass on levees and turnrows
    dryness: np.ndarray  # of that grass
    tree: np.ndarray  # cover of tree crowns
    structure: np.ndarray  # true where ground is no crop of the field
    bare: list = field(default_factory=list)  # five bands: reflectance of the ground below leaves
    rough: np.ndarray = None  # factor on the contrast of leaf and shade
    sun_azimuth: float = 2.2
    tree_shade: np.ndarray = None  # share of direct sun that trees take
    heading: float = 0.0  # of the drill, radians from grid north
    height: np.ndarray = None  # down the slope, in checks
    inlet: tuple = None


def outline(rng, acres, creek):
    """A closed ring of vertices: four sides, slightly bowed, some cut off or along a creek."""
    aspect, turn = rng.uniform(0.62, 1.0), rng.uniform(-0.45, 0.45)
    w, h = np.sqrt(1 / aspect), np.sqrt(aspect)
    corners = np.array([(-w, -h), (w, -h), (w, h), (-w, h)]) / 2 + rng.normal(0, 0.035, (4, 2))
    creek_side = rng.integers(4) if creek else -1
    points = []
    for i in range(4):
        a, b = corners[i], corners[(i + 1) % 4]
        t = np.arange(10) / 10
        bow = rng.normal(0, 0.008) * np.sin(np.pi * t)
        if i == creek_side:
            bow = 0.05 * np.sin(np.pi * t) * np.cumsum(rng.normal(0, 0.7, 10))
        across = np.array([b[1] - a[1], a[0] - b[0]])
        points += list(a + t[:, None] * (b - a) + bow[:, None] * across)
    points = np.array(points)
    cos, sin = np.cos(turn), np.sin(turn)
    points = points @ np.array([[cos, -sin], [sin, cos]])
    size = abs(_shoelace(points))
    points *= np.sqrt(acres * ACRE_M2 / size)
    return np.vstack([points, points[:1]]), turn


def _shoelace(points):
    """Signed area of a ring."""
    x, y = points.T
    return 0.5 * (x @ np.roll(y, -1) - y @ np.roll(x, -1))


def lay_out(rng, traits):
    """The ground of a scene of the given traits (see classes.py)."""
    ring, turn = outline(rng, traits.acres, traits.creek)
    low = np.floor(ring.min(0) - MARGIN_M)
    ring = ring - low + np.array([traits.east, traits.north])
    span = np.ceil((ring.max(0) + MARGIN_M - (traits.east, traits.north)) / CELL_M).astype(int)
    cells = Raster(traits.east, traits.north + span[1] * CELL_M, CELL_M, span[1], span[0])
    x, y = cells.mesh()
    within = inside(ring, x, y)
    shape = cells.shape
    zeros = np.zeros(shape, np.float32)
    slips = rng.normal(0, traits.outline_error_m, (len(ring) - 1, 2))
    drawn = ring + np.vstack([slips, slips[:1]])
    ground = Ground(cells, ring, drawn, ndimage.gaussian_filter(signed_distance_m(within), 1.0),
                    within.astype(np.int32), within.astype(np.float32), zeros.copy(), zeros.copy(), zeros.copy(),
                    ~within, rough=np.ones(shape, np.float32), tree_shade=zeros.copy(), heading=-turn)
    ground.sun_azimuth = rng.uniform(1.6, 4.4)
    _soils(rng, ground, traits)
    _height(rng, ground, traits)
    _surroundings(rng, ground, traits)
    if traits.levees != "none":
        _levees(rng, ground, traits)
    if traits.traps:
        _perimeter(rng, ground)
        _things(rng, ground)
    if traits.traps or traits.trees:
        _trees(rng, ground, traits)
    return ground


def _soils(rng, ground, traits):
    """Soils in slow waves, wet and dry, and straw left from last year in wind rows."""
    shape = ground.cells.shape
    first, second = rng.choice(len(matter.SOILS), 2, replace=False)
    part = share(1.3 * waves(rng, shape, CELL_M, rng.uniform(25, 60)) + rng.normal(0, 0.5)) * traits.soil_contrast
    wet = share(1.5 * waves(rng, shape, CELL_M, rng.uniform(6, 20)) + rng.normal(0.3, 0.6))
    level = np.exp(0.10 * waves(rng, shape, CELL_M, 4.0))
    straw = 0.22 * traits.soil_contrast * smoothstep(waves(rng, shape, CELL_M, 5.0, 2.2), 0.6, 2.2)
    for band in range(5):
        soil = matter.mix(matter.SOILS[first][band], matter.SOILS[second][band], part)
        soil = soil * (1 + (matter.WET[band] - 1) * wet) * level
        ground.bare.append(matter.mix(soil, matter.STRAW[band], straw).astype(np.float32))


def _height(rng, ground, traits):
    """The slope in units of one check, and the checks that it cuts the field into."""
    x, y = ground.cells.mesh()
    fall = ground.heading + rng.choice([0, np.pi / 2]) + rng.normal(0, 0.1)
    down = (x - x.mean()) * np.sin(fall) + (y - y.mean()) * np.cos(fall)
    if traits.levees == "contour":
        down = down + rng.uniform(8, 16) * waves(rng, ground.cells.shape, CELL_M, rng.uniform(60, 100), 4.0)
    within = ground.edge_m > 0
    low, high = np.percentile(down[within], (0.5, 99.5))
    ground.height = ((down - low) / (high - low) * traits.checks).astype(np.float32)
    ground.inlet = _highest_corner(ground)


def _highest_corner(ground):
    """Where water comes in: the outline's vertex highest on the slope, UTM metres."""
    column = ((ground.ring[:, 0] - ground.cells.east) / CELL_M).astype(int)
    row = ((ground.cells.north - ground.ring[:, 1]) / CELL_M).astype(int)
    best = np.argmin(ground.height[row, column])
    return tuple(ground.ring[best])


def _cover(ground, part, reflectance, texture=1.0):
    """Lays matter over part of the ground and takes the crop off it."""
    for band in range(5):
        ground.bare[band] = matter.mix(ground.bare[band], reflectance[band] * texture, part).astype(np.float32)
    ground.crop *= 1 - part
    ground.grass *= 1 - part


def _levees(rng, ground, traits):
    """Banks with borrow ditches: broken, grassy in places, bare in others, of changing width."""
    shape = ground.cells.shape
    slope_y, slope_x = np.gradient(ground.height, CELL_M)
    nearest = np.clip(np.round(ground.height), 1, traits.checks - 1)
    far = np.abs(ground.height - nearest) / np.maximum(np.hypot(slope_x, slope_y), 1e-4)
    check = 1 + np.clip(np.floor(ground.height), 0, traits.checks - 1).astype(np.int32)
    ground.check = np.where(ground.check > 0, check, 0)
    width = rng.uniform(1.0, 1.7) + 0.22 * waves(rng, shape, CELL_M, 7.0)
    inner = ground.edge_m > 0
    broken = smoothstep(waves(rng, shape, CELL_M, 14.0), 1.35, 1.9) if traits.traps else 0
    bank = smoothstep(-far, -width - 0.3, -width + 0.3) * inner * (1 - 0.8 * broken)
    ditch_m = rng.uniform(0.5, 1.1)
    ditch = smoothstep(-far, -width - ditch_m - 0.5, -width - ditch_m) * inner * (1 - bank)
    ditch *= smoothstep(waves(rng, shape, CELL_M, 18.0), -1.6, -0.4)
    _cover(ground, ditch * rng.uniform(0.6, 0.95), matter.mix(matter.SOILS[1] * matter.WET, matter.WATER, rng.uniform(0.2, 0.8)))
    soil = np.stack([b[inner].mean() for b in ground.bare])
    _cover(ground, bank, soil * rng.uniform(1.05, 1.5), np.exp(0.12 * waves(rng, shape, CELL_M, 1.5)))
    grass = share(1.2 * waves(rng, shape, CELL_M, 9.0, 2.2) + rng.normal(0.3, 0.7)) * rng.uniform(0.5, 0.95)
    ground.grass = np.where(bank > 0.05, bank * grass, ground.grass).astype(np.float32)
    dry = share(1.3 * waves(rng, shape, CELL_M, 16.0) + rng.normal(0, 0.9))
    ground.dryness = np.where(bank > 0.05, dry, ground.dryness).astype(np.float32)
    ground.structure |= (bank > 0.3) | (ditch > 0.4)


def _surroundings(rng, ground, traits):
    """Turnrow, road and neighbour's ground outside the outline."""
    shape = ground.cells.shape
    x, y = ground.cells.mesh()
    out = smoothstep(-ground.edge_m, -0.2, 0.5)
    ground.grass = (out * share(waves(rng, shape, CELL_M, 10.0, 2.2) + 0.6) * 0.8).astype(np.float32)
    ground.dryness = share(waves(rng, shape, CELL_M, 12.0) + rng.normal(0, 0.8))
    ground.crop *= 1 - out
    side = (x - x.mean()) * np.cos(ground.heading) - (y - y.mean()) * np.sin(ground.heading)
    road = smoothstep(-ground.edge_m, 2.2, 2.8) * smoothstep(ground.edge_m, -6.6, -6.0) * (side * rng.choice([-1, 1]) > 0)
    _cover(ground, road.astype(np.float32), matter.GRAVEL * rng.uniform(0.7, 1.0))


def _perimeter(rng, ground):
    """A bank or ditch, weedy and of changing width, just inside the outline."""
    shape = ground.cells.shape
    width = np.clip(rng.uniform(0.8, 2.2) + 0.5 * waves(rng, shape, CELL_M, 15.0), 0.2, 4)
    part = smoothstep(-ground.edge_m, -width - 0.4, -width + 0.4) * (ground.edge_m > -0.5)
    soil = np.stack([b.mean() for b in ground.bare])
    _cover(ground, part, soil, np.exp(0.15 * waves(rng, shape, CELL_M, 2.0)))
    ground.grass = np.maximum(ground.grass, part * share(waves(rng, shape, CELL_M, 8.0, 2.2))).astype(np.float32)
    ground.structure |= part > 0.3


def _things(rng, ground):
    """A pump pad at the edge, one or two ponds or scours, a short farm track into the field."""
    x, y = ground.cells.mesh()
    at = ground.inlet
    pad = smoothstep(-np.hypot(x - at[0], y - at[1]), -rng.uniform(6, 10), -5)
    _cover(ground, pad, matter.GRAVEL * 0.8)
    rows, columns = np.nonzero(ground.edge_m > 15)
    for _ in range(rng.integers(1, 3)):
        k = rng.integers(len(rows))
        cx, cy = ground.cells.eastings()[columns[k]], ground.cells.northings()[rows[k]]
        ragged = waves(rng, ground.cells.shape, CELL_M, 6.0)
        far = np.hypot(x - cx, (y - cy) * rng.uniform(0.5, 1.6)) / rng.uniform(3, 8) + 0.18 * ragged
        pond = smoothstep(-far, -1.15, -0.9)
        _cover(ground, pond, matter.WATER, rng.uniform(0.8, 1.5))
        ground.structure |= pond > 0.4
    ground.structure |= pad > 0.3


def _trees(rng, ground, traits):
    """A row of trees along a side, one or two on their own, and the shade that they throw."""
    start = rng.integers(len(ground.ring) - 12)
    row = ground.ring[start:start + rng.integers(4, 10)]
    spots = [p + rng.normal(0, 1.5, 2) for a, b in zip(row[:-1], row[1:]) for p in (a, (a + b) / 2)]
    centre = ground.ring.mean(0)
    spots = [p + (p - centre) / np.linalg.norm(p - centre) * rng.uniform(3, 6) for p in spots]
    if traits.levees != "none":
        spots.append(centre + rng.normal(0, 40, 2))
    reach = rng.uniform(0.9, 1.7)  # shade for each metre of height
    x, y = ground.cells.mesh()
    ragged = 0.35 * waves(rng, ground.cells.shape, CELL_M, 2.0)
    for spot in spots:
        tall, crown = rng.uniform(6, 13), rng.uniform(1.8, 4.2)
        wobble = np.roll(ragged, tuple(rng.integers(0, 500, 2)), (0, 1))
        crown_at = smoothstep(-np.hypot(x - spot[0], y - spot[1]) / crown + wobble, -1.1, -0.8)
        np.maximum(ground.tree, crown_at, out=ground.tree)
        tip = spot - reach * tall * np.array([np.sin(ground.sun_azimuth), np.cos(ground.sun_azimuth)])
        far = _to_segment(x, y, spot, tip) / crown + wobble
        np.maximum(ground.tree_shade, smoothstep(-far, -1.05, -0.9), out=ground.tree_shade)
    ground.structure |= ground.tree > 0.3


def _to_segment(x, y, a, b):
    """Distance of points from the segment a to b."""
    d = b - a
    t = np.clip(((x - a[0]) * d[0] + (y - a[1]) * d[1]) / (d @ d), 0, 1)
    return np.hypot(x - a[0] - t * d[0], y - a[1] - t * d[1])
