"""Compare a picture's first overview with means of valid cells.

usage: overviews.py FILE
"""
import json
import sys
import numpy as np
from osgeo import gdal

gdal.UseExceptions()
ds = gdal.Open(sys.argv[1])
band = ds.GetRasterBand(1)
full = band.ReadAsArray().astype(float)
got = band.GetOverview(0).ReadAsArray().astype(float)
rows, cols = got.shape
padded = np.full((rows * 2, cols * 2), np.nan)
padded[:full.shape[0], :full.shape[1]] = full
groups = padded.reshape(rows, 2, cols, 2)
count = np.sum(~np.isnan(groups), axis=(1, 3))
want = np.where(count > 0, np.nansum(groups, axis=(1, 3)) / np.maximum(count, 1), np.nan)
both = ~np.isnan(want) & ~np.isnan(got)
print(json.dumps({
    "worst": float(np.max(np.abs(want[both] - got[both]))),
    "nans": bool(np.array_equal(np.isnan(want), np.isnan(got))),
    "checked": int(got.size),
}))
