#!/usr/bin/python3
"""Paints fields and flights with their truth, apart from the project's own generator.

    paint.py --class believable --seed 1 --out FOLDER

writes FOLDER/believable-1/ with flight.tif (and earlier.tif, marks.geojson), field.geojson, scene.json
(options of the run, facts to hold it against) and truth.npz (the truth on cells of half a metre).
A folder that is whole is used again. Needs Debian's python3-numpy, python3-scipy and python3-gdal.
"""

import argparse
import dataclasses
import json
import sys
import zlib
from pathlib import Path

import numpy as np
from osgeo import osr
from scipy import ndimage

import camera
import crop
import matter
import plants
from classes import CLASSES, FEET_M, SKIP_FT, SWATH_FT, traits_of
from fields import ACRE_M2, CELL_M, Raster, bilinear, cell_means, inside, waves
from ground import lay_out
from scenes import VERSION, painted

WORTH_COVER = 0.07  # share of ground that living weeds hide where it is worth acting
LIGHT_COVER = 0.012
KILLED_COVER = 0.07
PALE_WORTH, PALE_LIGHT = 0.30, 0.10
EATEN_WORTH, EATEN_LIGHT = 0.22, 0.07


def paint(name, seed, folder):
    """Paints a scene unless it is there, and returns its folder."""
    return painted(name, seed, folder, lambda out: _paint(traits_of(name, seed), out))


def _paint(traits, out):
    """Paints all files of a scene but scene.json, which it returns."""
    rngs = [np.random.default_rng([zlib.crc32(traits.name.encode()), traits.seed, 1 + k]) for k in range(5)]
    ground = lay_out(rngs[0], traits)
    stand = crop.grow(rngs[1], ground, traits)
    facts = {}
    _befall(rngs[2], ground, stand, traits, facts)
    weeds = _weeds(rngs[2], ground, traits, facts)
    truth = _flight(rngs[3], ground, stand, weeds, traits, out / "flight.tif", 0)
    if traits.before:
        earlier = dataclasses.replace(stand, eaten=np.zeros_like(stand.eaten))
        _flight(rngs[4], ground, earlier, weeds, traits, out / "earlier.tif", 1)
    layers = _truth(ground, stand, truth, traits, facts)
    np.savez_compressed(out / "truth.npz", **layers)
    return _describe(ground, traits, layers, facts, out)


def _befall(rng, ground, stand, traits, facts):
    """Lays the scene's effect on the stand: nitrogen, feeding, drift, an inlet's fan."""
    within = ground.edge_m > 0
    if traits.effect == "pale":
        sizes = np.exp(rng.uniform(np.log(0.12), np.log(0.9), 4))
        part = plants.patches(rng, ground.cells, within, sizes, 2.5, ground.heading)
        part = ndimage.gaussian_filter(part, rng.uniform(2, 6)) * rng.uniform(0.5, 0.85)
        facts["pale"] = part
        stand.pale = np.clip(stand.pale + part, 0, 1.3)
    elif traits.effect == "eaten":
        edge = within & (ground.edge_m < rng.uniform(15, 40))
        sizes = np.exp(rng.uniform(np.log(0.08), np.log(0.5), 4))
        part = plants.patches(rng, ground.cells, edge, sizes, 3.0, ground.heading)
        stand.eaten = ndimage.gaussian_filter(part, 2.0) * rng.uniform(0.35, 0.6)
    elif traits.effect == "no-nitrogen":
        number = _plain_check(rng, ground)
        stand.pale = np.where(ground.check == number, stand.pale + rng.uniform(0.35, 0.6), stand.pale)
        facts["apart"] = number
    elif traits.effect == "drift":
        half = rng.uniform(18, 40)
        x, y = ground.cells.mesh()
        west = np.maximum(0, x - np.where(within, x, np.inf).min(1, keepdims=True))
        _injure(rng, stand, np.exp(-np.log(2) * west / half), facts, "west edge", half)
    elif traits.effect == "fan":
        half = rng.uniform(15, 30)
        x, y = ground.cells.mesh()
        far = np.hypot(x - ground.inlet[0], y - ground.inlet[1])
        _injure(rng, stand, np.exp(-np.log(2) * far / half), facts, "inlet", half)
        stand.cover = stand.cover * (1 - 0.35 * np.exp(-np.log(2) * far / half)).astype(np.float32)


def _injure(rng, stand, part, facts, source, half_m):
    """Pales and dries the crop by a part that falls off from a side or an inlet."""
    ragged = np.clip(1 + 0.2 * waves(rng, part.shape, CELL_M, 10.0), 0.4, 1.6)
    stand.pale = np.clip(stand.pale + 0.9 * part * ragged, 0, 1.3).astype(np.float32)
    stand.dry = np.clip(stand.dry + 0.10 * part * ragged, 0, 0.6).astype(np.float32)
    facts["trend"] = {"from": source, "half_distance_ft": half_m / FEET_M}


def _plain_check(rng, ground):
    """A check of middling size."""
    numbers, sizes = np.unique(ground.check[ground.check > 0], return_counts=True)
    good = numbers[(sizes > 0.5 * np.median(sizes))]
    return int(rng.choice(good))


def _weeds(rng, ground, traits, facts):
    """All plants of the scene, with the flights that they stand on: pairs of (plants, growth)."""
    allowed = (ground.edge_m > 6) & ~ground.structure
    out = []
    for growth in traits.growths:
        density = plants.patches(rng, ground.cells, allowed, growth.acres, 3.0, ground.heading)
        density *= growth.per_m2 * ((ground.crop > 0.4) | (rng.random(density.shape) < 0.3))
        out.append((plants.scatter(rng, ground.cells, density, growth.kind), growth))
    partly = plants.Kind(0.17, 0.45, 3, rng.uniform(0.3, 1.5))
    alone = np.where(ground.edge_m > 0, traits.lone_per_m2, 0)
    if traits.effect == "untreated":
        facts["apart"] = _plain_check(rng, ground)
        green = plants.Kind(0.23, 0.03, 8, 1.0)
        thick = np.clip(1 + 0.5 * waves(rng, ground.cells.shape, CELL_M, 12.0, 2.4), 0.3, 2)
        density = (ground.check == facts["apart"]) * thick * rng.uniform(3.5, 6.0) * (ground.crop > 0.4)
        out.append((plants.scatter(rng, ground.cells, density, green), None))
    if traits.skips:
        density, places, strip = crop.skip_lines(rng, ground, traits)
        facts["strips"], facts["strip_places"] = strip & (ground.edge_m > 0), places
        density = density * rng.uniform(3, 5.5) * (ground.crop > 0.4)
        out.append((plants.scatter(rng, ground.cells, density, plants.Kind(0.18, 0.3, 3, partly.tone)), None))
    out.append((plants.scatter(rng, ground.cells, alone, partly), None))
    return out


def _on_flight(weeds, earlier):
    """The plants that stand on the day's flight or on the earlier one, as they look then."""
    shown = None
    for group, growth in weeds:
        if growth and not (growth.before if earlier else growth.after):
            continue
        group = group.alive_and_green(0.85) if earlier else group
        shown = group if shown is None else shown.joined(group)
    return shown


def _flight(rng, ground, stand, weeds, traits, path, earlier):
    """Paints one flight, and returns the cover of living and fallen weeds on the cells."""
    picture = _picture(rng, ground, traits)
    leaf = plants.leaves(rng, _on_flight(weeds, earlier), picture)
    seen, green = leaf.seen()
    fallen = 1 - np.exp(-leaf.fallen)
    living = cell_means(seen, picture, ground.cells)
    lying = cell_means(fallen, picture, ground.cells)
    spread = [ndimage.gaussian_filter(np.minimum(a * k, 1), 2.0) for a, k in ((living, 2.0), (lying, 2.2))]
    surf = crop.surface(ground, stand, traits, *spread, growth=0.75 if earlier else 1.0)
    cover, light = crop.canopy(rng, surf, ground, stand, traits, picture)
    tone = leaf.tone / np.maximum(leaf.brown + leaf.fallen, 1e-6)
    dry = np.minimum(bilinear(surf.dry, ground.cells, picture) * light, 1)
    pixels = Pixels(cover, light, _ground_texture(rng, picture), seen, green, fallen, np.clip(tone, 0, 2), dry)
    bands, valid = _light(rng, ground, surf, pixels, traits, picture)
    values, kind = camera.sensor_values(rng, bands, traits.sensor, valid)
    shifted = picture
    if earlier:
        shifted = dataclasses.replace(picture, east=picture.east + traits.shift_m[0], north=picture.north + traits.shift_m[1])
    camera.write(path, values, kind, shifted, traits.zone, traits.sensor, traits.camera.jpeg, valid)
    return {"living": living, "fallen": lying}


@dataclasses.dataclass
class Pixels:
    """Shares and factors of each pixel."""

    cover: np.ndarray  # of crop and grass leaf
    light: np.ndarray  # factor on that leaf
    texture: np.ndarray  # factor on the ground
    weeds: np.ndarray  # share hidden by living weeds
    green: np.ndarray  # green share of these
    fallen: np.ndarray  # share of the ground below with dead weeds on it
    tone: np.ndarray  # of brown leaf
    dry: np.ndarray  # dry share of the crop's leaf


def _picture(rng, ground, traits):
    """The pixels of a flight: over the cells less a rim, on a grid of their own."""
    cells, px = ground.cells, traits.pixel_m
    rim = 3.0
    columns = int((cells.columns * CELL_M - 2 * rim) / px)
    rows = int((cells.rows * CELL_M - 2 * rim) / px)
    return Raster(cells.east + rim + rng.uniform(0, 0.5), cells.north - rim - rng.uniform(0, 0.5), px, rows, columns)


def _ground_texture(rng, picture):
    """Clods and stubble: a factor whose deviation is 0.17, as on real tilled soil at 5 cm."""
    fine = rng.standard_normal(picture.shape, dtype=np.float32)
    fine += 2.0 * ndimage.gaussian_filter(fine, 1.2, truncate=3)
    fine *= 0.17 / fine[::9, ::9].std()
    return np.exp(fine)


def _light(rng, ground, surf, pixels, traits, picture):
    """The sensor's bands as reflectance with everything that light, lens and sensor add; and where data is."""
    cells, cam = ground.cells, traits.camera
    gains, odd = camera.gains(rng, cells, cam, cam.lines_heading)
    shade = ground.tree_shade
    if traits.cloud:
        shade = np.maximum(shade, camera.clouds(rng, cells))
    haze = cam.haze * np.clip(1 + 0.4 * waves(rng, cells.shape, CELL_M, 150.0, 4.0), 0, 3)
    weed_leaf = (matter.GRASS_WEED, matter.BROADLEAF_WEED, matter.SEDGE_WEED)[rng.integers(3)] * rng.uniform(0.9, 1.1)
    if not traits.traps:
        weed_leaf = matter.GRASS_WEED
    sun = np.round(1.3 * np.array([np.cos(ground.sun_azimuth), -np.sin(ground.sun_azimuth)])).astype(int)
    dimmed = 1 - 0.45 * np.roll(pixels.weeds, tuple(sun), (0, 1)) * (1 - pixels.weeds)  # weeds throw shade
    shifts = camera.band_shifts(rng, cam)
    bands = []
    for band in camera.ORDER[traits.sensor]:
        bright = gains[band] * (1 - (1 - camera.SKYLIGHT[band]) * shade)
        out = np.empty(picture.shape, np.float32)
        for rows in crop.chunks(picture.rows):
            out[rows] = _reflect(ground, surf, pixels, picture, rows, band, weed_leaf[band]) * dimmed[rows]
            out[rows] *= bilinear(bright, cells, picture, rows)
            out[rows] += bilinear(haze * camera.HAZE[band], cells, picture, rows)
        bands.append(camera.expose(rng, out, cam, shifts[band]))
    if cam.seams:
        moved = bilinear(odd, cells, picture) > 0.5
        step = tuple(rng.integers(-1, 2, 2))
        bands = [np.where(moved, np.roll(b, step, (0, 1)), b) for b in bands]
    flown = ground.edge_m > -9 if rng.random() < 0.5 else np.ones(cells.shape, bool)
    return bands, bilinear(flown, cells, picture) > 0.5


def _reflect(ground, surf, pixels, picture, rows, band, weed_leaf):
    """Reflectance of some rows in one band, by what covers each pixel."""
    below_share = (0.62, 0.6, 0.58, 0.45, 0.3)[band]  # of light that a closed crop takes from the ground
    below = bilinear(ground.bare[band] * (1 - below_share * surf.cover), ground.cells, picture, rows)
    below *= pixels.texture[rows]
    weeds = np.nonzero((pixels.weeds[rows] > 0.002) | (pixels.fallen[rows] > 0.002))
    brown = matter.burnt(pixels.tone[rows][weeds], band)
    below[weeds] = matter.mix(below[weeds], 0.8 * brown * pixels.texture[rows][weeds], pixels.fallen[rows][weeds])
    leaf = bilinear(surf.leaf[band], ground.cells, picture, rows)
    leaf += (matter.STRAW[band] - leaf) * pixels.dry[rows]
    leaf *= pixels.light[rows]
    light = below + pixels.cover[rows] * (leaf - below)
    weed = (brown + pixels.green[rows][weeds] * (weed_leaf - brown)) * (0.85 + 0.25 * pixels.light[rows][weeds])
    light[weeds] += pixels.weeds[rows][weeds] * (weed - light[weeds])
    return light


def _truth(ground, stand, covers, traits, facts):
    """Ground worth acting on, ground that counts neither way, and killed ground, on the cells."""
    x, y = ground.cells.mesh()
    field = inside(ground.drawn, x, y)
    crop_ground = field & ~ground.structure & (ground.edge_m > 0)
    worth, light, killed = _worth(ground, stand, covers, traits, facts)
    true = _pieces(worth & crop_ground, 20.0)
    light |= ndimage.binary_dilation(true, iterations=2) | (worth & ~true)
    light |= (ground.tree_shade > 0.5) & worth
    true &= ground.tree_shade <= 0.5
    killed = _pieces(killed & crop_ground & ~true, 20.0)
    if "strips" in facts:
        strips = ndimage.binary_dilation(facts["strips"], iterations=4)
        light |= strips
        true &= ~strips
    if traits.effect == "untreated" or traits.effect == "no-nitrogen":
        apart = ground.check == facts["apart"]
        light |= ndimage.binary_dilation(apart, iterations=3)
        true &= ~apart
    return {"field": field, "true": true, "light": light & ~true & field, "killed": killed,
            "structure": ground.structure & field, "check": ground.check.astype(np.uint8),
            "strips": facts.get("strips", np.zeros_like(field))}


def _worth(ground, stand, covers, traits, facts):
    """Masks by the question's own measure: worth acting on, light, killed."""
    none = np.zeros(ground.cells.shape, bool)
    if traits.question == "nitrogen":
        part = facts.get("pale", np.zeros(ground.cells.shape, np.float32))
        return part >= PALE_WORTH, part >= PALE_LIGHT, none
    if traits.question == "insects":
        return stand.eaten >= EATEN_WORTH, stand.eaten >= EATEN_LIGHT, none
    near = ndimage.gaussian_filter(covers["living"], 2.0)
    wide = ndimage.gaussian_filter(covers["living"], 3.0)
    fallen = ndimage.gaussian_filter(covers["fallen"], 2.5)
    return near >= WORTH_COVER, wide >= LIGHT_COVER, (fallen >= KILLED_COVER) & (near < WORTH_COVER)


def _pieces(mask, least_m2):
    """The mask without pieces smaller than an area."""
    labels, _ = ndimage.label(mask)
    sizes = np.bincount(labels.ravel()) * CELL_M**2
    sizes[0] = 0
    return sizes[labels] >= least_m2


def _describe(ground, traits, layers, facts, out):
    """Writes the vector files; what the run is given and what it should say."""
    to_degrees = _degrees(traits.zone)
    ring = [to_degrees(*p) for p in ground.drawn]
    _geojson(out / "field.geojson", "Polygon", [ring], {"name": f"{traits.name} {traits.seed}"})
    options = {"question": traits.question, "flown": "2026-07-14T10:30", "treated": "2026-07-03"}
    if traits.before:
        options |= {"before": "earlier.tif", "before-flown": "2026-07-03"}
    if traits.effect == "fan":
        _geojson(out / "marks.geojson", "Point", to_degrees(*ground.inlet), {"mark": "inlet"})
        options["marks"] = "marks.geojson"
    heading = _true_heading(to_degrees, ground, traits.skip_heading)
    if traits.tell_passes:
        options |= {"swath": SWATH_FT, "spray-heading": round(heading, 2)}
    cells = ground.cells
    told = {"trend": facts.get("trend"), "apart": facts.get("apart"), "skips": traits.skips,
            "heading_deg": heading, "spacing_ft": SWATH_FT, "skip_width_ft": SKIP_FT}
    return {"version": VERSION, "class": traits.name, "seed": traits.seed, "sensor": traits.sensor,
            "pixel_m": round(traits.pixel_m, 4), "cover": round(traits.cover, 2), "zone": traits.zone,
            "cells": [cells.east, cells.north, int(cells.rows), int(cells.columns)], "options": options, "told": told,
            "field_acres": float(layers["field"].sum() * CELL_M**2 / ACRE_M2), "exit_code": traits.exit_code}


def _degrees(zone):
    """A function from UTM metres to longitude and latitude."""
    source, target = osr.SpatialReference(), osr.SpatialReference()
    source.ImportFromEPSG(32600 + zone)
    target.ImportFromEPSG(4326)
    target.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    change = osr.CoordinateTransformation(source, target)
    return lambda e, n: tuple(change.TransformPoint(float(e), float(n))[:2])


def _true_heading(to_degrees, ground, heading):
    """Degrees clockwise from true north, 0 to 180, of a grid heading in radians."""
    e, n = ground.ring.mean(0)
    lon0, lat0 = to_degrees(e, n)
    lon1, lat1 = to_degrees(e, n + 200)
    east = (lon1 - lon0) * np.cos(np.radians(lat0)) * 1.0034  # of the ellipsoid's two radii at these latitudes
    return float((np.degrees(heading) + np.degrees(np.arctan2(east, lat1 - lat0))) % 180)


def _geojson(path, kind, coordinates, properties):
    geometry = {"type": kind, "coordinates": coordinates}
    feature = {"type": "Feature", "properties": properties, "geometry": geometry}
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--class", dest="name", required=True, choices=list(CLASSES))
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--out", required=True)
    args = parser.parse_args()
    print(paint(args.name, args.seed, args.out))


if __name__ == "__main__":
    sys.exit(main())
