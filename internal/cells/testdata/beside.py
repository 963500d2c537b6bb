"""Write one flight in many ways: with masks, scales, and files beside it.

usage: beside.py FOLDER

Each line of the output names a case, then its files; a case "=NAME" is what
the cases after it must equal.
"""
import os
import sys
import numpy as np
from osgeo import gdal, osr

gdal.UseExceptions()
gdal.SetConfigOption("GDAL_TIFF_INTERNAL_MASK", "YES")
folder = sys.argv[1]
rng = np.random.default_rng(11)
ROWS, COLS = 590, 620
GT = (699999.0, 0.053, 0.0, 3900001.0, 0.0, -0.053)
SRS = osr.SpatialReference()
SRS.ImportFromEPSG(32615)
TILES = ["TILED=YES", "BLOCKXSIZE=128", "BLOCKYSIZE=64", "COMPRESS=DEFLATE"]
NAMES = ["green", "red", "nir"]
deep = rng.integers(2000, 30000, (3, ROWS, COLS), np.uint16)
bright = rng.integers(20, 250, (3, ROWS, COLS), np.uint8)
y, x = np.mgrid[0:ROWS, 0:COLS]
gone = (x + y < 300) | (rng.random((ROWS, COLS)) < 0.1)


def tiff(name, data, names=None, colors=None, place=True, nodata=None, options=TILES, window=None, edit=None, mask=None):
    path = f"{folder}/{name}.tif"
    c, r, w, h = window or (0, 0, COLS, ROWS)
    kind = {"uint8": gdal.GDT_Byte, "uint16": gdal.GDT_UInt16, "float32": gdal.GDT_Float32}[data.dtype.name]
    ds = gdal.GetDriverByName("GTiff").Create(path, w, h, len(data), kind, options)
    if place:
        ds.SetGeoTransform((GT[0] + c * GT[1], GT[1], 0, GT[3] + r * GT[5], 0, GT[5]))
        ds.SetSpatialRef(SRS)
    for b in range(len(data)):
        band = ds.GetRasterBand(b + 1)
        if names:
            band.SetDescription(names[b])
        if colors:
            band.SetColorInterpretation(colors[b])
        if nodata is not None:
            band.SetNoDataValue(nodata)
        band.WriteArray(data[b][r:r + h, c:c + w])
    if edit:
        edit(ds)
    if mask is not None:
        ds.CreateMaskBand(gdal.GMF_PER_DATASET)
        ds.GetRasterBand(1).GetMaskBand().WriteArray(mask)
    ds = None
    return path


def say(case, *paths):
    print("\t".join((case,) + paths), flush=True)


def text(path, content):
    with open(path, "w") as f:
        f.write(content)


RGB = [gdal.GCI_RedBand, gdal.GCI_GreenBand, gdal.GCI_BlueBand]
valid = (~gone).astype(np.uint8) * 255
WORLD = "\n".join(repr(v) for v in (GT[1], 0.0, 0.0, GT[5], GT[0] + GT[1] / 2, GT[3] + GT[5] / 2)) + "\n"

# Masks.
holed = np.where(gone, 0, deep).astype(np.uint16)
say("=void", tiff("void", holed, NAMES, nodata=0))
say("mask inside", tiff("inside", deep, NAMES, mask=valid))
say("mask inside, strips", tiff("strips", deep, NAMES, mask=valid, options=["COMPRESS=LZW"]))
gdal.SetConfigOption("GDAL_TIFF_INTERNAL_MASK", "NO")
say("mask beside", tiff("beside", deep, NAMES, mask=valid))
gdal.SetConfigOption("GDAL_TIFF_INTERNAL_MASK", "YES")
pam = tiff("pamvoid", holed)
ds = gdal.Open(pam)
for b in range(3):
    ds.GetRasterBand(b + 1).SetNoDataValue(0)
    ds.GetRasterBand(b + 1).SetDescription(NAMES[b])
ds = None
say("description beside", pam)
say("=alpha", tiff("alpha", np.concatenate([bright, valid[None]]), colors=RGB + [gdal.GCI_AlphaBand]))
say("mask inside of colours", tiff("colours", bright, colors=RGB, mask=valid))

# Places.
bare = tiff("world", deep, NAMES, place=False)
text(bare[:-3] + "tfw", WORLD)
text(bare[:-3] + "prj", SRS.ExportToWkt())
say("=plain", tiff("plain", deep, NAMES))
say("world file", bare)
esri = SRS.Clone()
esri.MorphToESRI()
other = tiff("esri", deep, NAMES, place=False)
text(other[:-3] + "TFW", WORLD.replace("\n", "\r\n"))
text(other[:-3] + "PRJ", esri.ExportToWkt())
say("world file, other flavour", other)
placed = tiff("pamplace", deep, NAMES, place=False)
text(placed + ".aux.xml", f"""<PAMDataset><SRS dataAxisToSRSAxisMapping="1,2">{SRS.ExportToWkt().replace('"', '&quot;')}</SRS>
<GeoTransform>{", ".join(repr(v) for v in GT)}</GeoTransform></PAMDataset>""")
say("place in a description", placed)
say("=colour", tiff("colour", bright, colors=RGB))
for kind, ending in [("PNG", "pgw"), ("PNG", "wld")]:
    path = f"{folder}/{ending}.png"
    gdal.GetDriverByName(kind).CreateCopy(path, gdal.Open(f"{folder}/colour.tif"))
    os.remove(path + ".aux.xml")
    text(f"{folder}/{ending}.{ending}", WORLD)
    text(f"{folder}/{ending}.prj", SRS.ExportToWkt())
    say(f"PNG with {ending}", path)
smooth = np.stack([128 + 60 * np.sin(x / 90 + b) + 50 * np.cos(y / 70) for b in range(3)]).astype(np.uint8)
path = f"{folder}/photo.jpg"
tiff("smooth", smooth, colors=RGB)
gdal.GetDriverByName("JPEG").CreateCopy(path, gdal.Open(f"{folder}/smooth.tif"), options=["QUALITY=95"])
os.remove(path + ".aux.xml")
text(f"{folder}/photo.jgw", WORLD)
text(f"{folder}/photo.prj", SRS.ExportToWkt())
tiff("decoded", gdal.Open(path).ReadAsArray(), colors=RGB)
say("=~photo", f"{folder}/decoded.tif")
say("JPEG", path)

# Scales and offsets.
def scaled(scales, offsets):
    def edit(ds):
        for b in range(3):
            ds.GetRasterBand(b + 1).SetScale(scales[b])
            ds.GetRasterBand(b + 1).SetOffset(offsets[b])
    return edit

light = np.where(gone, 0, deep / 50000)
tiff("light", np.where(gone, -9, light).astype(np.float32), NAMES, nodata=-9)
say("=~light", f"{folder}/light.tif")
say("one scale", tiff("scale", holed, NAMES, nodata=0, edit=scaled([2e-5] * 3, [0] * 3)))
say("one scale, gaps guessed", tiff("guess", holed, NAMES, edit=scaled([2e-5] * 3, [0] * 3)))
moved = np.where(gone, 65535, deep + 1000).astype(np.uint16)
say("offset", tiff("offset", moved, NAMES, nodata=65535, edit=scaled([2e-5] * 3, [-0.02] * 3)))
say("offset and mask", tiff("offsetmask", (deep + 1000).astype(np.uint16), NAMES, mask=valid, edit=scaled([2e-5] * 3, [-0.02] * 3)))
each = np.stack([deep[0] // 2 * 2, deep[1], deep[2] // 4 * 4])
tiff("each", np.where(gone, -9, each / 50000).astype(np.float32), NAMES, nodata=-9)
say("=~each", f"{folder}/each.tif")
say("scales", tiff("scales", np.where(gone, 0, np.stack([each[0] // 2, each[1], each[2] // 4])).astype(np.uint16), NAMES, nodata=0,
                   edit=scaled([4e-5, 2e-5, 8e-5], [0] * 3)))

# Mosaics.
parts = [tiff(f"part{i}", holed, NAMES, nodata=0, window=w) for i, w in
         enumerate([(0, 0, 310, 256), (310, 0, 310, 256), (0, 256, 310, 334), (310, 256, 310, 334)])]
gdal.BuildVRT(f"{folder}/mosaic.vrt", parts).FlushCache()
singles = [tiff(f"single{i}", deep[i:i + 1]) for i in range(3)]
stack = gdal.BuildVRT(f"{folder}/stack.vrt", singles, separate=True)
for b in range(3):
    stack.GetRasterBand(b + 1).SetDescription(NAMES[b])
stack.FlushCache()
say("=plain", f"{folder}/plain.tif")
say("mosaic of bands", f"{folder}/stack.vrt")
say("=~void", f"{folder}/void.tif")
say("mosaic", f"{folder}/mosaic.vrt")
