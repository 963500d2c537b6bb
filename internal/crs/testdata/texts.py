"""Every way that GDAL writes the systems on standard input, as EPSG:26915.

A line each of: system, a longitude and a latitude in its area of use on its own
datum, where PROJ projects them, flavour, and the text on one line, with tabs
between them. With the argument "bare" what names a code is taken out, so that
the parameters must be read.
"""
import json
import re
import sys
from osgeo import gdal, osr

osr.UseExceptions()
gdal.SetConfigOption("OSR_USE_NON_DEPRECATED", "NO")
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


def place(srs):
    area = srs.GetAreaOfUse()
    east = area.east_lon_degree + (360 if area.east_lon_degree < area.west_lon_degree else 0)
    lon = area.west_lon_degree + 0.3 * (east - area.west_lon_degree)
    lat = area.south_lat_degree + 0.6 * (area.north_lat_degree - area.south_lat_degree)
    own = srs.CloneGeogCS() if srs.IsProjected() else srs.Clone()
    for s in (srs, own):
        s.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    x, y, _ = osr.CoordinateTransformation(own, srs).TransformPoint(lon, lat)
    return lon, lat, x, y


for system in map(str.strip, sys.stdin):
    srs = osr.SpatialReference()
    try:
        srs.SetFromUserInput(system)
        at = place(srs)
    except (RuntimeError, AttributeError):
        continue  # not a code, or not of a place
    for flavour in FLAVOURS:
        try:
            print(system, *at, flavour, text(srs, flavour).replace("\n", " "), sep="\t")
        except RuntimeError:
            pass  # a flavour that has no word for the method
