"""The truth of a scene of the patchwork painter, and what the run is given and should say."""

import json

import numpy as np
from osgeo import gdal, ogr, osr
from scipy import ndimage

from fields import ACRE_M2, CELL_M
from patchwork_more import QUESTIONS, options_of, told_of
from scenes import VERSION

# By question, where it is worth acting, and where it is light: share of ground that living weeds hide, smoothed over a
# metre; share of the leaf that was eaten; paleness as a share of that of a crop given no nitrogen.
WORTH = {"escapes": (0.08, 0.02), "insects": (0.22, 0.07), "nitrogen": (0.30, 0.10)}
KILLED_SHARE = 0.12  # of ground under killed weeds
STRUCTURE_SHARE = 0.24  # of a cell
PIECE_M2 = 20.0  # smaller pieces are in no truth

# Names of those traits in scene.json that have others there.
SCENE_KEYS = {"name": "cls", "pixel_m": "px", "levees": "shape", "row_m": "rows", "opaque": "alpha",
              "clump_px": "clump", "blur_px": "blur", "leaf_contrast": "lf"}


def truth_of(land, traits):
    """Ground worth acting on, ground that counts neither way, and killed ground, on the cells.

    Weeds in ditches, on wheel tracks or in the shade of trees are not true; those in the shade of clouds are. A check
    that is wrong all over and missed strips count neither way.
    """
    question = QUESTIONS.get(traits.name, "escapes")
    worth, little = WORTH[question]
    field = _burn(land)
    structure, track = (_cells(mask.astype(np.float32)) > STRUCTURE_SHARE for mask in land.structure())
    measure = {"escapes": land.field_weeds, "insects": land.eaten, "nitrogen": land.short}[question]
    measure = ndimage.gaussian_filter(_cells(measure), 1.0)
    killed = ndimage.gaussian_filter(_cells(land.killed), 1.5) >= KILLED_SHARE
    seen = field & ~structure & ~track & ~(_cells(land.tree_shade) > 0.5)
    true = _pieces((measure >= worth) & seen)
    light = ((measure >= little) | ndimage.binary_dilation(true, iterations=2)) & ~true
    check, strips = land.check[::2, ::2].astype(np.uint8), np.zeros_like(field)
    aside = np.zeros_like(field)
    if land.apart:
        aside |= ndimage.binary_dilation(check == land.apart, iterations=3)
    if land.strips is not None:
        strips = (_cells(land.strips.astype(np.float32)) >= 0.5) & field
        aside |= ndimage.binary_dilation(strips, iterations=4)
    light |= aside
    true &= ~aside
    killed = _pieces(killed & field & ~structure & ~true)
    return {"field": field, "true": true, "light": light & field, "killed": killed,
            "structure": (structure | track) & field, "check": check, "strips": strips}


def _cells(layer):
    """Means of a layer of the lattice over the cells, which are twice as wide."""
    rows, columns = layer.shape
    return layer.reshape(rows // 2, 2, columns // 2, 2).mean((1, 3))


def _pieces(mask):
    """The mask without small pieces."""
    labels, _ = ndimage.label(mask)
    sizes = np.bincount(labels.ravel()) * CELL_M**2
    sizes[0] = 0
    return sizes[labels] >= PIECE_M2


def _burn(land):
    """The cells whose centre is inside the outline as drawn."""
    lattice, reference = land.lattice, utm(land.zone)
    driver = ogr.GetDriverByName("MEM") or ogr.GetDriverByName("Memory")  # its name depends on the version
    source = driver.CreateDataSource("")
    layer = source.CreateLayer("", reference)
    feature = ogr.Feature(layer.GetLayerDefn())
    ring = ",".join(f"{east} {north}" for east, north in land.drawn)
    feature.SetGeometry(ogr.CreateGeometryFromWkt(f"POLYGON(({ring}))"))
    layer.CreateFeature(feature)
    raster = gdal.GetDriverByName("MEM").Create("", lattice.columns // 2, lattice.rows // 2, 1)
    raster.SetGeoTransform((lattice.east, CELL_M, 0, lattice.north, 0, -CELL_M))
    raster.SetProjection(reference.ExportToWkt())
    gdal.RasterizeLayer(raster, [1], layer, burn_values=[1])
    return raster.ReadAsArray() > 0


def utm(zone):
    """The reference system of a northern UTM zone."""
    reference = osr.SpatialReference()
    reference.ImportFromEPSG(32600 + zone)
    return reference


def _degrees(land):
    """A function from UTM metres to longitude and latitude."""
    degrees = osr.SpatialReference()
    degrees.ImportFromEPSG(4326)
    degrees.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    change = osr.CoordinateTransformation(utm(land.zone), degrees)
    return lambda east, north: list(change.TransformPoint(float(east), float(north))[:2])


def _geojson(path, kind, coordinates, properties):
    """Writes one feature, in degrees."""
    feature = {"type": "Feature", "properties": properties,
               "geometry": {"type": kind, "coordinates": coordinates}}
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))


def describe(land, traits, layers, out):
    """Writes the vector files; what the run is given and what it should say."""
    lattice, to_degrees = land.lattice, _degrees(land)
    question = QUESTIONS.get(traits.name, "escapes")
    ring = [to_degrees(east, north) for east, north in land.drawn]
    _geojson(out / "field.geojson", "Polygon", [ring], {"name": f"{traits.name} {traits.seed}"})
    options = {"question": question, "flown": "2026-07-13T10:20", "treated": "2026-07-02"}
    if "inlet" in land.told:
        _geojson(out / "marks.geojson", "Point", to_degrees(*land.told["inlet"]), {"mark": "inlet"})
    drawn = {SCENE_KEYS.get(key, key): value if isinstance(value, (str, bool)) else float(value)
             for key, value in vars(traits).items()}
    return {"version": VERSION, "class": traits.name, "seed": traits.seed, "sensor": traits.sensor,
            "pixel_m": round(traits.pixel_m, 4), "zone": land.zone,
            "cells": [lattice.east, lattice.north, lattice.rows // 2, lattice.columns // 2],
            "options": options | options_of(land, traits), "told": told_of(land),
            "field_acres": float(layers["field"].sum() * CELL_M**2 / ACRE_M2), "exit_code": 0,
            "worth_share": WORTH[question][0], "light_share": WORTH[question][1], "traits": drawn}
