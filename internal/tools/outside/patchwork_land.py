"""The land of the patchwork painter: its outline, ground, stand, weeds and light on a lattice of a quarter metre.

Nothing here is a plant. Each layer is a share of ground, drawn from random fields; patchwork.py makes pixels of the
shares. Layers are arrays of the lattice, row 0 the northern edge; shares run from 0 to 1, lengths are metres.
The order of the draws is part of what a scene is: a draw that comes or goes makes all scenes anew.
"""

from dataclasses import dataclass, field

import numpy as np
from scipy import ndimage

from fields import ACRE_M2, Raster, smoothstep
from matter import mix

LATTICE_M = 0.25
MARGIN_M = 16.0  # of land around the outline
STRUCTURE_EDGE_M = 4.8  # the perimeter's levee and ditch end here
FAR_M = 99.0  # farther than anything that is asked for
KILLED_LEAST = 0.03  # killed litter that leaves few weeds alive
CHECK_LEAST_ACRES = 0.15
NO_PATCHES = ("clean", "defoliation", "nitrogen")  # classes without patches of weeds
PATCHES = {"traps": 3, "skips": 5}  # patches of weeds on 25 acres beside a large one; 9 in other classes
# Share of light that reaches full shade, from the sky alone; blue to near infrared.
SKYLIGHT = np.array([0.40, 0.34, 0.30, 0.26, 0.22])


def _row(*values):
    return np.array(values, np.float32)


# Reflectance of closed cover; blue, green, red, red edge, near infrared. Invented, as of ordinary leaf and soil, and
# meant to differ from the other painter's.
RICE = _row(0.025, 0.068, 0.032, 0.17, 0.42)
RICE_PALE = _row(0.036, 0.100, 0.056, 0.23, 0.39)
WEED = _row(0.035, 0.098, 0.052, 0.23, 0.45)
WEED_YELLOW = _row(0.045, 0.146, 0.146, 0.28, 0.41)
WEED_BROWN = _row(0.060, 0.105, 0.150, 0.21, 0.30)
STRAW = _row(0.10, 0.16, 0.21, 0.27, 0.34)
GRASS = _row(0.035, 0.085, 0.050, 0.20, 0.38)
DRY_GRASS = _row(0.085, 0.14, 0.185, 0.25, 0.34)
LITTER = _row(0.085, 0.105, 0.125, 0.145, 0.19)
TREE = _row(0.02, 0.045, 0.024, 0.13, 0.35)
WATER = _row(0.05, 0.065, 0.055, 0.045, 0.025)
GRAVEL = _row(0.20, 0.24, 0.265, 0.28, 0.30)
SOILS = np.stack([
    _row(0.07, 0.105, 0.14, 0.17, 0.22),
    _row(0.055, 0.078, 0.098, 0.115, 0.15),
    _row(0.065, 0.10, 0.155, 0.19, 0.25),
    _row(0.09, 0.13, 0.165, 0.19, 0.24),
])
OLIVE_MUD = (1, 1, 0.7, 0.8, 0.8)  # factors on the soil under a plain field, which stands wet


@dataclass
class Land:
    """All that stands on the lattice; layers are filled in as the land is laid out."""

    lattice: Raster
    zone: int  # UTM, north
    turn: float  # radians, of the field's long sides
    drawn: np.ndarray  # the outline as somebody drew it, UTM metres, closed
    side: np.ndarray  # number of the nearest side
    edge_m: np.ndarray  # distance inwards from the true outline
    soil: np.ndarray = None  # reflectance of the field's soil, five bands
    wet: np.ndarray = None
    bare: list = None  # five bands: reflectance of the ground below leaves
    levee_m: np.ndarray = None  # distance from the nearest levee's line
    inner: np.ndarray = None  # true on levees inside the field and in their ditches
    bank: np.ndarray = None
    ditch: np.ndarray = None
    road: np.ndarray = None  # true or false
    outside: np.ndarray = None  # true or false
    bank_cover: np.ndarray = None  # of grass, where there is bank or land outside
    bank_leaf: list = None  # five bands: reflectance of that grass
    ditch_weeds: np.ndarray = None
    row_angle: float = 0.0  # radians, across the drill's rows and the wheel tracks
    track: np.ndarray = None  # share of the stand that wheels took
    track_m: np.ndarray = None  # distance from the middle of the nearest wheel's track
    pond: np.ndarray = None
    rim: np.ndarray = None  # of the pond
    seep: np.ndarray = None
    thin: np.ndarray = None  # how far the stand is thin
    skip: np.ndarray = None  # a paler strip that fertilizer missed
    cover: np.ndarray = None  # of leaf, crop or grass
    leaf: list = None  # five bands: reflectance of that leaf
    dead: np.ndarray = None  # share of straw in the stand
    weeds: np.ndarray = None  # share of ground that living weeds hide
    field_weeds: np.ndarray = None  # the same without what grows in ditches or alone
    killed: np.ndarray = None  # share of ground under weeds that were killed
    green_weeds: np.ndarray = None  # 1 where weeds were not sprayed
    check: np.ndarray = None  # number of the check, 0 on structure and outside
    apart: int = None  # number of the check that was not sprayed
    crown: np.ndarray = None  # true under trees
    tree_shade: np.ndarray = None  # share of direct sun that trees take
    light: list = None  # five bands: factor of shade and of the mapping lines' gains
    haze: np.ndarray = None  # reflectance added in the blue
    cloud: np.ndarray = None  # share of direct sun that clouds take, where a class has its own
    seam: np.ndarray = None  # 1 on mapping lines that lie a little off in the mosaic, None where all lie well
    strips: np.ndarray = None  # true where a pass was missed
    eaten: np.ndarray = None  # share of leaf that insects ate
    short: np.ndarray = None  # paleness as a share of that of a crop given no nitrogen
    told: dict = field(default_factory=dict)  # facts of the class for scene.json

    def waves(self, rng, length_m, power=2.5):
        """A random field, mean 0, deviation 1; beyond a length its amplitude falls with a power of the wave number."""
        shape = self.lattice.shape
        padded = [n + int(min(2 * length_m / LATTICE_M, n)) for n in shape]  # so that it does not wrap
        spectrum = np.fft.rfft2(rng.standard_normal(padded, dtype=np.float32))
        rows, columns = np.fft.fftfreq(padded[0], LATTICE_M), np.fft.rfftfreq(padded[1], LATTICE_M)
        wave_number = np.hypot(rows[:, None], columns[None]) * length_m
        field = np.fft.irfft2(spectrum * (1 + wave_number**2) ** (-power / 2), s=padded)[:shape[0], :shape[1]]
        return ((field - field.mean()) / field.std()).astype(np.float32)

    def zeros(self, kind=np.float32):
        """A layer of nothing."""
        return np.zeros(self.lattice.shape, kind)

    def across(self, angle):
        """Metres from the lattice's middle along a direction, radians from grid east."""
        x, y = self.lattice.mesh()
        return (x - x.mean()) * np.cos(angle) + (y - y.mean()) * np.sin(angle)

    def blob(self, rng, places, radius_m, stretch=1.6):
        """Metres inside (above 0) a ragged blob of a mean radius around one of some places (row, column)."""
        row, column = places[rng.integers(len(places))]
        x, y = self.lattice.mesh()
        east, north = x[0, column], y[row, 0]
        angle, longer = rng.uniform(0, np.pi), np.sqrt(rng.uniform(1, stretch))
        dx, dy = x - east, y - north
        along = (dx * np.cos(angle) + dy * np.sin(angle)) / longer
        aside = (dy * np.cos(angle) - dx * np.sin(angle)) * longer
        ragged = 0.26 * self.waves(rng, radius_m * 0.8) + 0.10 * self.waves(rng, max(1.2, radius_m * 0.2))
        return (radius_m * (1 + ragged) - np.hypot(along, aside)).astype(np.float32)

    def structure(self):
        """Ground that is no crop of the field, and wheel tracks: two masks."""
        ground = (self.edge_m < STRUCTURE_EDGE_M) | self.inner | (self.pond > 0.05) | (self.rim > 0.1) | self.crown
        return ground, self.track_m < 0.34


def lay_out(rng, traits, befall=lambda step, land: None):
    """The land of a scene of the given traits (see patchwork.py).

    befall is called after each step with its name and the land (see patchwork_more.py).
    """
    land = _outline(rng, traits)
    for step in (_soils, _levees, _perimeter, _tracks, _pond, _spots, _stand, _weeds, _trees, _light):
        step(rng, land, traits)
        befall(step.__name__[1:], land)
    return land


def blend(a, b, part):
    """Part of b in a, in single precision."""
    return mix(a, b, part).astype(np.float32)


def _outline(rng, traits):
    """Four sides, some with a corner cut off, and the lattice around them."""
    side_m, aspect = np.sqrt(traits.acres * ACRE_M2), rng.uniform(1, 1.7)
    half_w, half_h = side_m * np.sqrt(aspect) / 2, side_m / np.sqrt(aspect) / 2
    turn = np.radians(rng.uniform(-12, 12)) + (0 if rng.random() < 0.75 else rng.uniform(0.3, 1.2))
    corners = np.array([(-half_w, -half_h), (half_w, -half_h), (half_w, half_h), (-half_w, half_h)])
    corners = corners * rng.uniform(0.93, 1.07, (4, 2))
    if rng.random() < 0.4:
        k = rng.integers(4)
        cut = [corners[k] + 0.3 * (corners[j] - corners[k]) for j in (k - 1, (k + 1) % 4)]
        corners = np.insert(np.delete(corners, k, 0), k, cut, 0)
    cos, sin = np.cos(turn), np.sin(turn)
    corners = corners @ np.array([(cos, sin), (-sin, cos)])
    zone = int(rng.choice([15, 16]))
    east, north = float(rng.integers(500000, 690000)), float(rng.integers(3800000, 4050000))
    low, high = corners.min(0) - MARGIN_M, corners.max(0) + MARGIN_M
    columns, rows = (int(np.ceil(span)) * 4 for span in high - low)
    lattice = Raster(np.floor(east + low[0]), np.ceil(north + high[1]), LATTICE_M, rows, columns)
    corners = corners + (east, north)
    side, edge_m = _sides(lattice, corners)
    land = Land(lattice, zone, turn, None, side, edge_m)
    if not traits.plain:  # the first side follows a creek
        land.edge_m += np.where(side == 0, 1.2, 0.35).astype(np.float32) * land.waves(rng, 35)
    land.drawn = _drawn(rng, corners, traits)
    return land


def _sides(lattice, corners):
    """Number of the nearest side, and metres inwards from it (corners run counterclockwise)."""
    x, y = lattice.mesh()
    far = []
    for a, b in zip(corners, np.roll(corners, -1, 0)):
        along = (b - a) / np.hypot(*(b - a))
        far.append((y - a[1]) * along[0] - (x - a[0]) * along[1])
    return np.argmin(far, 0), np.min(far, 0).astype(np.float32)


def _drawn(rng, corners, traits):
    """The boundary as a person draws it: a point every so often, each off by a metre or so."""
    error_m = 0.15 if traits.plain else rng.uniform(0.8, 1.3)
    points = []
    for a, b in zip(corners, np.roll(corners, -1, 0)):
        count = max(1, int(np.hypot(*(b - a)) / rng.uniform(40, 110)))
        points += [a + (b - a) * k / count for k in range(count)]
    points = np.array(points)
    points += np.clip(rng.normal(0, error_m, points.shape), -2, 2)
    return np.vstack([points, points[:1]])


def _soils(rng, land, traits):
    """One soil, darker where it is wet, and uneven in each band."""
    land.wet = smoothstep(land.waves(rng, 40), -1.5, 1.5)
    land.soil = SOILS[traits.soil] * rng.uniform(0.85, 1.15)
    if traits.plain:
        flat = [(soil * 0.6 + 0 * land.wet).astype(np.float32) for soil in land.soil]
        land.bare = [layer * factor for layer, factor in zip(flat, OLIVE_MUD)]
        return
    land.bare = []
    for soil, darker in zip(land.soil, (0.45, 0.45, 0.45, 0.45, 0.5)):
        layer = soil * (1 - darker * land.wet) * np.exp(0.08 * land.waves(rng, 6))
        land.bare.append(layer.astype(np.float32))


def _levees(rng, land, traits):
    """Banks with borrow ditches along the contour lines of a slope or of a plane, washed out here and there."""
    contour = traits.levees == "contour"
    fall = land.turn + rng.choice([0, np.pi / 2]) + rng.uniform(-0.25, 0.25) * contour
    gap_m = rng.uniform(32, 52)
    slope = land.across(fall) / gap_m
    if contour:
        height = slope + (land.waves(rng, 90, 4) * rng.uniform(0.5, 1.0) + land.waves(rng, 30, 4) * 0.07)
    else:
        height = slope + 0.05 * land.waves(rng, 120, 4)
    if traits.levees == "none":
        land.levee_m = np.full(land.lattice.shape, FAR_M, np.float32)
    else:
        land.levee_m = line_distance(height)
        if not traits.plain:
            land.levee_m += np.float32(0.18) * land.waves(rng, 3)
    half_m, ditch_m = rng.uniform(0.75, 1.15), rng.uniform(0.5, 1.1)
    broken = land.zeros() if traits.plain else smoothstep(land.waves(rng, 14, 3), 1.15, 1.35)
    end_m = half_m + ditch_m
    bank = 1 - smoothstep(land.levee_m, half_m - 0.25, half_m + 0.2)
    ditch = (1 - smoothstep(land.levee_m, end_m - 0.2, end_m + 0.2)) * (1 - bank)
    land.bank, land.ditch = bank * (1 - 0.9 * broken), ditch * (1 - 0.7 * broken)
    land.inner = land.levee_m < end_m + 0.25


def line_distance(height):
    """Metres from the lines where one terrace meets the next; height is in terraces."""
    terrace = np.floor(height).astype(int)
    line = np.zeros(terrace.shape, bool)
    line[:, 1:] |= terrace[:, 1:] != terrace[:, :-1]
    line[1:] |= terrace[1:] != terrace[:-1]
    return (ndimage.distance_transform_edt(~line) * LATTICE_M).astype(np.float32)


def _perimeter(rng, land, traits):
    """From outside: other ground, a road, a verge, the levee around the field and its borrow ditch."""
    edge = land.edge_m
    levee = smoothstep(edge, 0.2, 0.6) * (1 - smoothstep(edge, 2.9, 3.3))
    ditch = smoothstep(edge, 3.0, 3.3) * (1 - smoothstep(edge, 4.4, STRUCTURE_EDGE_M))
    with_road = rng.random(6) < 0.6
    with_road[rng.integers(4)] = True
    land.road = (edge > -6) & (edge < -1.2) & with_road[land.side]
    land.outside = edge < 0.3
    land.bank = np.maximum(land.bank * (edge > 1), levee)
    land.ditch = np.maximum(land.ditch * (edge > 4), ditch) * (1 - land.bank)
    grass = smoothstep(land.waves(rng, 25), -0.6, 0.6)  # grassy or bare
    grass = np.where(edge < 3.4, np.maximum(grass, 0.5), grass)
    dry = smoothstep(land.waves(rng, 15) + rng.uniform(-0.4, 0.6), -0.9, 0.9)
    if traits.plain:
        grass[:], dry[:] = 1, 0
    land.bank_cover = np.where(land.road, 0.04, np.clip(0.9 * grass + 0.08, 0, 1))
    land.bank_leaf = [blend(green, brown, dry) for green, brown in zip(GRASS, DRY_GRASS)]
    water = np.ones(land.lattice.shape, np.float32) if traits.plain else smoothstep(land.waves(rng, 30), -0.3, 0.3)
    _bare_banks(land, traits, water)
    land.ditch_weeds = smoothstep(land.waves(rng, 12), 0.2, 1.2) * (0 if traits.plain else rng.uniform(0.2, 0.45))


def _bare_banks(land, traits, water):
    """Lays dry soil on banks, mud or water in ditches, gravel or dirt on roads."""
    dry_soil = land.soil * 1.15
    for i in range(5):
        bare = blend(land.bare[i], dry_soil[i] * np.exp(0.1 * land.wet), land.bank)
        bare = blend(bare, blend(land.soil[i] * 0.55, WATER[i], water), land.ditch * 0.9)
        if not traits.plain:
            bare = blend(bare, GRAVEL[i] if traits.seed % 2 else dry_soil[i] * 1.3, land.road)
        land.bare[i] = bare


def _tracks(rng, land, traits):
    """Pairs of wheel tracks: parallel ones over the field, and one along the perimeter."""
    edge, track = land.edge_m, land.zeros()
    land.row_angle = land.turn + rng.choice([0, np.pi / 2]) + rng.uniform(-0.03, 0.03)
    land.track_m = np.full(land.lattice.shape, FAR_M)
    if traits.plain:
        land.track = track
        return
    across = land.across(land.row_angle) + 0.25 * land.waves(rng, 60, 3)
    every_m, gauge_m = rng.uniform(19, 30), rng.uniform(1.7, 2.1)
    once_m = 1e6
    for at, spacing_m in ((across, every_m), (edge - rng.uniform(7, 11), once_m)):
        from_middle = np.abs((at + spacing_m / 2) % spacing_m - spacing_m / 2)
        wheel = np.abs(from_middle - gauge_m / 2)
        seen = smoothstep(land.waves(rng, 20), -1.3, -0.3) * (edge > 4.6)
        track = np.maximum(track, (1 - smoothstep(wheel, 0.16, 0.34)) * seen)
        land.track_m = np.minimum(land.track_m, np.where(edge > 4.6, wheel, FAR_M))
    track *= 1 - land.bank
    land.track = track * rng.uniform(0.55, 0.9)


def _pond(rng, land, traits):
    """A pond with a bare rim."""
    if traits.plain:
        land.pond = land.rim = land.zeros()
    else:
        land.pond = smoothstep(land.blob(rng, middle(land), rng.uniform(5, 11)), -0.3, 0.5)
        shore_m = ndimage.distance_transform_edt(land.pond < 0.5) * LATTICE_M
        land.rim = (1 - smoothstep(shore_m, 0.5, 2.2)).astype(np.float32) * (1 - land.pond)
    for i in range(5):
        land.bare[i] = blend(land.bare[i], WATER[i] * rng.uniform(0.8, 1.3), land.pond)


def middle(land):
    """Places well inside the field: row and column."""
    return np.argwhere(land.edge_m > 30)


def _spots(rng, land, traits):
    """Seeps, thin stands, and a paler strip that fertilizer missed; no weeds in any of them."""
    if traits.plain:
        land.seep, land.thin = land.zeros(), land.zeros()
    else:
        places = middle(land)
        seeps = [smoothstep(land.blob(rng, places, rng.uniform(8, 16)), -5, 5) for _ in range(2)]
        land.seep = np.clip(sum(seeps), 0, 1)
        thin = [smoothstep(land.blob(rng, places, rng.uniform(10, 22)), -6, 8) for _ in range(3)]
        land.thin = np.clip(sum(thin) + smoothstep(land.waves(rng, 18), 0.9, 2.4), 0, 1)
    angle = land.turn + rng.uniform(-0.1, 0.1) + rng.choice([0, np.pi / 2])
    off_m = land.across(angle) - rng.uniform(-60, 60)
    ragged_m = np.abs(off_m + 0.6 * land.waves(rng, 25))
    land.skip = (1 - smoothstep(ragged_m, rng.uniform(1.6, 3.2), 4.2)) * (0 if traits.plain else 1)


def _stand(rng, land, traits):
    """Cover and colour of leaf, and straw in it."""
    uneven = 0.15 if traits.plain else 1
    loss = (1 - traits.cover) * np.exp(uneven * 0.35 * land.waves(rng, 30) + uneven * 0.3 * land.waves(rng, 5))
    cover = 1 - np.clip(loss * (1 + 1.7 * land.thin + 1.0 * land.seep), 0, 0.6)
    pale = 0.25 * traits.stage + uneven * 0.10 * land.waves(rng, 45) + uneven * 0.05 * land.waves(rng, 7)
    pale = np.clip(pale + 0.45 * land.seep + 0.4 * land.skip + 0.15 * land.thin, 0, 1.2)
    bright = traits.bright * np.exp(uneven * 0.06 * land.waves(rng, 12))
    cover *= (1 - land.track) * (1 - land.pond) * (1 - 0.5 * land.rim)
    bank = np.clip(land.bank + (land.outside & ~land.road) + land.road, 0, 1).astype(np.float32)
    cover = blend(cover, land.bank_cover, bank)
    cover = blend(cover, np.minimum(cover, 0.35 + land.ditch_weeds), land.ditch)
    land.cover = np.clip(cover, 0, 0.995)
    land.leaf = []
    for i in range(5):
        rice = blend(RICE[i], RICE_PALE[i], pale) * bright
        land.leaf.append(blend(rice, land.bank_leaf[i], bank))
    straw = traits.dead * np.exp(0.9 * land.waves(rng, 9) * (not traits.plain))
    land.dead = straw * (1 + 1.2 * land.thin) * (land.edge_m > 4) * (1 - land.pond)


def _weeds(rng, land, traits):
    """Living weeds, killed ones, and what grows in ditches and alone."""
    land.killed = land.zeros()
    weeds = land.zeros()
    clear = ((land.edge_m > 9) & (land.levee_m > 5) & (land.pond < 0.01))[::8, ::8]
    places = np.argwhere(clear) * 8
    if traits.name not in NO_PATCHES:
        acres = np.append(acres_of(rng, traits, PATCHES.get(traits.name, 9), 0.02, 0.4), rng.uniform(0.3, 0.5))
        weeds = _patches(rng, land, traits, places, acres, traits.peak)
    if traits.name in ("killed", "before"):
        acres = acres_of(rng, traits, 5, 0.1, 0.5)
        land.killed = _patches(rng, land, traits, places, acres, rng.uniform(0.4, 0.6))
    weeds[land.killed > KILLED_LEAST] *= 0.05
    crop = (land.edge_m > 4.6) & ~land.inner & (land.pond < 0.3)
    acres = _checks(land, crop)
    land.green_weeds = land.zeros()
    if traits.name == "untreated":
        large = np.flatnonzero(acres > np.median(acres[1:]) * 0.6)
        land.apart = int(rng.choice(large))
        untreated = land.check == land.apart
        weeds = np.where(untreated, 0.3 * np.exp(0.4 * land.waves(rng, 10)), weeds * 0.9).astype(np.float32)
        land.green_weeds = untreated.astype(np.float32)
    weeds *= crop & (land.track < 0.2)
    land.field_weeds = weeds.copy()
    if not traits.plain:
        weeds = np.maximum(weeds, land.ditch * land.ditch_weeds * 0.6)
        alone = rng.uniform(0.001, 0.005) * (2 if traits.name == "faint" else 1)
        weeds = np.maximum(weeds, crop * alone * np.exp(0.8 * land.waves(rng, 5)))
    land.weeds = weeds


def acres_of(rng, traits, count, low, high):
    """Sizes of patches in acres, as many as a field of 25 acres has by count."""
    count = max(2, int(round(count * (traits.acres / 25))))
    return np.exp(rng.uniform(np.log(low), np.log(high), count))


def _patches(rng, land, traits, places, acres, peak):
    """Share of ground that patches of weeds hide: dense in the middle, ragged, falling off over some metres."""
    ragged = 0.55 if traits.name == "faint" else 0.30
    weeds = land.zeros()
    for size in acres:
        radius_m = np.sqrt(size * ACRE_M2 / np.pi)
        fall_m = 0.8 if traits.plain else min(rng.uniform(2, 6.5), 0.65 * radius_m)
        within_m = land.blob(rng, places, radius_m + 0.25 * fall_m, 2.2)
        dense = peak * rng.uniform(0.75, 1.25) * np.clip(within_m / fall_m, 0, 1)
        weeds = np.maximum(weeds, dense * np.exp(ragged * land.waves(rng, 3)))
    return np.clip(weeds, 0, 0.8)


def _checks(land, crop):
    """Numbers the pieces that levees cut the crop into, and returns their acres by number, 0 for none."""
    labels, _ = ndimage.label(ndimage.binary_opening(crop, iterations=3))
    acres = np.bincount(labels.ravel()) * LATTICE_M * LATTICE_M / ACRE_M2
    acres[0] = 0
    large = np.flatnonzero(acres > CHECK_LEAST_ACRES)
    number = np.zeros(len(acres), np.uint8)
    number[large] = np.arange(1, len(large) + 1)
    land.check = number[labels]
    return np.append(0.0, acres[large])


def _trees(rng, land, traits):
    """Trees along one side, which hide what is below them and throw shade."""
    land.crown, land.tree_shade = land.zeros(bool), land.zeros()
    if not traits.plain:
        _crowns(rng, land, traits)
    tree = land.crown.astype(np.float32)
    for i in range(5):
        crown = TREE[i] * np.exp(0.3 * ndimage.gaussian_filter(rng.standard_normal(land.lattice.shape), 2) * 7)
        land.leaf[i] = land.leaf[i] + (crown - land.leaf[i]).astype(np.float32) * tree
    land.cover = np.where(land.crown, 0.97, land.cover).astype(np.float32)
    land.weeds = np.where(land.crown, 0, land.weeds).astype(np.float32)
    land.killed *= ~land.crown


def _crowns(rng, land, traits):
    """Places trees along a side: ragged crowns, and shade all one way."""
    shady = traits.name == "shade"
    azimuth = rng.uniform(0, 2 * np.pi)
    reach_m = rng.uniform(12, 20) if shady else rng.uniform(5, 12)
    places = np.argwhere((land.edge_m > -8) & (land.edge_m < 3))
    places = places[land.side[places[:, 0], places[:, 1]] == rng.integers(4)]
    x, y = land.lattice.mesh()
    for _ in range(rng.integers(9, 16) if shady else rng.integers(3, 9)):
        row, column = places[rng.integers(len(places))]
        radius_m = rng.uniform(2.2, 5.5)
        if land.edge_m[row, column] > -1.5 and rng.random() < 0.6:
            continue
        dx, dy = x - x[0, column], y - y[row, 0]
        land.crown |= np.hypot(dx, dy) < radius_m
        for part in np.linspace(0.1, 1, 6):
            far_m = np.hypot(dx - part * reach_m * np.sin(azimuth), dy - part * reach_m * np.cos(azimuth))
            land.tree_shade = np.maximum(land.tree_shade, 1 - smoothstep(far_m, radius_m * 0.85, radius_m * 1.05))
    land.crown = land.crown & (ndimage.gaussian_filter(rng.standard_normal(land.lattice.shape), 2) > -0.12)


def _light(rng, land, traits):
    """Shade of trees and clouds, gains of the mapping lines, and haze."""
    cloud = land.zeros() if land.cloud is None else land.cloud
    if traits.name == "shade":
        sky = land.waves(rng, rng.uniform(50, 90), 3.5)
        dense = rng.uniform(0.75, 0.95)
        cloud = dense * smoothstep(sky, np.quantile(sky, rng.uniform(0.5, 0.65)), np.quantile(sky, 0.85))
    lost = np.maximum(land.tree_shade * ~land.crown, cloud)
    angle = land.turn + rng.choice([0, np.pi / 2]) + rng.uniform(-0.2, 0.2)
    at = land.across(angle) / rng.uniform(18, 32)
    line = np.floor(at + 0.03 * land.waves(rng, 10)).astype(int)
    line -= line.min()
    count = line.max() + 1
    common = rng.normal(0, traits.gain, count)
    land.light = []
    for band in range(5):
        gain = np.exp(common + rng.normal(0, traits.gain * 0.35, count))[line]
        land.light.append(((1 - (1 - SKYLIGHT[band]) * lost) * gain).astype(np.float32))
    land.haze = (traits.haze * np.clip(1 + 0.4 * land.waves(rng, 120), 0, 3)).astype(np.float32)
