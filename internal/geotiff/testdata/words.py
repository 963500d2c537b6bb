"""Write a picture whose bands have names, colours and wavelengths.

usage: words.py FILE
"""
import sys
import numpy as np
from osgeo import gdal

gdal.UseExceptions()
ds = gdal.GetDriverByName("GTiff").Create(sys.argv[1], 20, 20, 5, gdal.GDT_UInt16, ["PHOTOMETRIC=MINISBLACK"])
ds.SetMetadataItem("TIFFTAG_DATETIME", "2026:07:14 09:05:00")
ds.SetMetadataItem("TIFFTAG_SOFTWARE", "words.py")
names = ["Green & more", "Red", "Red edge <1>", "", "mask"]
units = [("WAVELENGTH", "560"), ("wavelength", "0.668"), ("CENTRAL_WAVELENGTH_UM", "0.717"), ("Wavelength", "842 nm")]
for i, name in enumerate(names):
    band = ds.GetRasterBand(i + 1)
    band.SetDescription(name)
    band.WriteArray(np.full((20, 20), i, np.uint16))
    if i < len(units):
        band.SetMetadataItem(*units[i])
ds.GetRasterBand(1).SetMetadataItem("WAVELENGTH_UNITS", "Nanometers")
ds.GetRasterBand(1).SetColorInterpretation(gdal.GCI_GreenBand)
ds.GetRasterBand(2).SetColorInterpretation(gdal.GCI_RedBand)
ds.GetRasterBand(5).SetColorInterpretation(gdal.GCI_AlphaBand)
ds = None
