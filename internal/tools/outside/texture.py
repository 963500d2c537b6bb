#!/usr/bin/python3
"""Prints how a picture's texture looks below half a metre, to hold painted crop beside real crop.

    texture.py [--metres PIXEL] PICTURE...

For each picture: the deviation of green over its mean and the deviation of ln(red/green) within cells of half a metre (10th,
50th and 90th percentile), and how green correlates with its neighbours one, two and three pixels away.
Display colour is made linear first. --metres is for pictures whose own pixel is nominal; they are averaged to about 5 cm.
"""

import argparse
import sys

import numpy as np
from osgeo import gdal
from scipy import ndimage

gdal.UseExceptions()


def linear(path):
    """Red and green of a picture in linear light, and its pixel in its own unit."""
    source = gdal.Open(path)
    names = [source.GetRasterBand(i).GetDescription() for i in range(1, source.RasterCount + 1)]
    which = [names.index(n) + 1 if n in names else i for n, i in (("red", 1), ("green", 2))]
    bands = [source.GetRasterBand(i).ReadAsArray() for i in which]
    if bands[0].dtype == np.uint8:
        bands = [np.where(b < 10.3, b / 3294.6, ((b / 255 + 0.055) / 1.055) ** 2.4) for b in bands]
    return [b.astype(np.float32) for b in bands], source.GetGeoTransform()[1]


def coarser(band, times):
    """Means of squares of pixels."""
    rows, columns = (n // times for n in band.shape)
    return band[: rows * times, : columns * times].reshape(rows, times, columns, times).mean((1, 3))


def texture(bands, pixel_m):
    """The figures named above, of cells without a pixel of no data."""
    red, green = bands
    side = int(round(0.5 / pixel_m))
    ratio = np.log(np.maximum(red, 1e-4) / np.maximum(green, 1e-4))
    mean = coarser(green, side)
    good = coarser((green > 1e-4).astype(np.float32), side) > 0.999
    relative = np.sqrt(np.maximum(coarser(green**2, side) - mean**2, 0)) / np.maximum(mean, 1e-6)
    spread = np.sqrt(np.maximum(coarser(ratio**2, side) - coarser(ratio, side) ** 2, 0))
    fine = np.log(np.maximum(green, 1e-4))
    fine = np.where(green > 1e-4, fine - ndimage.uniform_filter(fine, side), 0)
    near = [float((fine[:, k:] * fine[:, :-k]).mean() / fine.var()) for k in (1, 2, 3)]
    return np.percentile(relative[good], (10, 50, 90)), np.percentile(spread[good], (10, 50, 90)), near


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--metres", type=float)
    parser.add_argument("pictures", nargs="+")
    args = parser.parse_args()
    for path in args.pictures:
        bands, pixel = linear(path)
        pixel = args.metres or pixel
        times = max(1, int(round(0.05 / pixel)))
        rows = texture([coarser(b, times) for b in bands], pixel * times)
        print(path, *(" ".join(f"{v:.2f}" for v in r) for r in rows), sep="\t")


if __name__ == "__main__":
    sys.exit(main())
