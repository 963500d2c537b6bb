"""Every way that GDAL writes the EPSG codes on standard input.

A line each of: code, a longitude and a latitude in its area of use, flavour, and
the text on one line, with tabs between them. With the argument
"bare" what names a code is taken out, so that the parameters must be read.
"""
import json
import re
import sys
from osgeo import osr

osr.UseExceptions()
BARE = sys.argv[1:] == ["bare"]
FLAVOURS = ("WKT1_GDAL", "WKT1_ESRI", "WKT2_2015", "WKT2_2019", "PROJJSON")
CODE = re.compile(r',(?:AUTHORITY|ID)\["EPSG","?\d+"?\]')


def text(srs, flavour):
    if flavour == "PROJJSON":
        s = srs.ExportToPROJJSON(["MULTILINE=NO"])
        return json.dumps(bare(json.loads(s))) if BARE else s
    s = srs.ExportToWkt(["FORMAT=" + flavour, "ALLOW_ELLIPSOIDAL_HEIGHT_AS_VERTICAL_CRS=YES"])
    return CODE.sub("", s) if BARE else s


def bare(value):
    if isinstance(value, dict):
        return {k: bare(v) for k, v in value.items() if k != "id"}
    if isinstance(value, list):
        return [bare(v) for v in value]
    return value


for code in map(int, sys.stdin):
    srs = osr.SpatialReference()
    srs.ImportFromEPSG(code)
    area = srs.GetAreaOfUse()
    east = area.east_lon_degree + (360 if area.east_lon_degree < area.west_lon_degree else 0)
    place = (code, area.west_lon_degree + 0.3 * (east - area.west_lon_degree), area.south_lat_degree + 0.6 * (area.north_lat_degree - area.south_lat_degree))
    for flavour in FLAVOURS:
        try:
            print(*place, flavour, text(srs, flavour).replace("\n", " "), sep="\t")
        except RuntimeError as e:  # a flavour that has no word for the method
            print(*place, flavour, "none: " + str(e).replace("\n", " "), sep="\t")
