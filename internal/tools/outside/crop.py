"""The crop of one flight: its stand, its leaf and its light, on cells and then on pixels."""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

import matter
from classes import FEET_M, SKIP_FT, SWATH_FT
from fields import CELL_M, bilinear, score_of, share, smoothstep, streaks, waves


@dataclass
class Stand:
    """What lasts from flight to flight, on the cells."""

    cover: np.ndarray  # of the crop's leaf, before anything befalls it
    pale: np.ndarray  # 0 fed, 1 given no nitrogen
    dry: np.ndarray  # share of its leaf that is dry
    eaten: np.ndarray  # share of its leaf that was eaten, on the day's flight
    tracks: list  # places of wheel tracks across the drill, metres from the cells' corner
    track_waves: np.ndarray


def grow(rng, ground, traits):
    """The stand of a field without any special effect."""
    shape = ground.cells.shape
    slow = waves(rng, shape, CELL_M, rng.uniform(18, 45))
    quick = waves(rng, shape, CELL_M, rng.uniform(2, 5), 2.4)
    rows = streaks(rng, ground.cells, ground.heading, 90.0, rng.uniform(1.2, 3.5))
    score = score_of(traits.cover) + traits.cover_waves * (1.1 * slow + 0.9 * quick + 0.6 * rows)
    score -= traits.gaps * 1.6 * smoothstep(waves(rng, shape, CELL_M, rng.uniform(3, 9), 2.4), 1.5, 2.6)
    score -= traits.gaps * 0.8 * smoothstep(waves(rng, shape, CELL_M, rng.uniform(14, 30)), 1.4, 2.4)
    check_tone = rng.normal(0, 0.6 if traits.traps else 0.1, ground.check.max() + 1)
    pale = 0.10 + traits.pale_waves * (waves(rng, shape, CELL_M, rng.uniform(20, 50)) + 0.5 * check_tone[ground.check])
    pale += 0.6 * traits.pale_waves * streaks(rng, ground.cells, ground.heading, 120.0, rng.uniform(3, 8))
    dry = traits.tip_burn * np.exp(0.6 * waves(rng, shape, CELL_M, 12.0, 2.4) + 0.4 * waves(rng, shape, CELL_M, 1.5, 2.2))
    across = _across(ground.cells, ground.heading)
    spacing, first = rng.uniform(17, 30), rng.uniform(4, 20)
    tracks = np.arange(across.min() + first, across.max(), spacing) if traits.tracks else []
    return Stand(share(score), np.clip(pale, 0, 1.2), np.clip(dry, 0, 0.6), np.zeros(shape, np.float32),
                 list(tracks), waves(rng, shape, CELL_M, 6.0))


def _across(raster, heading, rows=slice(None)):
    """Metres across a heading, of the pixels of some rows."""
    x, y = raster.eastings()[None, :], raster.northings()[rows][:, None]
    return ((x - raster.east) * np.cos(heading) - (y - raster.north) * np.sin(heading)).astype(np.float32)


def skip_lines(rng, ground, traits):
    """Density of weeds, 0 to 1, in the strips between passes, and the places of the strips."""
    across = _across(ground.cells, traits.skip_heading)
    middle = across[ground.edge_m > 0].mean()
    spacing = SWATH_FT * FEET_M
    first = middle - spacing * (traits.skips - 1) / 2 + rng.uniform(-4, 4)
    places = first + spacing * np.arange(traits.skips)
    sway = 0.12 * waves(rng, ground.cells.shape, CELL_M, 25.0)
    far = np.min(np.abs(across[..., None] + sway[..., None] - places.astype(np.float32)), axis=-1)
    half = SKIP_FT * FEET_M / 2
    strip = smoothstep(-far, -half - 0.2, -half + 0.2)
    bank = smoothstep(waves(rng, ground.cells.shape, CELL_M, 9.0, 2.4), -1.6, 0.4)
    return strip * (0.35 + 0.65 * bank), places, strip > 0.5


@dataclass
class Surface:
    """Ground and leaf of one flight on the cells: cover, and five bands of leaf."""

    cover: np.ndarray
    leaf: list
    dry: np.ndarray
    rough: np.ndarray


def surface(ground, stand, traits, weeds_share, killed_share, growth):
    """What covers the ground; weeds press the crop under them, killed ground stands open.

    growth is 1 on the day, less on an earlier flight.
    """
    crop = ground.crop * stand.cover**(1 / growth) * (1 - stand.eaten)
    crop = crop * (1 - 0.35 * weeds_share) * (1 - 0.75 * killed_share) * (1 - 0.18 * np.clip(stand.pale, 0, 1))
    other = np.clip(ground.grass, 0, 1) * (1 - ground.tree)
    crop = crop * (1 - ground.tree)
    cover = np.clip(crop + other + ground.tree, 0, 0.995)
    total = np.maximum(crop + other + ground.tree, 1e-4)
    fed = matter.mix(matter.CROP, matter.CROP_YOUNG, traits.young)
    leaf = []
    for band in range(5):
        own = matter.mix(fed[band], matter.CROP_STARVED[band], stand.pale) * traits.bright
        bank = matter.mix(matter.GRASS_WEED[band], matter.DRY_GRASS[band], ground.dryness)
        leaf.append(((crop * own + other * bank + ground.tree * matter.TREE[band]) / total).astype(np.float32))
    dry = stand.dry * crop / total + 0.12 * ground.dryness * other / total
    rough = 1 + 0.5 * other / total + 1.2 * ground.tree
    return Surface(cover.astype(np.float32), leaf, dry.astype(np.float32), rough.astype(np.float32))


def canopy(rng, surf, ground, stand, traits, picture):
    """Share of leaf in each pixel, light on it, and light on the ground below.

    Leaf stands where a score of clumps, plants and rows exceeds what the cover leaves; the tallest
    of it has the most light. Tuned to real crop: within half a metre the deviation of green
    over its mean is 0.1 in closed pasture, 0.3 in rows with gaps; neighbours at 5 cm correlate by 0.4, the next by 0.15.
    """
    plant_px = max(0.075 / picture.pixel_m, 0.6)
    score = ndimage.gaussian_filter(rng.standard_normal(picture.shape, dtype=np.float32), plant_px, truncate=3)
    score /= score[::9, ::9].std()
    clumps = waves(rng, ground.cells.shape, CELL_M, 0.6, 2.0)
    soft = 0.55
    mean = score_of(surf.cover) * np.sqrt(1 + traits.clumps**2 + soft**2)
    light = np.empty(picture.shape, np.float32)
    cover = np.empty(picture.shape, np.float32)
    for rows in chunks(picture.rows):
        level = bilinear(mean + traits.clumps * clumps, ground.cells, picture, rows)
        level += _drill_rows(ground, traits, picture, rows)
        level -= _ruts(ground, stand, picture, rows)
        tall = score[rows]
        cover[rows] = share((level + tall) / soft)
        rough = traits.rough * bilinear(surf.rough, ground.cells, picture, rows)
        light[rows] = np.exp(rough * (0.75 * tall + 0.65 * rng.standard_normal(tall.shape, dtype=np.float32)) - 0.5 * rough**2)
    return cover, light


def chunks(rows, size=384):
    """Slices of rows that are worked on together."""
    return [slice(a, min(a + size, rows)) for a in range(0, rows, size)]


def _drill_rows(ground, traits, picture, rows):
    """The drill's rows in the score of cover; 0 where rice was broadcast."""
    if not traits.rows_m:
        return np.float32(0)
    return 0.5 * np.cos(2 * np.pi / traits.rows_m * _across(picture, ground.heading, rows))


def _ruts(ground, stand, picture, rows):
    """What wheel tracks take off the score of cover: two ruts 1.9 m apart, broken in places."""
    if not stand.tracks:
        return np.float32(0)
    offset = corner_across(ground, picture)
    across = _across(picture, ground.heading, rows) + offset
    places = np.array(stand.tracks, np.float32)
    nearest = places[np.clip(np.searchsorted(places, across - np.diff(places)[0] / 2), 0, len(places) - 1)]
    far = np.abs(np.abs(across - nearest) - 0.95)
    depth = np.clip(1.1 + 0.7 * bilinear(stand.track_waves, ground.cells, picture, rows), 0, 2)
    return depth * smoothstep(-far, -0.32, -0.16)


def corner_across(ground, picture):
    """How far across the drill the picture's corner lies from the cells' corner, metres."""
    dx, dy = picture.east - ground.cells.east, picture.north - ground.cells.north
    return np.float32(dx * np.cos(ground.heading) - dy * np.sin(ground.heading))
