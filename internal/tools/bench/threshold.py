"""Finds patches in an index as one would with NumPy and SciPy: what lies three robust deviations below the median,
opened by a square of three cells, labelled, and small patches dropped."""
import sys

import numpy
from osgeo import gdal
from scipy import ndimage

index = gdal.Open(sys.argv[1]).ReadAsArray()
good = numpy.isfinite(index)
middle = numpy.median(index[good])
spread = 1.4826 * numpy.median(numpy.abs(index[good] - middle))
low = ndimage.binary_opening(good & (index < middle - 3 * spread), numpy.ones((3, 3)))
labels, count = ndimage.label(low)
sizes = numpy.bincount(labels.ravel())
kept = numpy.isin(labels, numpy.flatnonzero(sizes >= 160)) & low
