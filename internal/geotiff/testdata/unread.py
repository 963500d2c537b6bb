"""Write pictures of kinds that are not read.

usage: unread.py FOLDER
"""
import sys
import numpy as np
from osgeo import gdal

gdal.UseExceptions()
data = np.random.default_rng(2).integers(0, 2, (40, 50))
for name, kind, options in [
        ("lerc", gdal.GDT_Float32, ["COMPRESS=LERC"]),
        ("lzma", gdal.GDT_UInt16, ["COMPRESS=LZMA"]), ("complex", gdal.GDT_CFloat32, []), ("fax", gdal.GDT_Byte, ["NBITS=1", "COMPRESS=CCITTFAX4"]),
        ("cmyk", gdal.GDT_Byte, ["PHOTOMETRIC=CMYK", "INTERLEAVE=PIXEL"])]:
    bands = {"cmyk": 4}.get(name, 1)
    ds = gdal.GetDriverByName("GTiff").Create(f"{sys.argv[1]}/{name}.tif", 50, 40, bands, kind, options)
    for b in range(bands):
        ds.GetRasterBand(b + 1).WriteArray(data)
    ds = None
