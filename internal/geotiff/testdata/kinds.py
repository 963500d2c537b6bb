"""Write pictures whose samples are stored in other types than they are handed on in.

usage: kinds.py FOLDER
"""
import sys
import numpy as np
from osgeo import gdal

gdal.UseExceptions()
folder = sys.argv[1]
rng = np.random.default_rng(7)
ROWS, COLS = 83, 101
TILES = ["TILED=YES", "BLOCKXSIZE=64", "BLOCKYSIZE=32"]


def write(name, kind, bands, options, low, high, nodata=None, table=False):
    ds = gdal.GetDriverByName("GTiff").Create(f"{folder}/{name}.tif", COLS, ROWS, bands, kind, options)
    if table:
        colors = gdal.ColorTable()
        for i in range(high):
            colors.SetColorEntry(i, tuple(int(v) for v in rng.integers(0, 256, 3)) + (255,))
        ds.GetRasterBand(1).SetColorTable(colors)
    y, x = np.mgrid[0:ROWS, 0:COLS]
    for b in range(bands):
        v = 0.5 + 0.3 * np.sin(x / 17 + b) + 0.2 * np.cos(y / 11) + 0.02 * rng.random((ROWS, COLS))
        if nodata is not None:
            ds.GetRasterBand(b + 1).SetNoDataValue(nodata)
        ds.GetRasterBand(b + 1).WriteArray(low + np.clip(v, 0, 0.999) * (high - low))
    ds = None


for order in ["LITTLE", "BIG"]:
    for shape, how in [(TILES, "PIXEL"), (["BLOCKYSIZE=7"], "BAND"), (["BLOCKYSIZE=5000"], "PIXEL")]:
        tail = shape + [f"INTERLEAVE={how}", f"ENDIANNESS={order}"]
        end = f"{order}-{how}-{len(shape)}-{shape[0][-1]}"
        for bits in [1, 2, 4, 5, 7]:
            write(f"bits{bits}-{end}", gdal.GDT_Byte, 3, tail + [f"NBITS={bits}", "COMPRESS=DEFLATE"], 0, 1 << bits)
        for bits in [10, 12, 14]:
            write(f"bits{bits}-{end}", gdal.GDT_UInt16, 4, tail + [f"NBITS={bits}", "COMPRESS=LZW"], 0, 1 << bits, nodata=7)
        write(f"bits20-{end}", gdal.GDT_UInt32, 2, tail + ["NBITS=20"], 0, 1 << 20)
        write(f"signed8-{end}", gdal.GDT_Byte, 3, tail + ["PIXELTYPE=SIGNEDBYTE", "COMPRESS=DEFLATE", "PREDICTOR=2"], 0, 256)
        for predictor in [1, 2]:
            comp = ["COMPRESS=DEFLATE", f"PREDICTOR={predictor}"]
            write(f"int64-{predictor}-{end}", gdal.GDT_Int64, 2, tail + comp, -2**40, 2**40)
            write(f"uint64-{predictor}-{end}", gdal.GDT_UInt64, 2, tail + comp, 0, 2**60)
        for predictor in [1, 3]:
            comp = ["COMPRESS=ZSTD", f"PREDICTOR={predictor}"]
            write(f"half-{predictor}-{end}", gdal.GDT_Float32, 3, tail + comp + ["NBITS=16"], -2, 2)
        write(f"tiny-{end}", gdal.GDT_Float32, 1, tail + ["NBITS=16"], -1e-6, 1e-6)
        for bits in [1, 2, 4, 8]:
            write(f"table{bits}-{end}", gdal.GDT_Byte, 1, tail + [f"NBITS={bits}"], 0, 1 << bits, table=True)
            write(f"tablegaps{bits}-{end}", gdal.GDT_Byte, 1, tail + [f"NBITS={bits}"], 0, 1 << bits, nodata=1, table=True)
        for kind, bits, name in [(gdal.GDT_Byte, 8, "white8"), (gdal.GDT_UInt16, 16, "white16"), (gdal.GDT_Byte, 4, "white4")]:
            write(f"{name}-{end}", kind, 1, tail + ["PHOTOMETRIC=MINISWHITE", f"NBITS={bits}", "COMPRESS=DEFLATE"], 0, 1 << bits, nodata=3)
for bands in [3, 4]:
    for lossless in ["YES", "NO"]:
        for shape in [TILES, ["BLOCKYSIZE=20"]]:
            write(f"webp{bands}-{lossless}-{len(shape)}", gdal.GDT_Byte, bands,
                  shape + ["COMPRESS=WEBP", f"WEBP_LOSSLESS={lossless}", "INTERLEAVE=PIXEL"], 0, 256)
