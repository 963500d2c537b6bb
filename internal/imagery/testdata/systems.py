"""Small pictures in the coordinate systems on standard input, as EPSG:26915.

A line each of: file (in the folder of the first argument), the longitude and
latitude of its middle on its own datum, with tabs between them. The files define
their systems by parameters, not by codes.
"""
import re
import sys
from osgeo import gdal, osr

gdal.UseExceptions()
osr.UseExceptions()
CODE = re.compile(r',(?:AUTHORITY|ID)\["EPSG","?\d+"?\]')


def place(srs):
    area = srs.GetAreaOfUse()
    east = area.east_lon_degree + (360 if area.east_lon_degree < area.west_lon_degree else 0)
    lon = area.west_lon_degree + 0.3 * (east - area.west_lon_degree)
    lat = area.south_lat_degree + 0.6 * (area.north_lat_degree - area.south_lat_degree)
    own = srs.CloneGeogCS()
    for s in (srs, own):
        s.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    return lon, lat, osr.CoordinateTransformation(own, srs).TransformPoint(lon, lat)


for i, system in enumerate(map(str.strip, sys.stdin)):
    srs = osr.SpatialReference()
    srs.SetFromUserInput(system)
    lon, lat, (x, y, _) = place(srs)
    bare = osr.SpatialReference()
    bare.ImportFromWkt(CODE.sub("", srs.ExportToWkt(["FORMAT=WKT2_2019"])))
    path = f"{sys.argv[1]}/{system.replace(':', '-')}.tif"
    picture = gdal.GetDriverByName("GTiff").Create(path, 4, 4, 3, gdal.GDT_Byte)
    picture.SetProjection(bare.ExportToWkt(["FORMAT=WKT2_2019"]))
    picture.SetGeoTransform((x - 2, 1, 0, y + 2, 0, -1))
    picture = None
    print(path, repr(lon), repr(lat), sep="\t")
