"""Weeds as single plants: where they stand, what became of their leaves, and what of them is seen.

A weed is a tuft of leaves that start at its middle. Herbicide browns leaves
from their tips or whole; the middle stays or turns green first. Each leaf is a row of dabs whose
area is added to the pixel that they fall in, so that weeds mix with the crop below
the pixel as real ones do.
"""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from fields import ACRE_M2, CELL_M, waves


@dataclass
class Plants:
    """One array entry for each plant; UTM metres, shares from 0 to 1."""

    east: np.ndarray
    north: np.ndarray
    radius_m: np.ndarray
    burnt: np.ndarray  # share of the leaf that is brown
    tone: np.ndarray  # of the brown: 0 dark, 1 tan, 2 bleached
    dead: np.ndarray  # whether it died and lies low

    def __len__(self):
        return len(self.east)

    def joined(self, other):
        """These plants and others."""
        pairs = ((getattr(self, f), getattr(other, f)) for f in self.__dataclass_fields__)
        return Plants(*(np.concatenate(p) for p in pairs))

    def alive_and_green(self, scale):
        """The same plants before any treatment, smaller by a factor."""
        zeros = np.zeros(len(self))
        return Plants(self.east, self.north, self.radius_m * scale, zeros, self.tone, zeros.astype(bool))


def patches(rng, cells, allowed, acres_each, elongation, heading_rad):
    """Shares of full density, 0 to 1, of ragged patches of the sizes given, on the cell grid.

    A patch is where fractal noise and distance from its middle together are
    low; its density falls off over some metres. Middles are where allowed is true.
    """
    density = np.zeros(cells.shape, np.float32)
    rows, columns = np.nonzero(ndimage.binary_erosion(allowed, iterations=8))
    for acres in acres_each:
        pick = rng.integers(len(rows))
        piece = _patch(rng, cells, rows[pick], columns[pick], acres * ACRE_M2, elongation, heading_rad)
        np.maximum(density, piece, out=density)
    return density


def _patch(rng, cells, row, column, area_m2, elongation, heading_rad):
    """One patch; its rank order of cells is cut where the area is reached."""
    radius = np.sqrt(area_m2 / np.pi)
    y = (np.arange(cells.rows)[:, None] - row) * -CELL_M
    x = (np.arange(cells.columns)[None, :] - column) * CELL_M
    stretch = np.sqrt(rng.uniform(1, elongation))
    turn = heading_rad + rng.normal(0, 0.3)
    along = (x * np.sin(turn) + y * np.cos(turn)) / stretch
    across = (x * np.cos(turn) - y * np.sin(turn)) * stretch
    ragged = waves(rng, cells.shape, CELL_M, max(2.5, 0.9 * radius), 2.2)
    far = np.hypot(along, across) / radius + rng.uniform(0.22, 0.5) * ragged
    order = np.partition(far.ravel(), int(area_m2 / CELL_M**2))
    edge = order[int(area_m2 / CELL_M**2)]
    fade = rng.uniform(0.18, 0.45)  # of the radius, so 1 to 5 m
    return np.clip((edge + fade - far) / (2 * fade), 0, 1) ** 1.4


def scatter(rng, cells, per_m2, kind):
    """Plants of a density field (plants for each square metre), of a kind of growth."""
    mean = np.clip(per_m2, 0, None) * CELL_M**2
    counts = rng.poisson(mean * rng.gamma(2.2, 1 / 2.2, cells.shape))  # clumped beyond chance
    rows, columns = np.nonzero(counts)
    rows, columns = (np.repeat(a, counts[rows, columns]) for a in (rows, columns))
    n = len(rows)
    burnt_share = rng.beta(kind.burnt * kind.evenness, (1 - kind.burnt) * kind.evenness + 1e-6, n)
    return Plants(
        cells.east + (columns + rng.random(n)) * CELL_M,
        cells.north - (rows + rng.random(n)) * CELL_M,
        kind.radius_m * rng.lognormal(0, 0.35, n),
        burnt_share,
        np.clip(rng.normal(kind.tone, 0.35, n), 0, 2),
        np.full(n, kind.dead),
    )


@dataclass(frozen=True)
class Kind:
    """How the plants of a patch came through.

    radius_m: middle radius of a tuft; burnt: mean share of brown leaf in (0, 1);
    evenness: how alike plants are in that (sum of the two numbers of a beta
    distribution); tone as in Plants.
    """

    radius_m: float
    burnt: float
    evenness: float
    tone: float
    dead: bool = False


@dataclass
class Leaves:
    """Area of weed leaf over area of pixel, by what it has become; and its tone times its area."""

    green: np.ndarray
    brown: np.ndarray
    tone: np.ndarray
    fallen: np.ndarray

    def seen(self):
        """Share of each pixel that living weeds hide, and the green share of that."""
        area = self.green + self.brown
        return 1 - np.exp(-area), self.green / np.maximum(area, 1e-6)


def leaves(rng, plants, picture, dab_m2=0.0011):
    """The leaves of all plants in a picture."""
    count = np.maximum(4, (plants.radius_m / 0.011).astype(int))
    size = picture.rows * picture.columns
    sums = [np.zeros(size, np.float32) for _ in range(4)]
    step = max(1, int(3e6 / max(count.mean() * 4, 1))) if len(plants) else 1
    for start in range(0, len(plants), step):
        chosen = slice(start, start + step)
        _dab(rng, plants, chosen, count[chosen], picture, dab_m2, sums)
    return Leaves(*(s.reshape(picture.shape) for s in sums))


def _dab(rng, plants, chosen, count, picture, dab_m2, sums):
    """Adds the dabs of some plants to the sums of green, brown, tone and fallen leaf."""
    owner = np.repeat(np.arange(len(count)), count)
    turn = rng.uniform(0, 2 * np.pi, len(owner))
    reach = plants.radius_m[chosen][owner] * rng.uniform(0.5, 1.15, len(owner))
    burnt_share = plants.burnt[chosen][owner]
    whole = rng.random(len(owner)) < 0.6 * burnt_share  # leaf brown from end to end
    columns, rows, browns = [], [], []
    for place in (0.2, 0.45, 0.7, 0.95):
        far = reach * (place + rng.normal(0, 0.08, len(owner)))
        columns.append((plants.east[chosen][owner] + far * np.sin(turn) - picture.east) / picture.pixel_m)
        rows.append((picture.north - plants.north[chosen][owner] - far * np.cos(turn)) / picture.pixel_m)
        browns.append(whole | (place + rng.normal(0, 0.12, len(owner)) > 1.1 - 0.85 * burnt_share))
    tone, dead = np.tile(plants.tone[chosen][owner], 4), np.tile(plants.dead[chosen][owner], 4)
    places = np.concatenate(columns), np.concatenate(rows)
    _add(*places, np.concatenate(browns), tone, dead, picture, dab_m2, sums)


def _add(column, row, brown, tone, dead, picture, dab_m2, sums):
    """Adds dabs to the pixels that they fall in; only pixels with a dab are touched."""
    column, row = column.astype(np.int64), row.astype(np.int64)
    good = (column >= 0) & (row >= 0) & (column < picture.columns) & (row < picture.rows)
    pixel, at = np.unique(row[good] * picture.columns + column[good], return_inverse=True)
    brown, tone, dead = brown[good], tone[good], dead[good]
    area = dab_m2 / picture.pixel_m**2
    for out, weight in zip(sums, (~dead & ~brown, ~dead & brown, tone * (dead | brown), dead)):
        out[pixel] += (area * np.bincount(at, weight, len(pixel))).astype(np.float32)
