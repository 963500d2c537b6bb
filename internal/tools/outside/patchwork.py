#!/usr/bin/python3
"""Paints fields and flights with their truth out of random fields, apart from the painter that sets plants.

    patchwork.py --class believable --seed 1 --out FOLDER [--acres 3]

writes FOLDER/believable-1/ with flight.tif (and before.tif, marks.geojson), field.geojson, scene.json (options of the
run, facts to hold it against) and truth.npz (the truth on cells of half a metre), as paint.py does. A folder that is
whole is used again, so the two painters need folders of their own. Needs Debian's python3-numpy, python3-scipy and
python3-gdal.
"""

import argparse
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from osgeo import gdal, ogr
from scipy import ndimage
from scipy.special import ndtri

from fields import Raster
from matter import BANDS, BLUE, GREEN, NIR, RED, REDEDGE
from patchwork_land import LATTICE_M, LITTER, STRAW, WEED, WEED_BROWN, WEED_YELLOW, lay_out
from patchwork_more import EATEN_WHOLE, befalling, earlier
from patchwork_truth import describe, truth_of, utm
from scenes import painted

gdal.UseExceptions()
ogr.UseExceptions()

# The order is part of each scene's random numbers. A tiny field is a believable one that a test can paint in seconds.
CLASSES = ("plain", "believable", "colour", "shade", "faint", "nolevees", "clean", "killed", "untreated", "tiny",
           "skips", "lines", "nonitrogen", "drift", "fan", "traps", "dark", "broken", "defoliation", "nitrogen",
           "before")
FIRST_CLASSES = 10  # of these, whose sensors are their own; the rest go round several by seed
SENSORS = {"nitrogen": ("four", "five"), "dark": ("four8", "colour")}  # of classes that do not go round all four
TINY_ACRES = 3.0
TRAITS_STREAM, LAND_STREAM, FLIGHT_STREAM, EVENT_STREAM, BEFORE_STREAM = range(77, 82)  # of random numbers

BEFORE_SHIFT_M = 1.3  # deviation of the earlier flight's place along each axis
RIM_M = 3.0  # of the lattice that no picture shows
SLAB_ROWS = 512  # of pixels, painted at a time
PAD_ROWS = 8  # around a slab, so that blur does not show its ends
SEAM_PX = (2, -1)  # how far a mapping line lies off where it has seams: rows, columns

# Bands of each sensor, in the order of its file.
ORDER = {
    "four": (GREEN, RED, REDEDGE, NIR),
    "four8": (GREEN, RED, REDEDGE, NIR),
    "five": (BLUE, GREEN, RED, REDEDGE, NIR),
    "colour": (RED, GREEN, BLUE),
}
KIND = {"four": gdal.GDT_UInt16, "four8": gdal.GDT_Byte, "five": gdal.GDT_Float32, "colour": gdal.GDT_Byte}
NO_DATA = {"four": 0, "five": -10000}
HAZE = (1, 0.6, 0.4, 0.3, 0.15)  # of what the blue gets
BELOW = (0.62, 0.58, 0.60, 0.45, 0.28)  # share of light that a closed crop takes from the ground, by band
WHITE8 = (1, 1, 1, 1.6, 2.4)  # of the white level of a linear file of 8 bits, by band


@dataclass
class Traits:
    """All that a scene is drawn from; shares from 0 to 1, deviations relative unless said."""

    name: str
    seed: int
    plain: bool  # nothing in the field but levees, rice and dense weeds
    sensor: str  # four, four8, five, colour
    pixel_m: float
    acres: float
    levees: str  # none, straight, contour
    soil: int
    stage: float  # 0 green to 1 pale
    bright: float  # factor on leaf
    cover: float
    row_m: float  # distance of the drill's rows, 0 where none show
    brown: float  # mean colour of weeds: 0 green, 0.5 yellow, 1 brown
    peak: float  # share of ground that weeds hide in the middle of a patch
    opaque: float  # how far a pixel of weeds is weed
    clump_px: float
    noise: float  # deviation in reflectance where it is 0.1
    blur_px: float
    gain: float  # deviation between mapping lines
    haze: float  # reflectance added in the blue
    dead: float  # share of straw in the stand
    leaf_contrast: float  # deviation of leaf from pixel to pixel


def seeds(_, parity):
    """Seeds of a class for the table: the same for all."""
    return [1, 3, 5, 7] if parity == "odd" else [2, 4]


def _stream(number, name, seed):
    """One of the streams of random numbers of a scene."""
    return np.random.default_rng([number, CLASSES.index(name), seed])


def _sensor(name, seed):
    """The sensor of a scene: by class, and of some classes by seed."""
    number = CLASSES.index(name)
    if number >= FIRST_CLASSES:
        sensors = SENSORS.get(name, ("four", "colour", "five", "four8"))
        return sensors[((seed - 1) // 2 + number) % len(sensors)]
    if name == "colour" or (name == "clean" and seed % 4 in (0, 3)):
        return "colour"
    if name == "nolevees" or (name in ("killed", "untreated") and seed % 4 == 3):
        return "five"
    return "four8" if name == "shade" else "four"


def traits_of(name, seed, acres=None):
    """The traits of a scene; acres instead of those that the seed draws."""
    rng = _stream(TRAITS_STREAM, name, seed)
    faint, colour, sensor = name == "faint", name == "colour", _sensor(name, seed)
    if name == "tiny":
        acres = acres or TINY_ACRES
    drawn = {
        "pixel_m": rng.uniform(0.040, 0.050) if sensor == "colour" else rng.uniform(0.050, 0.060),
        "acres": acres or rng.uniform(20, 29),
        "levees": "none" if name == "nolevees" else str(rng.choice(["contour", "contour", "straight"])),
        "soil": rng.integers(4),
        "stage": rng.uniform(0, 1),
        "bright": rng.uniform(0.85, 1.15),
        "cover": rng.uniform(0.88, 0.965),
        "row_m": float(rng.choice([0, 0.19, 0.25])),
        "brown": rng.uniform(0.9, 1.1) if colour else rng.uniform(0.72, 0.95),
        "peak": rng.uniform(0.088, 0.11) if faint else rng.uniform(0.20, 0.38),
        "opaque": rng.uniform(0.85, 1) if colour else rng.uniform(0.75, 1),
    }
    if faint:
        rng.uniform(size=2)  # draws of former bounds; what follows would change without them
    drawn |= {
        "clump_px": rng.uniform(2.0, 2.8) if faint else rng.uniform(1.3, 2.1),
        "noise": rng.uniform(0.003, 0.0055),
        "blur_px": rng.uniform(0.6, 0.9),
        "gain": rng.uniform(0.01, 0.03),
        "haze": rng.uniform(0.004, 0.015),
        "dead": rng.uniform(0.006, 0.02),
        "leaf_contrast": rng.uniform(0.17, 0.26),
    }
    if faint:
        drawn |= {"opaque": rng.uniform(0.55, 0.75), "brown": rng.uniform(0.62, 0.82)}
    if name == "plain":
        drawn |= {"noise": 0.0006, "blur_px": 0.35, "gain": 0.0, "haze": 0.0, "dead": 0.0,
                  "leaf_contrast": 0.12, "opaque": 1.0,
                  "cover": rng.uniform(0.96, 0.985), "peak": rng.uniform(0.4, 0.6), "brown": rng.uniform(0.8, 0.95)}
    if name == "lines":
        drawn["gain"] = 0.0  # its lines are drawn in patchwork_more.py
    return Traits(name=name, seed=seed, plain=name == "plain", sensor=sensor, **drawn)


def paint(name, seed, folder, acres=None):
    """Paints a scene unless it is there, and returns its folder."""
    return painted(name, seed, folder, lambda out: _paint(traits_of(name, seed, acres), out))


def _paint(traits, out):
    """Paints all files of a scene but scene.json, which it returns."""
    befall = befalling(_stream(EVENT_STREAM, traits.name, traits.seed), traits)
    land = lay_out(_stream(LAND_STREAM, traits.name, traits.seed), traits, befall)
    _flight(_stream(FLIGHT_STREAM, traits.name, traits.seed), land, traits, out / "flight.tif")
    if traits.name == "before":
        rng = _stream(BEFORE_STREAM, traits.name, traits.seed)
        shift_m = rng.normal(0, BEFORE_SHIFT_M, 2)
        _flight(rng, *earlier(rng, land, traits), out / "before.tif", shift_m)
    layers = truth_of(land, traits)
    np.savez_compressed(out / "truth.npz", **layers)
    return describe(land, traits, layers, out)


# The flight: from shares on the lattice to pixels.


@dataclass
class Camera:
    """What the camera adds, drawn once for a flight; arrays by band, blue to near infrared."""

    scale: float  # numbers in a file of 16 bits for reflectance 1
    shift_px: np.ndarray  # of five bands against each other: rows, columns
    curve: float  # how much S the tone curve has
    white: float  # reflectance that is shown white
    balance: np.ndarray  # factors of a colour camera's bands
    sensitivity: np.ndarray  # factors of a four-band camera that is not calibrated


@dataclass
class Scores:
    """Shares on the lattice as quantiles of the normal distribution: what a pixel's random field has to stay below."""

    cover: np.ndarray
    weeds: np.ndarray
    killed: np.ndarray
    dead: np.ndarray


@dataclass
class Slab:
    """Shares and factors of each pixel of some rows."""

    cover: np.ndarray  # of crop and grass leaf
    leaf: np.ndarray  # factor on that leaf
    clods: np.ndarray  # factor on the ground and what lies on it
    dead: np.ndarray  # share of straw
    weeds: np.ndarray  # share hidden by living weeds
    yellow: np.ndarray  # how far these went from green to yellow
    brown: np.ndarray  # and from there to brown
    killed: np.ndarray  # share of killed litter, None where the land has none


def _flight(rng, land, traits, path, shift_m=(0.0, 0.0)):
    """Paints the flight in slabs of rows; the file says that it lies off by a shift, east and north."""
    picture = _picture(rng, land, traits)
    camera = _camera(rng, traits)
    tint = rng.uniform(0.9, 1.1, 5)  # of green weeds, by band
    tone = rng.uniform(0.8, 1.25)  # of brown ones
    colours = WEED * tint, WEED_YELLOW, WEED_BROWN.astype(float) * tone
    scores = Scores(_score(land.cover, 0.004, 0.996), _score(land.weeds, 1e-4, 0.95),
                    _score(land.killed, 1e-4, 0.95), _score(land.dead, 1e-4, 0.5))
    placed = replace(picture, east=picture.east + shift_m[0], north=picture.north + shift_m[1])
    target = _create(path, placed, land.zone, traits.sensor)
    for first in range(0, picture.rows, SLAB_ROWS):
        rows = np.arange(first - PAD_ROWS, min(first + SLAB_ROWS, picture.rows) + PAD_ROWS)
        slab = _slab(rng, land, traits, scores, picture, rows)
        bands = []
        for band in ORDER[traits.sensor]:
            light = _reflect(land, traits, slab, picture, rows, band, [c[band] for c in colours])
            if land.seam is not None:
                moved = _lift(land.seam, land.lattice, picture, rows) > 0.5
                light = np.where(moved, np.roll(light, SEAM_PX, (0, 1)), light)
            bands.append(_expose(rng, light, traits, camera, band))
        target.WriteArray(np.stack(bands), 0, first)
    target.FlushCache()


def _picture(rng, land, traits):
    """The pixels of the flight: over the lattice less a rim, on a grid of their own."""
    lattice, px = land.lattice, traits.pixel_m
    east, north = lattice.east + RIM_M + rng.uniform(0, 0.4), lattice.north - RIM_M - rng.uniform(0, 0.4)
    columns, rows = (int((n * LATTICE_M - 2 * RIM_M - 0.5) / px) for n in (lattice.columns, lattice.rows))
    return Raster(east, north, px, rows, columns)


def _camera(rng, traits):
    """Draws what the camera adds."""
    scale = float(rng.choice([10000, 32768]))
    shift = np.zeros((5, 2)) if traits.plain else rng.uniform(-1, 1, (5, 2))
    shift[GREEN] = 0
    if traits.sensor == "colour":  # one lens for all
        shift *= 0.35
    elif traits.name == "traps":
        shift = np.sign(shift)
    curve, white = rng.uniform(0.2, 0.4), rng.uniform(0.24, 0.30) * traits.bright
    balance = rng.uniform(0.95, 1.05, 5)
    sensitivity = np.array([1.1, 1, 1, 0.9, 0.7]) * rng.uniform(0.9, 1.15, 5)
    if traits.sensor != "four" or traits.plain or traits.seed % 3:
        sensitivity = np.ones(5)
    return Camera(scale, shift, curve, white, balance, sensitivity)


def _score(share, low, high):
    """The standard normal quantile of a share between bounds."""
    return ndtri(np.clip(share, low, high)).astype(np.float32)


def _grain(rng, shape, sigma_px, coarse_px=0, part=0):
    """A random field on pixels, mean 0, deviation 1; part of its variance from coarser grain."""
    grain = ndimage.gaussian_filter(rng.standard_normal(shape, dtype=np.float32), sigma_px, truncate=2.5)
    grain /= grain[::3, ::3].std()
    if not part:
        return grain
    knots = rng.standard_normal([int(n / coarse_px) + 4 for n in shape], dtype=np.float32)
    coarse = ndimage.zoom(knots, coarse_px, order=2)[:shape[0], :shape[1]]
    return np.sqrt(1 - part) * grain + np.sqrt(part) / coarse[::3, ::3].std() * coarse


def _lift(layer, lattice, picture, rows):
    """A layer of the lattice on some rows of the picture, by linear interpolation; rows beyond it repeat its ends."""
    rows = np.clip(rows, 0, picture.rows - 1)
    down = (lattice.north - (picture.north - (rows + 0.5) * picture.pixel_m)) / LATTICE_M - 0.5
    row = np.clip(down.astype(int), 0, lattice.rows - 2)
    down = (down - row).astype(np.float32)[:, None]
    right = (picture.eastings() - lattice.east) / LATTICE_M - 0.5
    column = right.astype(int)
    right = (right - column).astype(np.float32)
    layer = layer.astype(np.float32, copy=False)
    lines = layer[row] * (1 - down) + layer[row + 1] * down
    return lines[:, column] + np.diff(lines, axis=1)[:, column] * right


def _slab(rng, land, traits, scores, picture, rows):
    """Draws which pixels of some rows are leaf, straw or weeds: those whose random field stays below the score."""
    shape = len(rows), picture.columns
    leaf_grain, gap_grain = _grain(rng, shape, 0.7, 5, 0.3), _grain(rng, shape, 0.55, 5, 0.15)
    if traits.row_m:
        gap_grain = 0.9 * gap_grain + 0.61 * np.cos(_row_phase(land, traits, picture, rows))

    def soft(score, grain, steep):
        return np.clip(0.5 + (_lift(score, land.lattice, picture, rows) - grain) * steep, 0, 1)

    cover = soft(scores.cover, gap_grain, 0.9)
    if land.eaten is not None:
        cover *= 1 - (1 - EATEN_WHOLE) * _lift(land.eaten, land.lattice, picture, rows)
    leaf = np.exp(traits.leaf_contrast * leaf_grain)
    clods = np.exp(0.14 * _grain(rng, shape, 0.8))
    dead = soft(scores.dead, _grain(rng, shape, 0.5), 1.5) * 0.6
    coarse_part = 0 if traits.plain else 0.7 if traits.name == "faint" else 0.5
    weeds = soft(scores.weeds, _grain(rng, shape, traits.clump_px, 17, coarse_part), 1.6)
    stage = traits.brown + 0.22 * _grain(rng, shape, 2.2) - _lift(land.green_weeds, land.lattice, picture, rows)
    stage = np.clip(stage, 0.02, 1)
    killed = None
    if land.killed.any():
        killed = soft(scores.killed, _grain(rng, shape, 0.9, 9, 0.2), 1.4)
        thinned = np.clip(_lift(land.killed, land.lattice, picture, rows) / 0.4, 0, 1)
        cover = cover * (1 - 0.5 * thinned)
    return Slab(cover, leaf, clods, dead, weeds, np.clip(stage * 2, 0, 1), np.clip(stage * 2 - 1, 0, 1), killed)


def _row_phase(land, traits, picture, rows):
    """Phase of the drill's rows on pixels, radians."""
    across = np.cos(land.row_angle) * (np.arange(picture.columns) * picture.pixel_m)[None]
    across = across - np.sin(land.row_angle) * (rows * picture.pixel_m)[:, None]
    return across.astype(np.float32) * np.float32(2 * np.pi / traits.row_m)


def _reflect(land, traits, slab, picture, rows, band, colours):
    """Light of some rows in one band, haze with it; colours are those of green, yellow and brown weeds in the band."""

    def on_pixels(layer):
        return _lift(layer, land.lattice, picture, rows)

    # What covers a pixel is laid on in place, so that the sum stays in single precision.
    soil = on_pixels(land.bare[band]) * slab.clods * (1 - BELOW[band] * on_pixels(land.cover))
    light = soil + slab.cover * (on_pixels(land.leaf[band]) * slab.leaf - soil)
    light += slab.dead * (STRAW[band] * 0.55 * slab.clods - light)
    if slab.killed is not None:
        light += slab.killed * (LITTER[band] * slab.clods * 0.85 - light)
    green, yellow, brown = colours
    weed = green + slab.yellow * (yellow - green)
    weed = weed + slab.brown * (brown - weed)
    light += (traits.opaque * slab.weeds) * (weed * (0.45 + 0.55 * slab.leaf) * traits.bright - light)
    return light * on_pixels(land.light[band]) + on_pixels(land.haze) * HAZE[band]


def _expose(rng, light, traits, camera, band):
    """The numbers in the file for the light of a band: blurred, shifted by up to a pixel, noisy, coded."""
    seen = ndimage.gaussian_filter(light, traits.blur_px, truncate=3)
    for axis in (0, 1):
        shift = np.float32(camera.shift_px[band, axis])
        seen = seen * (1 - abs(shift)) + abs(shift) * np.roll(seen, int(np.sign(shift)), axis)
    seen = seen[PAD_ROWS:-PAD_ROWS] * np.float32(camera.sensitivity[band])
    deviation = traits.noise * np.sqrt(0.3 + 7 * np.maximum(seen, 0))
    seen += deviation * rng.standard_normal(seen.shape, dtype=np.float32)
    if traits.sensor == "four":
        return np.clip(np.rint(seen * camera.scale), 1, 65535).astype(np.uint16)
    if traits.sensor == "four8":
        return np.clip(np.rint(seen / (camera.white * WHITE8[band]) * 255), 1, 255).astype(np.uint8)
    if traits.sensor == "colour":
        return _display(seen / camera.white * camera.balance[band], camera.curve)
    return seen


def _display(light, curve):
    """A display's tone curve: a power with some S on top, to bytes."""
    shown = np.clip(light, 0, 1) ** (1 / 2.2)
    shown = shown + curve * (shown * shown * (3 - 2 * shown) - shown)
    return np.clip(np.rint(255 * shown), 0, 255).astype(np.uint8)


def _create(path, picture, zone, sensor):
    """A tiled GeoTIFF to write the slabs to."""
    options = ["TILED=YES", "BLOCKXSIZE=512", "BLOCKYSIZE=512"]
    if sensor == "colour":
        options += ["COMPRESS=JPEG", "PHOTOMETRIC=YCBCR", "JPEG_QUALITY=85", "INTERLEAVE=PIXEL"]
    else:
        options += ["COMPRESS=DEFLATE", "ZLEVEL=1", "PREDICTOR=3" if sensor == "five" else "PREDICTOR=2"]
    bands, size = ORDER[sensor], (picture.columns, picture.rows)
    target = gdal.GetDriverByName("GTiff").Create(str(path), *size, len(bands), KIND[sensor], options)
    target.SetGeoTransform(picture.transform())
    target.SetProjection(utm(zone).ExportToWkt())
    for i, band in enumerate(bands, 1):
        target.GetRasterBand(i).SetDescription(BANDS[band])
        if sensor in NO_DATA:
            target.GetRasterBand(i).SetNoDataValue(NO_DATA[sensor])
    return target


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--class", dest="name", required=True, choices=CLASSES)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--out", required=True)
    parser.add_argument("--acres", type=float, help="size of the field, instead of 20 to 29 by the seed")
    args = parser.parse_args()
    print(paint(args.name, args.seed, args.out, args.acres))


if __name__ == "__main__":
    sys.exit(main())
