"""Write pictures of kinds that are not read.

usage: unread.py FOLDER
"""
import sys
import numpy as np
from osgeo import gdal

gdal.UseExceptions()
data = np.random.default_rng(2).integers(0, 2, (40, 50))
for name, kind, options in [
        ("webp", gdal.GDT_Byte, ["COMPRESS=WEBP", "INTERLEAVE=PIXEL"]), ("lerc", gdal.GDT_Float32, ["COMPRESS=LERC"]),
        ("lzma", gdal.GDT_UInt16, ["COMPRESS=LZMA"]), ("onebit", gdal.GDT_Byte, ["NBITS=1"]),
        ("twelvebits", gdal.GDT_UInt16, ["NBITS=12"]), ("half", gdal.GDT_Float32, ["NBITS=16"]),
        ("long", gdal.GDT_Int64, []), ("complex", gdal.GDT_CFloat32, []), ("fax", gdal.GDT_Byte, ["NBITS=1", "COMPRESS=CCITTFAX4"]),
        ("cmyk", gdal.GDT_Byte, ["PHOTOMETRIC=CMYK", "INTERLEAVE=PIXEL"])]:
    bands = {"webp": 3, "cmyk": 4}.get(name, 1)
    ds = gdal.GetDriverByName("GTiff").Create(f"{sys.argv[1]}/{name}.tif", 50, 40, bands, kind, options)
    for b in range(bands):
        ds.GetRasterBand(b + 1).WriteArray(data)
    ds = None
ds = gdal.GetDriverByName("GTiff").Create(f"{sys.argv[1]}/table.tif", 50, 40, 1, gdal.GDT_Byte)
table = gdal.ColorTable()
table.SetColorEntry(0, (10, 20, 30))
table.SetColorEntry(1, (40, 50, 60))
ds.GetRasterBand(1).SetColorTable(table)
ds.GetRasterBand(1).WriteArray(data)
ds = None
