#!/usr/bin/python3
"""What a random forest that is taught with the truth reaches on painted scenes: a bound, more or less.

    forest.py SCENE...

Squares of 15 m are taken in turn like a chessboard: it learns on the white ones and is held against the black ones, and the other
way round. It sees means, deviations and steps of the logarithms of bands and ratios in each cell, and the same over 0.75, 2.25
and 6 m. A class on which it does badly shows nothing but noise. Needs Debian's python3-sklearn as well.
"""

import json
import sys
from pathlib import Path

import numpy as np
from osgeo import gdal
from scipy import ndimage
from sklearn.ensemble import RandomForestClassifier

from fields import CELL_M, Raster, cell_means

gdal.UseExceptions()
SQUARE_CELLS = 30
TOLD = 0.4  # chance from which ground is told


def logs(folder, scene):
    """Logarithms of green and of the ratios to it, pixel by pixel, and the picture's raster."""
    source = gdal.Open(str(folder / "flight.tif"))
    east, px, _, north, _, _ = source.GetGeoTransform()
    floor = 1e-3 if scene["sensor"] == "five" else 1
    bands = {}
    for i in range(1, source.RasterCount + 1):
        band = source.GetRasterBand(i)
        bands[band.GetDescription()] = np.log(np.maximum(band.ReadAsArray().astype(np.float32), floor))
    green = bands.pop("green")
    return [green] + [b - green for b in bands.values()], Raster(east, north, px, *green.shape)


def features(folder, scene):
    """Features of every cell, last axis."""
    pixels, picture = logs(folder, scene)
    east, north, rows, columns = scene["cells"]
    cells = Raster(east, north, CELL_M, rows, columns)
    out = []
    for values in pixels:
        mean = cell_means(values, picture, cells)
        out += [mean, np.sqrt(np.maximum(cell_means(values**2, picture, cells) - mean**2, 0))]
        middle = np.median(values[::5, ::5])
        out += [cell_means((values > middle + step).astype(np.float32), picture, cells) for step in (-0.3, 0.2, 0.5)]
        out.append(cell_means(np.abs(np.diff(values, axis=1, append=values[:, -1:])), picture, cells))
    out += [ndimage.gaussian_filter(f, s) for s in (1.5, 4.5, 12) for f in out]
    return np.stack(out, -1)


def chances(seen, truth):
    """Chance of every cell, from a forest that was taught on the squares of the other colour."""
    row, column = np.indices(truth["true"].shape)
    colour = (row // SQUARE_CELLS + column // SQUARE_CELLS) % 2
    learn = truth["field"] & ~truth["light"]
    out = np.zeros(truth["true"].shape)
    rng = np.random.default_rng(1)
    for half in (0, 1):
        taught = np.flatnonzero(learn & (colour == half))
        taught = rng.choice(taught, min(25_000, len(taught)), replace=False)
        forest = RandomForestClassifier(60, min_samples_leaf=5, n_jobs=2, random_state=0)
        forest.fit(seen.reshape(-1, seen.shape[-1])[taught], truth["true"].ravel()[taught])
        asked = learn & (colour != half)
        out[asked] = forest.predict_proba(seen[asked])[:, -1]
    return out


def main():
    """Prints IoU, recall and precision of each scene."""
    for name in sys.argv[1:]:
        folder = Path(name)
        scene = json.loads((folder / "scene.json").read_text())
        truth = dict(np.load(folder / "truth.npz"))
        told = chances(features(folder, scene), truth) > TOLD
        hit, both = (told & truth["true"]).sum(), (told | truth["true"]).sum()
        marks = hit / both, hit / truth["true"].sum(), hit / max(told.sum(), 1)
        print(folder.name, scene["sensor"], *(f"{m:.2f}" for m in marks), sep="\t", flush=True)


if __name__ == "__main__":
    sys.exit(main())
