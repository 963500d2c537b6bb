"""What leaves, soils and water reflect, in the five bands of the painter.

Blue 475, green 560, red 668, red edge 717 and near infrared 840 nm. Shares of
the light that falls on them (hemispherical, dimensionless). All from memory of
ordinary leaf and soil spectra, none measured here; scenes vary them.
"""

import numpy as np

BANDS = ("blue", "green", "red", "rededge", "nir")
BLUE, GREEN, RED, REDEDGE, NIR = range(5)


def _row(*values):
    return np.array(values, np.float32)


# Leaves, as a closed canopy of them looks from above in the sun.
CROP = _row(0.028, 0.074, 0.036, 0.19, 0.44)
CROP_YOUNG = _row(0.034, 0.092, 0.045, 0.22, 0.41)
CROP_STARVED = _row(0.040, 0.125, 0.070, 0.26, 0.37)
GRASS_WEED = _row(0.036, 0.108, 0.055, 0.25, 0.49)
BROADLEAF_WEED = _row(0.026, 0.088, 0.036, 0.24, 0.55)
SEDGE_WEED = _row(0.040, 0.120, 0.064, 0.27, 0.46)
TREE = _row(0.022, 0.052, 0.026, 0.15, 0.38)
DRY_GRASS = _row(0.085, 0.145, 0.195, 0.25, 0.33)
STRAW = _row(0.105, 0.165, 0.225, 0.28, 0.34)

# Burnt leaf by tone: 0 dark brown, 1 tan, 2 bleached.
BURNT = np.stack([
    _row(0.038, 0.056, 0.082, 0.13, 0.20),
    _row(0.080, 0.140, 0.205, 0.26, 0.35),
    _row(0.190, 0.285, 0.345, 0.39, 0.45),
])

# Soils and what is built on them, dry.
SOILS = np.stack([
    _row(0.075, 0.115, 0.155, 0.18, 0.225),  # silt loam
    _row(0.050, 0.070, 0.088, 0.105, 0.14),  # dark clay
    _row(0.070, 0.115, 0.190, 0.225, 0.28),  # red clay
    _row(0.130, 0.190, 0.250, 0.28, 0.33),  # pale sand
])
GRAVEL = _row(0.21, 0.245, 0.27, 0.28, 0.30)
WATER = _row(0.050, 0.070, 0.062, 0.050, 0.030)
WET = _row(0.56, 0.54, 0.52, 0.50, 0.46)  # factor from dry to wet soil


def burnt(tone, band):
    """Reflectance of burnt leaf of a tone between 0 and 2."""
    return np.interp(tone, (0, 1, 2), BURNT[:, band]).astype(np.float32)


def mix(a, b, part):
    """Part of b in a."""
    return a + (b - a) * part
