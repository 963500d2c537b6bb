"""Reads every pixel of a picture once with GDAL, the fastest way known to us, and prints what it took as JSON.

Whole rows of tiles and all bands in one request let GDAL decode tiles on all its threads; the buffer is reused and laid
out as the file is; the block cache holds one row of tiles, because a larger one only costs page faults. Starting the
interpreter is not counted. Needs python3-gdal and python3-numpy.
"""
import json
import os
import resource
import sys
import time

os.environ.setdefault("GDAL_NUM_THREADS", "ALL_CPUS")
os.environ.setdefault("GDAL_PAM_ENABLED", "NO")
os.environ.setdefault("GDAL_DISABLE_READDIR_ON_OPEN", "EMPTY_DIR")

import numpy  # noqa: E402
from osgeo import gdal, gdal_array  # noqa: E402

gdal.UseExceptions()
usage, clock = resource.getrusage(resource.RUSAGE_SELF), time.perf_counter()
picture = gdal.Open(sys.argv[1])
cols, rows, bands = picture.RasterXSize, picture.RasterYSize, picture.RasterCount
first = picture.GetRasterBand(1)
tile_rows = first.GetBlockSize()[1]
kind = numpy.dtype(gdal_array.GDALTypeCodeToNumericTypeCode(first.DataType))
step = tile_rows * max(1, -(-256 // tile_rows)) if tile_rows < 64 else tile_rows
step = min(step, rows)
gdal.SetCacheMax(max(32 << 20, step * cols * bands * kind.itemsize * 5 // 4))
whole = numpy.empty((step, cols, bands), kind)
for top in range(0, rows, step):
    n = min(step, rows - top)
    if bands == 1:
        picture.ReadAsArray(0, top, cols, n, buf_obj=whole[:n, :, 0])
    else:
        picture.ReadAsArray(0, top, cols, n, buf_obj=whole[:n], interleave="pixel")
wall = time.perf_counter() - clock
after = resource.getrusage(resource.RUSAGE_SELF)
peak = after.ru_maxrss  # of the process that started this one, too
if os.path.exists("/proc/self/status"):
    with open("/proc/self/status") as status:
        peak = next(int(line.split()[1]) for line in status if line.startswith("VmHWM"))
print(json.dumps({
    "wall_s": wall,
    "cpu_s": after.ru_utime + after.ru_stime - usage.ru_utime - usage.ru_stime,
    "peak_mib": peak / 1024,
}))
