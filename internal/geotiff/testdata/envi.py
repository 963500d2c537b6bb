"""Write pictures whose bands are described for the picture as a whole.

usage: envi.py FOLDER
"""
import sys
import numpy as np
from osgeo import gdal

gdal.UseExceptions()
folder = sys.argv[1]


def write(name, words, domain="", edit=None):
    ds = gdal.GetDriverByName("GTiff").Create(f"{folder}/{name}.tif", 8, 8, 3, gdal.GDT_UInt16)
    ds.SetMetadata(words, domain)
    if edit:
        edit(ds)
    ds.WriteArray(np.ones((3, 8, 8), np.uint16))
    ds = None


write("lists", {"wavelength": "{ 560.0, 668.0, 842.0}", "wavelength_units": "Nanometers", "band_names": "{Green, Red, NIR 842}"}, "ENVI")
write("microns", {"wavelength": "{0.56, 0.668,\n 0.842}", "wavelength units": "Micrometers"})
write("numbered", {"Band_1": "Green (560)", "Band_2": "Red (668)", "Band_3": "NIR (842)"})
write("short", {"wavelength": "{560.0, 668.0}", "band_names": "{Green}"})


def scaled(ds):
    for b in range(3):
        ds.GetRasterBand(b + 1).SetScale(0.0001 * (b + 1))
        ds.GetRasterBand(b + 1).SetOffset(-0.1 * b)
        ds.GetRasterBand(b + 1).SetUnitType("1")


write("scaled", {}, edit=scaled)
