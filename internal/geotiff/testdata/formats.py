"""Write a picture of every kind that a picture can be of.

usage: formats.py FOLDER

Each line of the output: what the kind is of, the kind, and the file.
"""
import sys
import numpy as np
from osgeo import gdal

gdal.UseExceptions()
folder = sys.argv[1]
rng = np.random.default_rng(5)
ROWS, COLS = 120, 150
y, x = np.mgrid[0:ROWS, 0:COLS]
GDAL = {"u8": gdal.GDT_Byte, "u16": gdal.GDT_UInt16, "u32": gdal.GDT_UInt32, "u64": gdal.GDT_UInt64,
        "i16": gdal.GDT_Int16, "i32": gdal.GDT_Int32, "i64": gdal.GDT_Int64, "f32": gdal.GDT_Float32, "f64": gdal.GDT_Float64,
        "ci16": gdal.GDT_CInt16, "cf32": gdal.GDT_CFloat32}
count = 0


def write(of, kind, typ, bands, *options, top=250, edit=None):
    global count
    count += 1
    path = f"{folder}/{count:03}.tif"
    ds = gdal.GetDriverByName("GTiff").Create(path, COLS, ROWS, bands, GDAL[typ], list(options))
    if edit:
        edit(ds)
    for b in range(bands):
        v = 0.5 + 0.3 * np.sin(x / 17 + b) + 0.15 * np.cos(y / 11) + 0.03 * rng.random((ROWS, COLS))
        ds.GetRasterBand(b + 1).WriteArray(v * top)
    if not edit or "sparse" not in kind:
        ds.FlushCache()
    ds = None
    print("\t".join([of, kind, path]), flush=True)


def table(ds):
    colors = gdal.ColorTable()
    for i in range(256):
        colors.SetColorEntry(i, tuple(int(v) for v in rng.integers(0, 256, 3)) + (255,))
    ds.GetRasterBand(1).SetColorTable(colors)



TILED = ["TILED=YES", "BLOCKXSIZE=64", "BLOCKYSIZE=64"]
for name, more in [("TIFF", []), ("BigTIFF", ["BIGTIFF=YES"])]:
    for order in ["little", "big"]:
        for how in ["pixel", "band"]:
            for shape, options in [("tiles", TILED), ("strips", [])]:
                write("layout", f"{name}, {order}-endian, {shape}, {how} by {how}", "u16", 4,
                      f"ENDIANNESS={order.upper()}", f"INTERLEAVE={how.upper()}", "COMPRESS=DEFLATE", *options, *more)
for bits in [1, 2, 4, 7]:
    write("samples", f"whole numbers of {bits} bits", "u8", 3, f"NBITS={bits}", top=2**bits - 1)
write("samples", "whole numbers of 8 bits", "u8", 3)
write("samples", "signed whole numbers of 8 bits", "u8", 3, "PIXELTYPE=SIGNEDBYTE")
for bits in [10, 12, 14]:
    write("samples", f"whole numbers of {bits} bits", "u16", 3, f"NBITS={bits}", top=2**bits - 1)
for typ, what in [("u16", "whole numbers of 16 bits"), ("i16", "signed whole numbers of 16 bits"),
                  ("u32", "whole numbers of 32 bits"), ("i32", "signed whole numbers of 32 bits"),
                  ("u64", "whole numbers of 64 bits (as floats)"), ("i64", "signed whole numbers of 64 bits (as floats)")]:
    write("samples", what, typ, 3, top=30000)
write("samples", "floats of 16 bits", "f32", 3, "NBITS=16", top=1)
write("samples", "floats of 32 bits", "f32", 3, top=1)
write("samples", "floats of 64 bits", "f64", 3, top=1)
write("samples", "complex whole numbers", "ci16", 1)
write("samples", "complex floats", "cf32", 1)
write("compression", "none", "u16", 4)
write("compression", "PackBits", "u16", 4, "COMPRESS=PACKBITS")
for comp in ["Deflate", "LZW", "ZSTD"]:
    for predictor in [1, 2, 3]:
        write("compression", f"{comp}, predictor {predictor}", "f32" if predictor == 3 else "u16", 4,
              f"COMPRESS={comp.upper()}", f"PREDICTOR={predictor}", top=1 if predictor == 3 else 30000)
JPEG = ["COMPRESS=JPEG", "JPEG_QUALITY=85", *TILED]
write("compression", "JPEG, gray", "u8", 1, *JPEG)
write("compression", "JPEG, red, green, blue", "u8", 3, "INTERLEAVE=PIXEL", *JPEG)
write("compression", "JPEG, luminance and colour", "u8", 3, "INTERLEAVE=PIXEL", "PHOTOMETRIC=YCBCR", *JPEG)
write("compression", "JPEG, band by band", "u8", 4, "INTERLEAVE=BAND", *JPEG)
write("compression", "WebP, lossless", "u8", 3, "COMPRESS=WEBP", "WEBP_LOSSLESS=YES", "INTERLEAVE=PIXEL", *TILED)
write("compression", "WebP", "u8", 3, "COMPRESS=WEBP", "INTERLEAVE=PIXEL", *TILED)
write("compression", "WebP with transparency", "u8", 4, "COMPRESS=WEBP", "INTERLEAVE=PIXEL", *TILED)
write("compression", "LERC", "f32", 1, "COMPRESS=LERC")
write("compression", "LZMA", "u16", 1, "COMPRESS=LZMA")
write("compression", "fax, group 3", "u8", 1, "NBITS=1", "COMPRESS=CCITTFAX3", top=1)
write("compression", "fax, group 4", "u8", 1, "NBITS=1", "COMPRESS=CCITTFAX4", top=1)
write("colour", "white is zero", "u8", 1, "PHOTOMETRIC=MINISWHITE")
write("colour", "a colour table", "u8", 1, edit=table)
write("colour", "red, green, blue, transparency", "u8", 4, "PHOTOMETRIC=RGB", "ALPHA=YES")
write("colour", "printing colours (CMYK)", "u8", 4, "PHOTOMETRIC=CMYK", "INTERLEAVE=PIXEL")
write("colour", "Lab", "u8", 3, "PHOTOMETRIC=CIELAB", "INTERLEAVE=PIXEL")
