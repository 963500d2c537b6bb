"""Random fields and rasters that the painter is made of.

Lengths are metres, areas square metres. A field is a float32 array; row 0 is
its northern edge. Nothing here knows what is painted.
"""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage, special

CELL_M = 0.5
ACRE_M2 = 4046.8564224


@dataclass(frozen=True)
class Raster:
    """A north-up raster: its upper left corner in a UTM zone, its pixel in metres, its size."""

    east: float
    north: float
    pixel_m: float
    rows: int
    columns: int

    @property
    def shape(self):
        return self.rows, self.columns

    def transform(self):
        """The six numbers that GDAL wants."""
        return self.east, self.pixel_m, 0.0, self.north, 0.0, -self.pixel_m

    def eastings(self):
        """Eastings of the pixels' centres, one for each column."""
        return self.east + (np.arange(self.columns) + 0.5) * self.pixel_m

    def northings(self):
        """Northings of the pixels' centres, one for each row."""
        return self.north - (np.arange(self.rows) + 0.5) * self.pixel_m

    def mesh(self):
        """Eastings and northings of all pixels, as arrays that broadcast."""
        return self.eastings()[None, :], self.northings()[:, None]


def waves(rng, shape, cell_m, length_m, slope=3.0):
    """A Gaussian field of mean 0 and deviation 1.

    Its spectrum is flat up to the wave number of length_m and falls with the
    power -slope of the amplitude squared beyond it, as soils and stands do.
    """
    white = rng.standard_normal(shape, dtype=np.float32)
    ky = np.fft.fftfreq(shape[0], cell_m)[:, None]
    kx = np.fft.rfftfreq(shape[1], cell_m)[None, :]
    k2 = (kx * kx + ky * ky) * (length_m * length_m)
    field = np.fft.irfft2(np.fft.rfft2(white) * (1 + k2) ** (-slope / 2), s=shape)
    field -= field.mean()
    return (field / field.std()).astype(np.float32)


def streaks(rng, raster, heading_rad, length_m, width_m):
    """Waves drawn out along a heading, for drills and spreaders; mean 0, deviation 1."""
    x, y = raster.mesh()
    along = (x - raster.east) * np.sin(heading_rad) + (y - raster.north) * np.cos(heading_rad)
    across = (x - raster.east) * np.cos(heading_rad) - (y - raster.north) * np.sin(heading_rad)
    along, across = along / length_m, across / width_m
    along, across = along - along.min(), across - across.min()
    knots = rng.standard_normal((int(along.max()) + 3, int(across.max()) + 3)).astype(np.float32)
    field = ndimage.map_coordinates(knots, [along, across], order=1, output=np.float32)
    return (field - field.mean()) / field.std()


def bilinear(field, source, target, rows=slice(None)):
    """The values of a field on the rows of another raster, by linear interpolation."""
    r0, rf = _places((source.north - target.northings()[rows]) / source.pixel_m - 0.5, source.rows)
    c0, cf = _places((target.eastings() - source.east) / source.pixel_m - 0.5, source.columns)
    field = field.astype(np.float32, copy=False)
    tall = field[r0] + rf[:, None] * (field[r0 + 1] - field[r0])
    return tall[:, c0] + cf[None, :] * (tall[:, c0 + 1] - tall[:, c0])


def _places(at, size):
    """Lower index and share of the upper one, of places along one axis."""
    low = np.clip(np.floor(at).astype(np.intp), 0, size - 2)
    return low, np.clip(at - low, 0, 1).astype(np.float32)


def smoothstep(value, low, high):
    """0 below low, 1 above high, with a soft rise between."""
    t = np.clip((value - low) / (high - low), 0, 1)
    return (t * t * (3 - 2 * t)).astype(np.float32)


def share(score):
    """The standard normal distribution function, by the logistic one (within 0.01)."""
    return (1 / (1 + np.exp(-1.702 * score))).astype(np.float32)


def score_of(probability):
    """The standard normal quantile of a share in (0, 1)."""
    return special.ndtri(np.clip(probability, 1e-3, 1 - 1e-3)).astype(np.float32)


def inside(ring, x, y):
    """Whether points lie in a closed ring of (x, y), by crossings; x and y broadcast."""
    hit = np.zeros(np.broadcast(x, y).shape, bool)
    for (x0, y0), (x1, y1) in zip(ring[:-1], ring[1:]):
        if y0 == y1:
            continue
        crosses = (y0 > y) != (y1 > y)
        hit ^= crosses & (x < (x1 - x0) * (y - y0) / (y1 - y0) + x0)
    return hit


def signed_distance_m(mask, cell_m=CELL_M):
    """Metres from the edge of a mask: above 0 inside, below 0 outside."""
    far = ndimage.distance_transform_edt(mask) - ndimage.distance_transform_edt(~mask)
    return (far * cell_m).astype(np.float32)


def cell_means(pixels, raster, cells):
    """Means over cells of the pixels whose centre they hold; 0 where there is none."""
    rows = np.floor((cells.north - raster.northings()) / cells.pixel_m).astype(np.intp)
    columns = np.floor((raster.eastings() - cells.east) / cells.pixel_m).astype(np.intp)
    first_r, first_c = np.unique(rows, return_index=True), np.unique(columns, return_index=True)
    sums = np.add.reduceat(np.add.reduceat(pixels, first_r[1], axis=0, dtype=np.float32), first_c[1], axis=1)
    counts = np.diff(np.append(first_r[1], rows.size))[:, None] * np.diff(np.append(first_c[1], columns.size))
    out = np.zeros(cells.shape, np.float32)
    out[np.ix_(first_r[0], first_c[0])] = sums / counts
    return out
