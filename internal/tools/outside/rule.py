"""What one simple rule reaches: share of pixels redder than green, over a bound.

The bound and the smoothing are picked with the truth, scene by scene, so that the figure is the
most that the rule can give. A scene where that is high shows nothing about anything.
"""

import numpy as np
from osgeo import gdal
from scipy import ndimage

from fields import Raster, cell_means


def best_rule(path, scene, truth):
    """The best IoU over bounds and smoothings of the rule, on the looked-at ground of a scene."""
    if not truth["true"].any():
        return {}
    share = _redder_share(path, scene)
    ground = truth["field"]
    best = 0.0
    for sigma in (1.0, 2.0, 4.0):
        smooth = ndimage.gaussian_filter(share, sigma)
        for bound in np.quantile(smooth[ground], (0.5, 0.7, 0.8, 0.85, 0.9, 0.93, 0.95, 0.97, 0.98, 0.99)):
            told = (smooth > bound) & ground & ~truth["light"]
            both = (told | truth["true"]).sum()
            best = max(best, (told & truth["true"]).sum() / max(both, 1))
    return {"rule_iou": float(best)}


def _redder_share(path, scene):
    """Share of the pixels of each cell whose red is above its green."""
    source = gdal.Open(str(path))
    names = [source.GetRasterBand(i).GetDescription() for i in range(1, source.RasterCount + 1)]
    red, green = (source.GetRasterBand(names.index(n) + 1).ReadAsArray() for n in ("red", "green"))
    east, px, _, north, _, _ = source.GetGeoTransform()
    picture = Raster(east, north, px, *red.shape)
    e, n, rows, columns = scene["cells"]
    return cell_means((red > green).astype(np.float32), picture, Raster(e, n, 0.5, rows, columns))
