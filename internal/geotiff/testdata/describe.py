"""Print what GDAL reads of pictures, and write their pixels.

usage: describe.py FILE...

For each FILE a line of JSON; FILE.raw gets its samples pixel by pixel,
little-endian.
"""
import json
import sys
import numpy as np
from osgeo import gdal

gdal.UseExceptions()
for path in sys.argv[1:]:
    ds = gdal.Open(path)
    data = ds.ReadAsArray().reshape(ds.RasterCount, ds.RasterYSize, ds.RasterXSize)
    np.ascontiguousarray(np.moveaxis(data, 0, 2)).astype(data.dtype.newbyteorder("<")).tofile(path + ".raw")
    bands = [ds.GetRasterBand(b + 1) for b in range(ds.RasterCount)]
    srs = ds.GetSpatialRef()
    print(json.dumps({
        "size": [ds.RasterXSize, ds.RasterYSize, ds.RasterCount],
        "type": gdal.GetDataTypeName(bands[0].DataType),
        "block": bands[0].GetBlockSize(),
        "transform": ds.GetGeoTransform(can_return_null=True),
        "epsg": srs.GetAuthorityCode(None) if srs else "",
        "nodata": [repr(b.GetNoDataValue()) for b in bands],
        "names": [b.GetDescription() for b in bands],
        "colors": [gdal.GetColorInterpretationName(b.GetColorInterpretation()) for b in bands],
        "date": ds.GetMetadataItem("TIFFTAG_DATETIME") or "",
        "software": ds.GetMetadataItem("TIFFTAG_SOFTWARE") or "",
        "overviews": [[bands[0].GetOverview(i).XSize, bands[0].GetOverview(i).YSize] for i in range(bands[0].GetOverviewCount())],
    }))
