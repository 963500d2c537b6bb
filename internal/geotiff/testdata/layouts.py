"""Write random pictures in many layouts, with their pixels beside them.

usage: layouts.py FOLDER [hole stripholes]

Each picture NAME.tif comes with NAME.raw: its samples as GDAL reads them, pixel
by pixel, little-endian, and a line of cases.tsv: name, cols, rows, bands, type,
no-data, six numbers of the geotransform, EPSG.
"""
import itertools
import sys
import numpy as np
from osgeo import gdal, osr

gdal.UseExceptions()
folder = sys.argv[1]
rng = np.random.default_rng(20260714)
TYPES = {
    "uint8": (gdal.GDT_Byte, np.uint8), "uint16": (gdal.GDT_UInt16, np.uint16),
    "int16": (gdal.GDT_Int16, np.int16), "uint32": (gdal.GDT_UInt32, np.uint32),
    "int32": (gdal.GDT_Int32, np.int32), "float32": (gdal.GDT_Float32, np.float32),
    "float64": (gdal.GDT_Float64, np.float64),
}
lines = []


def texture(rows, cols, kind):
    """Something between noise and a slope, so that all kinds of codes occur."""
    y, x = np.mgrid[0:rows, 0:cols]
    smooth = 0.5 + 0.3 * np.sin(x / 17) + 0.2 * np.cos(y / 11)
    noise = rng.random((rows, cols))
    v = smooth + 0.02 * noise
    v[rows // 3:rows // 2] = noise[rows // 3:rows // 2]
    v[:, cols // 2:cols // 2 + 9] = 0
    if np.issubdtype(kind, np.floating):
        return (v * 1000 - 300).astype(kind)
    info = np.iinfo(kind)
    return (info.min + np.clip(v, 0, 1) * (float(info.max) - info.min) * 0.999).astype(kind)


def write(name, typ, cols, rows, bands, options, nodata=None, gt=None, epsg=32615, point=False):
    gdal_type, np_type = TYPES[typ]
    path = f"{folder}/{name}.tif"
    ds = gdal.GetDriverByName("GTiff").Create(path, cols, rows, bands, gdal_type, options)
    gt = gt or (615000.5, 0.25, 0.0, 3900000.25, 0.0, -0.25)
    ds.SetGeoTransform(gt)
    if epsg:
        srs = osr.SpatialReference()
        srs.ImportFromEPSG(epsg)
        ds.SetProjection(srs.ExportToWkt())
    if point:
        ds.SetMetadataItem("AREA_OR_POINT", "Point")
    for b in range(bands):
        if nodata is not None:
            ds.GetRasterBand(b + 1).SetNoDataValue(nodata)
        ds.GetRasterBand(b + 1).WriteArray(texture(rows, cols, np_type))
    ds = None
    record(name, typ)


def record(name, typ):
    ds = gdal.Open(f"{folder}/{name}.tif")
    data = ds.ReadAsArray().reshape(ds.RasterCount, ds.RasterYSize, ds.RasterXSize)
    np.ascontiguousarray(np.moveaxis(data, 0, 2)).astype(data.dtype.newbyteorder("<")).tofile(f"{folder}/{name}.raw")
    nodata = ds.GetRasterBand(1).GetNoDataValue()
    srs = ds.GetSpatialRef()
    code = srs.GetAuthorityCode(None) if srs else "0"
    gt = ds.GetGeoTransform(can_return_null=True) or (0,) * 6
    lines.append("\t".join(map(str, [
        name, ds.RasterXSize, ds.RasterYSize, ds.RasterCount, typ,
        "none" if nodata is None else repr(nodata), *map(repr, gt), code])))


def holes():
    """Pictures of which only one corner was ever written."""
    for name, bands, options in [
            ("hole", 2, ["TILED=YES", "BLOCKXSIZE=64", "BLOCKYSIZE=64"]), ("stripholes", 1, ["BLOCKYSIZE=3"])]:
        ds = gdal.GetDriverByName("GTiff").Create(
            f"{folder}/{name}.tif", 300, 200, bands, gdal.GDT_UInt16,
            options + ["SPARSE_OK=TRUE", "COMPRESS=DEFLATE", "PREDICTOR=2"])
        ds.GetRasterBand(1).SetNoDataValue(65535)
        ds.GetRasterBand(1).WriteArray(texture(50, 50, np.uint16), 70, 70)
        ds = None
        record(name, "uint16")


def main():
    combos = itertools.product(
        ["uint8", "uint16", "float32"], [1, 3, 4, 5, 6],
        [["COMPRESS=NONE"], ["COMPRESS=DEFLATE", "PREDICTOR=1"], ["COMPRESS=DEFLATE", "PREDICTOR=2"],
         ["COMPRESS=DEFLATE", "PREDICTOR=3"], ["COMPRESS=LZW", "PREDICTOR=1"], ["COMPRESS=LZW", "PREDICTOR=2"],
         ["COMPRESS=ZSTD", "PREDICTOR=2"], ["COMPRESS=PACKBITS"]],
        [["TILED=YES", "BLOCKXSIZE=64", "BLOCKYSIZE=32"], ["BLOCKYSIZE=1"], ["BLOCKYSIZE=7"], ["BLOCKYSIZE=5000"]],
        ["PIXEL", "BAND"], ["LITTLE", "BIG"])
    for n, (typ, bands, comp, shape, inter, order) in enumerate(combos):
        if "PREDICTOR=3" in comp and typ != "float32":
            continue
        if n % 7 and not (inter == "PIXEL" and bands == 4):
            continue
        big = "YES" if n % 3 == 0 else "NO"
        options = comp + shape + [f"INTERLEAVE={inter}", f"ENDIANNESS={order}", f"BIGTIFF={big}"]
        if bands > 1 and n % 2:
            options.append("ALPHA=YES")
        write(f"case{n}", typ, 150, 101, bands, options, nodata=[None, 0, 7][n % 3])
    for typ in TYPES:
        for order in ["LITTLE", "BIG"]:
            for predictor in [1, 2] + ([3] if "float" in typ else []):
                write(f"{typ}-{order}-{predictor}", typ, 70, 50, 2,
                      ["COMPRESS=DEFLATE", f"PREDICTOR={predictor}", f"ENDIANNESS={order}"])
    write("sparse", "uint16", 300, 300, 3, ["TILED=YES", "SPARSE_OK=TRUE", "COMPRESS=DEFLATE"], nodata=5)
    holes()
    write("point", "uint8", 40, 30, 3, ["COMPRESS=DEFLATE"], point=True)
    write("rotated", "uint8", 40, 30, 3, [], gt=(615000.0, 0.2, 0.05, 3900000.0, 0.05, -0.2))
    write("rotatedpoint", "uint8", 40, 30, 3, [], gt=(615000.0, 0.2, 0.05, 3900000.0, 0.05, -0.2), point=True)
    write("degrees", "float32", 40, 30, 3, [], gt=(-91.5, 1e-6, 0, 35.25, 0, -1e-6), epsg=4326, nodata=float("nan"))
    write("nosystem", "float32", 40, 30, 3, [], epsg=0, nodata=-3.4028234663852886e38)
    write("stateplane", "float32", 40, 30, 3, [], epsg=3434, nodata=-9999)


if len(sys.argv) > 2:
    holes()
else:
    main()
with open(f"{folder}/cases.tsv", "w") as f:
    f.write("\n".join(lines) + "\n")
