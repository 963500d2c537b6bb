"""Write pictures with masks, and the masks as GDAL reads them.

usage: mask.py FOLDER
"""
import sys
import numpy as np
from osgeo import gdal

gdal.UseExceptions()
gdal.SetConfigOption("GDAL_TIFF_INTERNAL_MASK", "YES")
rng = np.random.default_rng(4)
for name, options in [
        ("tiled", ["TILED=YES", "BLOCKXSIZE=32", "BLOCKYSIZE=48", "COMPRESS=DEFLATE"]),
        ("strips", ["COMPRESS=LZW"]), ("plain", []),
        ("jpeg", ["TILED=YES", "BLOCKXSIZE=64", "BLOCKYSIZE=64", "COMPRESS=JPEG", "PHOTOMETRIC=YCBCR"])]:
    path = f"{sys.argv[1]}/{name}.tif"
    ds = gdal.GetDriverByName("GTiff").Create(path, 101, 90, 3, gdal.GDT_Byte, options)
    for b in range(3):
        ds.GetRasterBand(b + 1).WriteArray(rng.integers(0, 255, (90, 101), np.uint8))
    ds.CreateMaskBand(gdal.GMF_PER_DATASET)
    mask = (rng.random((90, 101)) < 0.5).astype(np.uint8) * 255
    mask[:40, :50] = 0
    ds.GetRasterBand(1).GetMaskBand().WriteArray(mask)
    ds = None
    ds = gdal.Open(path)
    ds.GetRasterBand(1).GetMaskBand().ReadAsArray().tofile(path + ".mask")
