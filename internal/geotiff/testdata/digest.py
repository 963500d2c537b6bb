"""Print what GDAL decodes of pictures.

usage: digest.py < LIST

LIST has a path a line; after a tab there may be another, for the samples
themselves. For each a line of output: the SHA-256 of its samples,
pixel by pixel, little-endian; "refused" and why when GDAL does not read it.
"""
import hashlib
import sys
import numpy as np
from osgeo import gdal

gdal.UseExceptions()
for line in sys.stdin.read().splitlines():
    path, _, copy = line.partition("\t")
    try:
        ds = gdal.OpenEx(path, gdal.OF_RASTER, allowed_drivers=["GTiff"])
        data = ds.ReadAsArray().reshape(ds.RasterCount, ds.RasterYSize, ds.RasterXSize)
        raw = np.ascontiguousarray(np.moveaxis(data, 0, 2)).astype(data.dtype.newbyteorder("<")).tobytes()
        if copy:
            with open(copy, "wb") as f:
                f.write(raw)
        print(hashlib.sha256(raw).hexdigest(), flush=True)
    except Exception as e:
        print("refused", str(e).replace("\n", " "), flush=True)
