"""Check that files are cloud-optimised, with the check that comes with GDAL.

usage: validate.py FILE...

Prints what is wrong; nothing when all is well.
"""
import sys
from osgeo_utils.samples import validate_cloud_optimized_geotiff as check

for path in sys.argv[1:]:
    warnings, errors, _ = check.validate(path, full_check=True)
    for what in errors + warnings:
        print(f"{path}: {what}")
