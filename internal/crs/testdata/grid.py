"""What PROJ makes of a grid of points, for every EPSG code on standard input.

For each code: 25 points in its area of use, on its own datum; a line each of
code, longitude, latitude, x, y, and the longitude and latitude that x, y come
back to. x is the east whatever order the registry gives the axes.
"""
import sys
from osgeo import gdal, osr

osr.UseExceptions()
gdal.SetConfigOption("OSR_USE_NON_DEPRECATED", "NO")  # the code that was asked, not what replaced it
STEPS = (0.01, 0.25, 0.5, 0.75, 0.99)


def grid(area):
    west, south, east, north = area.west_lon_degree, area.south_lat_degree, area.east_lon_degree, area.north_lat_degree
    if east < west:
        east += 360
    for f in STEPS:
        for g in STEPS:
            yield west + f * (east - west), south + g * (north - south)


for code in map(int, sys.stdin):
    srs = osr.SpatialReference()
    srs.ImportFromEPSG(code)
    own = srs.CloneGeogCS() if srs.IsProjected() else srs.Clone()
    for s in (srs, own):
        s.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    points = list(grid(srs.GetAreaOfUse()))
    there = osr.CoordinateTransformation(own, srs).TransformPoints(points)
    back = osr.CoordinateTransformation(srs, own).TransformPoints([t[:2] for t in there])
    for (lon, lat), (x, y, _), (lon2, lat2, _) in zip(points, there, back):
        print(code, repr(lon), repr(lat), repr(x), repr(y), repr(lon2), repr(lat2))
