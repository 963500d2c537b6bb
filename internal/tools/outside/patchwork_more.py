"""What befalls a field of the patchwork painter beyond weeds, by class: missed passes, drift, insects, nuisances.

Each class names functions that are called after steps of patchwork_land.lay_out, with random numbers of their own.
They change the land's layers, and leave in land.told what the run should say. Lengths are metres unless said.
"""

from dataclasses import replace

import numpy as np
from scipy import ndimage

from fields import ACRE_M2, smoothstep
from patchwork_land import GRASS, LATTICE_M, RICE, RICE_PALE, WATER, acres_of, blend, line_distance, middle

FEET_M = 0.3048
SWATH_FT = 65.0
SIDES = ("west", "north", "east", "south")
QUESTIONS = {"defoliation": "insects", "nitrogen": "nitrogen"}  # of the other classes: escapes
EATEN_WHOLE = 0.8  # of what insects ate, the part that is gaps as wide as a pixel
BEFORE_FLOWN = ("2026-06-29", "2026-06-30", "2026-07-01", "2026-07-02")  # by seed; all until the day of the herbicide
SKIP_PALE = 0.4  # paleness of the strip that fertilizer missed, as a share of the full lack (patchwork_land._stand)


def befalling(rng, traits):
    """A function for lay_out that does to the land what its class asks for."""
    events = EVENTS.get(traits.name, {})

    def befall(step, land):
        for event in events.get(step, ()):
            event(rng, land, traits)

    return befall


def options_of(land, traits):
    """Options of the run that only some classes have; swath and heading are told on odd seeds."""
    told, options = land.told, {}
    if "heading_deg" in told and traits.seed % 2:
        options |= {"swath": SWATH_FT, "spray-heading": round(told["heading_deg"], 2)}
    if "inlet" in told:
        options["marks"] = "marks.geojson"
    if traits.name == "before":
        options |= {"before": "before.tif", "before-flown": BEFORE_FLOWN[traits.seed % 4]}
    return options


def told_of(land):
    """Facts to hold a run against."""
    told = {"trend": None, "apart": land.apart, "skips": 0,
            "heading_deg": 0.0, "spacing_ft": SWATH_FT, "skip_width_ft": 7.0}
    return told | {key: value for key, value in land.told.items() if key != "inlet"}


# What several classes need.


def _on_crop(land):
    """Share of ground that is sown: no bank, road, pond or land outside."""
    return (1 - np.clip(land.bank + land.outside, 0, 1)) * (1 - land.pond)


def _fade(land, traits, pale, lost=0.0):
    """Pales the crop by a share of the full lack of nitrogen, and takes a share of its cover."""
    crop = _on_crop(land)
    for i in range(5):
        land.leaf[i] = (land.leaf[i] + pale * crop * (RICE_PALE[i] - RICE[i]) * traits.bright).astype(np.float32)
    land.cover = np.clip(land.cover * (1 - lost * crop), 0, 0.995).astype(np.float32)


def _strike(land, lost):
    """Takes a share of all that grows."""
    for name in ("cover", "weeds", "field_weeds", "dead"):
        setattr(land, name, (getattr(land, name) * (1 - lost)).astype(np.float32))


def _spread(rng, land, acres, places, fall_m, stretch=1.6):
    """Ragged patches of given sizes: 0 outside to 1 inside, rising over some metres around their edge, one by one."""
    for size in acres:
        radius_m = np.sqrt(size * ACRE_M2 / np.pi)
        half_m = min(rng.uniform(*fall_m), radius_m) / 2
        yield smoothstep(land.blob(rng, places, radius_m, stretch), -half_m, half_m)


def _passes(rng, land):
    """Angle across an airplane's passes, nearly along one of the field's sides; tells their heading.

    The heading is clockwise from true north, 0 to 180: the grid's own, turned by the meridians' convergence.
    """
    angle = land.turn + rng.choice([0, np.pi / 2]) + rng.uniform(-0.12, 0.12)
    lattice = land.lattice
    north = np.radians(lattice.north / 110900)
    east = np.radians((lattice.east - 500000) / (111320 * np.cos(north)))
    land.told["heading_deg"] = float((np.degrees(-angle) + np.degrees(east * np.sin(north))) % 180)
    return angle


# Missed passes, and the camera's lines that look like them.


def _skip(rng, land, traits):
    """Strips that passes left: 3 to 8 ft wide, multiples of the swath apart, full of weeds that were hardly touched."""
    at = land.across(_passes(rng, land)) + 0.10 * land.waves(rng, 30)
    low, high = np.quantile(at[land.edge_m > 0], (0.08, 0.92))
    count, swath_m = int(rng.integers(2, 5) if traits.seed % 2 else rng.integers(3, 5)), SWATH_FT * FEET_M
    steps = rng.choice([1, 1, 2], count - 1)
    if steps.sum() * swath_m > high - low:
        steps[:] = 1
    offsets = np.append(0, np.cumsum(steps)) * swath_m
    first = rng.uniform(low, max(low + 1, high - offsets[-1]))
    strip = land.zeros()
    for place in first + offsets:
        half_m = rng.uniform(3, 8) * FEET_M / 2
        strip = np.maximum(strip, 1 - smoothstep(np.abs(at - place), half_m - 0.2, half_m + 0.2))
    thick = (0.3 + 0.7 * smoothstep(land.waves(rng, 9), -1.6, 0.6)) * np.exp(0.35 * land.waves(rng, 2))
    weeds = strip * thick * rng.uniform(0.16, 0.28)
    crop = (land.edge_m > 4.6) & ~land.inner & (land.pond < 0.3) & (land.track < 0.2)
    land.weeds = np.maximum(land.weeds, np.clip(weeds, 0, 0.8) * crop).astype(np.float32)
    land.green_weeds = np.maximum(land.green_weeds, strip * rng.uniform(0.30, 0.50)).astype(np.float32)
    land.strips = (strip > 0.5) & (land.edge_m > 0)
    land.told["skips"] = count


def _mapping_lines(rng, land, traits):
    """Mapping lines as far apart as the passes, each with a brightness and a colour of its own, and darker sides."""
    at = land.across(_passes(rng, land)) / (SWATH_FT * FEET_M) + rng.uniform() + 0.012 * land.waves(rng, 10)
    line = np.floor(at).astype(int)
    aside = (2 * (at - line) - 1)**2
    line -= line.min()
    common = rng.normal(0, rng.uniform(0.045, 0.075), line.max() + 1)
    colour, fall = rng.uniform(0.020, 0.035), rng.uniform(0.03, 0.08)
    for band in range(5):
        gain = np.exp(common + rng.normal(0, colour, len(common)))[line]
        land.light[band] = (land.light[band] * gain * (1 - fall * (aside - 1 / 3))).astype(np.float32)
    land.told["verdict"] = "cannot tell"


# What befalls the crop.


def _no_nitrogen(rng, land, traits):
    """One check given no nitrogen, or next to none."""
    number, cells = np.unique(land.check[land.check > 0], return_counts=True)
    land.apart = int(rng.choice(number[cells >= 0.6 * np.median(cells)]))
    check = ndimage.gaussian_filter((land.check == land.apart).astype(np.float32), 2)
    part = check * rng.uniform(0.55, 0.85) * np.clip(1 + 0.12 * land.waves(rng, 15), 0.5, 1.3)
    _fade(land, traits, part, 0.05 * part)


def _drift(rng, land, traits):
    """Herbicide from over one edge: half as much every so many metres, paling and thinning the crop."""
    half_m, side = rng.uniform(60, 150) * FEET_M, int(rng.integers(4))
    inside = land.edge_m > 0
    turned = np.rot90(inside, side)  # what was north lies west after one turn to the left
    far_m = np.rot90(np.cumsum(turned, 1), -side) * LATTICE_M
    land.told["trend"] = {"from": f"{SIDES[side]} edge", "half_distance_ft": half_m / FEET_M}
    level = np.exp2(-far_m / half_m) * inside * np.clip(1 + 0.18 * land.waves(rng, 12), 0.4, 1.6)
    level = (level * rng.uniform(0.85, 1.1)).astype(np.float32)
    _fade(land, traits, 0.95 * level, 0.18 * level)
    land.dead = (land.dead * (1 + 2 * level) + 0.03 * level * _on_crop(land)).astype(np.float32)


def _inlet(rng, land, traits):
    """Where water comes in, by a scour inside the perimeter; near a corner of the field."""
    corner = land.drawn[0] if rng.random() < 0.5 else land.drawn[len(land.drawn) // 2]
    x, y = land.lattice.mesh()
    far_m = np.hypot(x - corner[0], y - corner[1])
    places = np.argwhere((land.edge_m > 5) & (land.edge_m < 6.5) & (far_m < far_m[land.edge_m > 5].min() + 25))
    row, column = places[rng.integers(len(places))]
    land.told["inlet"] = (float(x[0, column]), float(y[row, 0]))
    scour = smoothstep(land.blob(rng, np.array([[row, column]]), rng.uniform(2.5, 4.0)), -0.3, 0.5)
    land.pond = np.maximum(land.pond, scour)
    for i in range(5):
        land.bare[i] = blend(land.bare[i], WATER[i], scour)


def _fan(rng, land, traits):
    """A fan of cold water: thin, pale and late round the inlet, half as much every so many metres."""
    half_m = rng.uniform(60, 150) * FEET_M
    x, y = land.lattice.mesh()
    east, north = land.told["inlet"]
    land.told["trend"] = {"from": "inlet", "half_distance_ft": half_m / FEET_M}
    level = np.exp2(-np.hypot(x - east, y - north) / half_m) * np.clip(1 + 0.18 * land.waves(rng, 10), 0.4, 1.6)
    level = (level * rng.uniform(0.8, 1.1)).astype(np.float32)
    _fade(land, traits, 0.8 * level, 0.28 * level)


def _insects(rng, land, traits):
    """Patches that insects fed on, most of them from the edges and banks; stands as thin that they did not touch.

    Most of what they ate is gaps between leaves; the rest is gnawed off leaves that stand (patchwork._slab).
    """
    edge = np.argwhere((land.edge_m > 4) & ((land.edge_m < 22) | (land.levee_m < 4)))
    eaten = land.zeros()
    for k, part in enumerate(_spread(rng, land, acres_of(rng, traits, 8, 0.10, 0.5), edge, (5, 12), 3)):
        deep = 0.42 if k == 0 else rng.uniform(0.14, 0.40)  # one is plain
        eaten = np.maximum(eaten, part * deep)
    eaten = eaten * np.clip(1 + 0.22 * land.waves(rng, 4) + 0.15 * land.waves(rng, 1.2), 0.3, 1.7)
    land.eaten = (np.clip(eaten, 0, 0.45) * _on_crop(land) * (land.edge_m > 4.6)).astype(np.float32)
    thin = sum(part * rng.uniform(0.14, 0.40) for part in
               _spread(rng, land, acres_of(rng, traits, 12, 0.05, 0.4), middle(land), (4, 12), 3))
    uneven = 0.07 * np.clip(land.waves(rng, 12) + 0.6 * land.waves(rng, 2), 0, 3)
    thin = thin * np.clip(1 + 0.22 * land.waves(rng, 4) + 0.15 * land.waves(rng, 1.2), 0.3, 1.7)
    thin = np.clip(thin + uneven, 0, 0.5) * _on_crop(land)
    land.cover = (land.cover * (1 - EATEN_WHOLE * land.eaten) * (1 - thin)).astype(np.float32)


def _lack(rng, land, traits):
    """Patches short of nitrogen with gradual edges, some of them drawn out; others that are pale for other reasons."""
    short = land.zeros()
    acres = acres_of(rng, traits, 7, 0.10, 0.7)
    for k, part in enumerate(_spread(rng, land, acres, middle(land), (9, 22), 3.5)):
        deep = 0.7 if k == 0 else rng.uniform(0.25, 0.75)
        short = np.maximum(short, part * deep)
    short = np.clip(short * (1 + 0.10 * land.waves(rng, 6)), 0, 0.8) * _on_crop(land)
    _fade(land, traits, short, 0.12 * short)
    land.short = np.clip(short + SKIP_PALE * land.skip, 0, 1).astype(np.float32)
    bad = sum(part * rng.uniform(0.2, 0.5) for part in
              _spread(rng, land, acres_of(rng, traits, 6, 0.05, 0.4), middle(land), (6, 16), 2.5))
    bad = np.clip(bad, 0, 0.6)
    late = 0.07 * land.waves(rng, 18) + 0.04 * land.waves(rng, 3)
    _fade(land, traits, bad + late, 0.2 * bad)  # ground that is poor or was cut
    land.dead = (land.dead * (1 + 2 * bad)).astype(np.float32)


def _clump(rng, land, traits):
    """Clumps of weeds in places that two flights share."""
    clumps = np.exp(0.7 * land.waves(rng, 0.8) - 0.245)
    for name in ("weeds", "field_weeds", "killed"):
        setattr(land, name, np.clip(getattr(land, name) * clumps, 0, 0.85).astype(np.float32))


def earlier(rng, land, traits):
    """The land and the traits of a flight of eleven to fourteen days before: younger crop, weeds green and whole."""
    crop = _on_crop(land)
    grown = rng.uniform(0.84, 0.93)
    weeds = np.maximum(land.weeds, 0.7 * land.killed) * rng.uniform(0.65, 0.85)
    young = np.array([1.10, 1.16, 1.14, 1.10, 0.90]) * rng.uniform(0.95, 1.05)  # of leaf, by band
    leaf = [(layer * (1 + (young[i] - 1) * crop)).astype(np.float32) for i, layer in enumerate(land.leaf)]
    cover = land.cover * (1 - (1 - grown) * crop) * np.clip(1 + 0.03 * land.waves(rng, 20), 0.9, 1.1)
    light = [(layer * np.exp(0.03 * land.waves(rng, 40)) * rng.uniform(0.93, 1.07)).astype(np.float32)
             for layer in land.light]
    then = replace(land, cover=np.clip(cover, 0, 0.995).astype(np.float32), leaf=leaf, weeds=weeds.astype(np.float32),
                   killed=land.zeros(), green_weeds=np.ones_like(land.green_weeds), light=light,
                   dead=land.dead * 0.6, haze=land.haze * np.float32(rng.uniform(0.5, 1.5)))
    return then, replace(traits, pixel_m=traits.pixel_m * rng.uniform(1.0, 1.12),
                         noise=traits.noise * rng.uniform(0.8, 1.2), blur_px=rng.uniform(0.6, 0.9))


# Banks, shade and nuisances.


def _break_banks(rng, land, traits):
    """Washes banks out over a third or so of their length, and puts small ring levees into the field."""
    washed = smoothstep(land.waves(rng, 9, 3) + rng.uniform(-0.6, -0.2), -0.15, 0.25)
    land.bank = land.bank * (1 - 0.92 * washed)
    land.ditch = land.ditch * (1 - 0.7 * smoothstep(land.waves(rng, 7, 3), 0, 0.5))
    for _ in range(rng.integers(2, 4)):
        inside_m = ndimage.gaussian_filter(land.blob(rng, middle(land), rng.uniform(8, 17)), 2.0 / LATTICE_M)
        round_m = line_distance((inside_m > 0).astype(np.float32))
        round_m += 0.15 * land.waves(rng, 3)
        half_m, ditch_m = rng.uniform(0.6, 0.9), rng.uniform(0.4, 0.8)
        open_at = 0.9 * smoothstep(land.waves(rng, 8, 3), 0.6, 0.9)
        bank = (1 - smoothstep(round_m, half_m - 0.25, half_m + 0.2)) * (1 - open_at)
        end_m = half_m + ditch_m
        land.bank = np.maximum(land.bank, bank)
        ditch = (1 - smoothstep(round_m, end_m - 0.2, end_m + 0.2)) * (1 - open_at)
        land.ditch = np.maximum(land.ditch, ditch) * (1 - land.bank)
        land.levee_m = np.minimum(land.levee_m, round_m)
        land.inner = land.inner | (round_m < end_m + 0.25)


def _grass_banks(rng, land, traits):
    """Grass over most of the banks inside the field, more of it green than elsewhere."""
    inner = land.inner & (land.edge_m > 1)  # a levee's line goes on outside the field
    green = smoothstep(land.waves(rng, 10), -1.0, 0.6) * inner
    land.bank_leaf = [blend(layer, GRASS[i], 0.8 * green) for i, layer in enumerate(land.bank_leaf)]
    grass = np.clip(0.82 + 0.2 * land.waves(rng, 6), 0.3, 0.97)
    land.bank_cover = np.where(inner, np.maximum(land.bank_cover, grass), land.bank_cover).astype(np.float32)


def _cloud(rng, land, traits):
    """Deep shade of a cloud over a quarter of the field."""
    sky = land.waves(rng, rng.uniform(60, 110), 3.5)
    edge = np.quantile(sky[land.edge_m > 0], 0.75)
    soft = rng.uniform(0.08, 0.25)
    land.cloud = rng.uniform(0.93, 1.0) * smoothstep(sky, edge - soft, edge + soft)


def _thin_spots(rng, land, traits):
    """More thin stands and wet ground."""
    acres = acres_of(rng, traits, 6, 0.03, 0.25)
    thin = sum(part * rng.uniform(0.08, 0.3) for part in _spread(rng, land, acres, middle(land), (3, 9), 2))
    thin = np.clip(thin, 0, 0.5) * np.exp(0.2 * land.waves(rng, 2))
    _fade(land, traits, 0.3 * thin, thin)
    wet = sum(_spread(rng, land, acres_of(rng, traits, 3, 0.05, 0.2), middle(land), (6, 12)))
    wet = np.clip(wet, 0, 1)
    _fade(land, traits, 0.45 * wet, 0.08 * wet)
    for i in range(5):
        land.bare[i] = blend(land.bare[i], WATER[i], 0.7 * wet * _on_crop(land))


def _lodge(rng, land, traits):
    """Crop that wind laid down: smooth, paler, in swirls of brighter and darker streaks."""
    for size in acres_of(rng, traits, 3, 0.03, 0.2):
        radius_m = np.sqrt(size * ACRE_M2 / np.pi)
        inside_m = land.blob(rng, middle(land), radius_m, 2)
        laid = smoothstep(inside_m, -0.4, 1.2) * _on_crop(land)
        along_m = land.across(rng.uniform(0, 2 * np.pi)) + 2.5 * land.waves(rng, 9, 3)
        streaks = np.sin(2 * np.pi * along_m / rng.uniform(1.8, 3.5)) + 0.6 * land.waves(rng, 1.5)
        tone = np.exp(laid * (rng.uniform(0.02, 0.16) + 0.08 * streaks))
        _fade(land, traits, 0.25 * laid)
        land.leaf = [(layer * tone).astype(np.float32) for layer in land.leaf]
        land.cover = (land.cover + (0.985 - land.cover) * 0.7 * laid).astype(np.float32)
        land.dead = (land.dead * (1 + 1.5 * laid)).astype(np.float32)


def _hogs(rng, land, traits):
    """Trails that hogs trod from one side, with ground that they rooted up."""
    side = rng.integers(4)
    start = np.argwhere((land.edge_m > 1) & (land.edge_m < 2.5) & (land.side == side))
    start = start[np.argsort(start @ rng.normal(size=2))][len(start) // 4:3 * len(start) // 4]
    centre = np.argwhere(land.edge_m > 0).mean(0)
    trod = np.ones(land.lattice.shape, bool)
    path = []
    at_first = start[rng.integers(len(start))].astype(float)
    for _ in range(rng.integers(3, 6)):
        at = at_first + rng.normal(0, 12, 2)
        heading = np.arctan2(*(centre - at)) + rng.normal(0, 0.5)
        for _ in range(rng.integers(300, 800)):
            heading += rng.normal(0, 0.09)
            at = at + 0.9 * np.array([np.sin(heading), np.cos(heading)])
            row, column = at.astype(int)
            if not (0 <= row < trod.shape[0] and 0 <= column < trod.shape[1]) or land.edge_m[row, column] < -3:
                break
            trod[row, column] = False
            path.append((row, column))
    far_m = ndimage.distance_transform_edt(trod) * LATTICE_M + 0.08 * land.waves(rng, 2)
    lost = 1 - smoothstep(far_m, 0.2, 0.5)
    for _ in range(rng.integers(4, 9)):
        rooted = land.blob(rng, np.array(path), rng.uniform(1.0, 3.5), 2.5)
        lost = np.maximum(lost, smoothstep(rooted, -0.2, 0.6))
    lost = (lost * (land.edge_m > 0) * np.clip(0.72 + 0.2 * land.waves(rng, 2), 0, 0.95)).astype(np.float32)
    _strike(land, lost)
    land.dead = np.maximum(land.dead, 0.06 * lost * _on_crop(land)).astype(np.float32)


def _wash_out(rng, land, traits):
    """A breach through a levee, and the silt that was laid down below it."""
    places = np.argwhere((land.levee_m < 0.5) & (land.edge_m > 20))
    if not len(places):
        places = middle(land)
    for _ in range(2):
        washed = smoothstep(land.blob(rng, places, rng.uniform(4, 8), 4), -1, 2.5)
        washed = (washed * np.clip(0.75 + 0.25 * land.waves(rng, 3), 0, 0.97)).astype(np.float32)
        _strike(land, washed)
        for i in range(5):
            land.bare[i] = blend(land.bare[i], land.soil[i] * 1.25, 0.8 * washed)


def _variety(rng, land, traits):
    """Some drill widths of another variety: a little paler, a little more or less upright."""
    off_m = np.abs(land.across(land.row_angle) - rng.uniform(-50, 50))
    half_m = rng.uniform(8, 22)
    strip = (1 - smoothstep(off_m, half_m - 0.2, half_m + 0.2)) * _on_crop(land)
    tone = rng.uniform(0.94, 1.06) * rng.uniform(0.97, 1.03, 5)
    _fade(land, traits, rng.uniform(0.1, 0.3) * strip, rng.uniform(0, 0.03))
    for i in range(5):
        land.leaf[i] = (land.leaf[i] * (1 + (tone[i] - 1) * strip)).astype(np.float32)


def _around(rng, land, radius_m):
    """A round bell, 1 in its middle, in a place of the field's inside."""
    places = middle(land)
    row, column = places[rng.integers(len(places))]
    x, y = land.lattice.mesh()
    return np.exp(-((x - x[0, column])**2 + (y - y[row, 0])**2) / radius_m**2).astype(np.float32)


def _glint(rng, land, traits):
    """The sun on water between the leaves: the ground bright, alike in all bands, where it is wet."""
    for _ in range(2):
        wet = np.clip(0.25 + land.wet + land.pond + land.ditch, 0, 1.2)
        sun = _around(rng, land, rng.uniform(12, 25)) * wet * rng.uniform(0.12, 0.3)
        land.bare = [(layer + sun * rng.uniform(0.95, 1.05)).astype(np.float32) for layer in land.bare]


def _hot_spots(rng, land, traits):
    """Round bright places where leaves hide their own shade from the camera."""
    for _ in range(3):
        bright = 1 + rng.uniform(0.08, 0.2) * _around(rng, land, rng.uniform(8, 20))
        land.light = [layer * bright for layer in land.light]


def _haze(rng, land, traits):
    """Haze that thickens from one side of the field to the other."""
    at = land.across(rng.uniform(0, 2 * np.pi))
    land.haze = (land.haze * (1 + 2.5 * smoothstep(at, at.min(), at.max()))).astype(np.float32)


def _seams(rng, land, traits):
    """Every other mapping line lies a little off."""
    at = land.across(land.turn + rng.choice([0, np.pi / 2]) + rng.uniform(-0.2, 0.2)) / rng.uniform(20, 30)
    land.seam = (np.floor(at + 0.04 * land.waves(rng, 8)).astype(int) % 2).astype(np.float32)


# By class: what is done after which step of lay_out.
EVENTS = {
    "skips": {"weeds": (_skip,)},
    "lines": {"light": (_mapping_lines,)},
    "nonitrogen": {"weeds": (_no_nitrogen,)},
    "drift": {"weeds": (_drift,)},
    "fan": {"pond": (_inlet,), "weeds": (_fan,)},
    "traps": {"weeds": (_thin_spots, _variety, _lodge, _wash_out, _hogs, _glint), "light": (_hot_spots, _haze, _seams)},
    "dark": {"trees": (_cloud,)},
    "broken": {"levees": (_break_banks,), "perimeter": (_grass_banks,)},
    "defoliation": {"weeds": (_insects,)},
    "nitrogen": {"weeds": (_lack,)},
    "before": {"weeds": (_clump,)},
}
