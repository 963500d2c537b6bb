"""Write pictures and files beside them that cannot be used.

usage: beside.py FOLDER

Each line of the output names a file and what must be said of it.
"""
import os
import sys
import numpy as np
from osgeo import gdal, osr

gdal.UseExceptions()
folder = sys.argv[1]
SRS = osr.SpatialReference()
SRS.ImportFromEPSG(32615)
data = np.random.default_rng(3).integers(1, 255, (3, 40, 50), np.uint8)
RGB = [gdal.GCI_RedBand, gdal.GCI_GreenBand, gdal.GCI_BlueBand]


def tiff(name, at=(0, 0), place=True, edit=None, bands=3, kind="GTiff"):
    path = f"{folder}/{name}"
    ds = gdal.GetDriverByName(kind).Create(path, 50, 40, bands, gdal.GDT_Byte)
    if place:
        ds.SetGeoTransform((700000 + at[0] * 0.1, 0.1, 0, 3900000 - at[1] * 0.1, 0, -0.1))
        ds.SetSpatialRef(SRS)
    for b in range(bands):
        ds.GetRasterBand(b + 1).SetColorInterpretation(RGB[b])
        ds.GetRasterBand(b + 1).WriteArray(data[b])
    if edit:
        edit(ds)
    ds = None
    return path


def text(name, content):
    with open(f"{folder}/{name}", "w") as f:
        f.write(content)


def say(name, what):
    print(name + "\t" + what, flush=True)


points = [gdal.GCP(700000 + x, 3900000 - y, 0, x * 10, y * 10) for x in (0, 4) for y in (0, 3)]
tiff("points.tif", place=False, edit=lambda ds: ds.SetGCPs(points, SRS))
say("points.tif", "gdalwarp -tps")
RPC = {"LINE_OFF": "1", "SAMP_OFF": "1", "LAT_OFF": "35", "LONG_OFF": "-91", "HEIGHT_OFF": "0", "LINE_SCALE": "1",
       "SAMP_SCALE": "1", "LAT_SCALE": "1", "LONG_SCALE": "1", "HEIGHT_SCALE": "1"}
for k in ["LINE_NUM", "LINE_DEN", "SAMP_NUM", "SAMP_DEN"]:
    RPC[k + "_COEFF"] = " ".join(["1"] + ["0"] * 19)
tiff("model.tif", place=False, edit=lambda ds: ds.SetMetadata(RPC, "RPC"))
say("model.tif", "gdalwarp -rpc")
tiff("badworld.tif", place=False)
text("badworld.tfw", "0.1\n0\n0\n")
say("badworld.tif", "badworld.tfw: is no world file")
tiff("zeroworld.tif", place=False)
text("zeroworld.tfw", "0\n0\n0\n0\n1\n1\n")
say("zeroworld.tif", "zeroworld.tfw: is no world file")
tiff("nosystem.tif", place=False)
text("nosystem.tfw", "0.1\n0\n0\n-0.1\n700000\n3900000\n")
say("nosystem.tif", "does not name its coordinate system")
tiff("badsystem.tif", place=False)
text("badsystem.tfw", "0.1\n0\n0\n-0.1\n700000\n3900000\n")
text("badsystem.prj", "LOCAL_CS[\"barn\"]")
say("badsystem.tif", "its coordinate system, barn, is not read")
tiff("badxml.tif")
text("badxml.tif.aux.xml", "<PAMDataset><SRS>")
say("badxml.tif", "badxml.tif.aux.xml: is no description")
tiff("badplace.tif")
text("badplace.tif.aux.xml", "<PAMDataset><GeoTransform>1,2,3</GeoTransform></PAMDataset>")
say("badplace.tif", "holds a place that is no six numbers")
tiff("xmlpoints.tif", place=False)
text("xmlpoints.tif.aux.xml", "<PAMDataset><GCPList><GCP Pixel=\"0\"/></GCPList></PAMDataset>")
say("xmlpoints.tif", "gdalwarp -tps")
tiff("badmask.tif")
text("badmask.tif.msk", "this is no mask")
say("badmask.tif", "badmask.tif.msk: this is not a TIFF")
with open(f"{folder}/large.png", "wb") as f:
    import struct
    import zlib
    head = struct.pack(">IIBBBBB", 40000, 40000, 8, 2, 0, 0, 0)
    f.write(b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + b"IHDR" + head + struct.pack(">I", zlib.crc32(b"IHDR" + head)))
say("large.png", "40000 x 40000 pixels, and such are read up to")
with open(f"{folder}/bomb.png", "wb") as f:
    head = struct.pack(">IIBBBBB", 8000, 8000, 8, 2, 0, 0, 0)
    f.write(b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + b"IHDR" + head + struct.pack(">I", zlib.crc32(b"IHDR" + head)))
say("bomb.png", "damaged or incomplete")
gdal.GetDriverByName("PNG").CreateCopy(f"{folder}/noplace.png", gdal.Open(tiff("noplace.tif", place=False)))
say("noplace.png", "has no place on the ground")

# Mosaics that do more than put pictures beside one another.
a, b = tiff("a.tif"), tiff("b.tif", at=(50, 0))


def mosaic(name, what, change=lambda s: s, **options):
    gdal.BuildVRT(f"{folder}/{name}.vrt", [a, b], **options).FlushCache()
    with open(f"{folder}/{name}.vrt") as f:
        s = f.read()
    text(name + ".vrt", change(s))
    say(name + ".vrt", what)


mosaic("resampled", "changes the pixels of a.tif", xRes=0.2, yRes=0.2)
mosaic("cropped", "uses a part of a.tif", outputBounds=(700001, 3899997, 700009, 3900000))
mosaic("somebands", "uses some bands of a.tif", bandList=[1, 2])
mosaic("otherorder", "changes the order of the bands", bandList=[3, 2, 1])
mosaic("outside", "do not lie in its folder", lambda s: s.replace(">a.tif<", ">../a.tif<"))
mosaic("remote", "do not lie in its folder", lambda s: s.replace(">a.tif<", ">/vsicurl/http://x/a.tif<").replace('relativeToVRT="1"', 'relativeToVRT="0"'))
mosaic("gone", "there is no such file", lambda s: s.replace(">a.tif<", ">gone.tif<"))
mosaic("itself", "is a text and no picture", lambda s: s.replace(">a.tif<", ">itself.vrt<"))
mosaic("scaled", "changes the samples", lambda s: s.replace("<SimpleSource>", "<ComplexSource><ScaleRatio>2</ScaleRatio>").replace("</SimpleSource>", "</ComplexSource>"))
mosaic("filtered", "filters its pictures", lambda s: s.replace("SimpleSource", "KernelFilteredSource"))
mosaic("cut", "the mosaic is damaged or incomplete", lambda s: s[:len(s) // 2])
mosaic("computed", "is computed", lambda s: s.replace("<VRTDataset ", '<VRTDataset subClass="VRTWarpedDataset" '))
mosaic("band", "computed band", lambda s: s.replace("<VRTRasterBand ", '<VRTRasterBand subClass="VRTDerivedRasterBand" '))
mosaic("nothing", "names no pictures", lambda s: s.replace("SimpleSource", "Nothing"))


def swapped(s):
    """The order of the pictures of the last band turned round."""
    head, tail = s.rsplit("<SimpleSource>", 2)[0], s.rsplit("<SimpleSource>", 2)[1:]
    second, end = tail[1].split("</SimpleSource>")
    first = tail[0].split("</SimpleSource>")[0]
    return head + "".join(f"<SimpleSource>{x}</SimpleSource>" for x in (second, first)) + end


def masked(source):
    return lambda s: s.replace("</VRTDataset>", "<MaskBand><VRTRasterBand dataType=\"Byte\">" + source + "</VRTRasterBand></MaskBand></VRTDataset>")


mosaic("swapped", "in another order in each band", swapped)
mosaic("mask", "has a mask of its own", masked(""))
mosaic("maskofone", "has a mask of its own", masked(
    "<SimpleSource><SourceFilename relativeToVRT=\"1\">a.tif</SourceFilename><SourceBand>mask,1</SourceBand></SimpleSource>"))
