"""From light on the ground to a file: optics, noise, gains of strips, tone curve, coding."""

import numpy as np
from osgeo import gdal, osr
from scipy import ndimage

import matter
from fields import CELL_M, smoothstep, waves

gdal.UseExceptions()

# Bands of each sensor, in the order of its file.
ORDER = {
    "four": (matter.GREEN, matter.RED, matter.REDEDGE, matter.NIR),
    "five": (matter.BLUE, matter.GREEN, matter.RED, matter.REDEDGE, matter.NIR),
    "cir": (matter.RED, matter.GREEN, matter.BLUE, matter.NIR),
    "colour": (matter.RED, matter.GREEN, matter.BLUE),
}
# Share of light that reaches full shade, from the sky alone; blue to near infrared.
SKYLIGHT = (0.42, 0.35, 0.31, 0.27, 0.23)
HAZE = (1.0, 0.6, 0.4, 0.3, 0.15)  # of what the blue gets


def strips(rng, cells, camera, heading):
    """Number of the mapping line that each cell is seen from, and its place across it (-1 to 1)."""
    x, y = cells.mesh()
    across = (x - cells.east) * np.cos(heading) - (y - cells.north) * np.sin(heading)
    at = across / camera.lines_m + rng.uniform(0, 1) + 0.02 * waves(rng, cells.shape, CELL_M, 30.0)
    number = np.floor(at).astype(int)
    return number - number.min(), (2 * (at - np.floor(at)) - 1).astype(np.float32)


def gains(rng, cells, camera, heading):
    """Gain of each band on the cells, and the parity of the strips (for seams)."""
    number, place = strips(rng, cells, camera, heading)
    common = rng.normal(0, camera.strip_gain, number.max() + 1)
    fall = 1 - camera.vignette * (place**2 - 1 / 3)
    bands = []
    for _ in range(5):
        own = common + rng.normal(0, camera.colour_gain, len(common))
        bands.append((np.exp(own)[number] * fall).astype(np.float32))
    return bands, number % 2 == 1


def clouds(rng, cells):
    """Share of direct sun that clouds take: some dense shadows with soft edges."""
    field = waves(rng, cells.shape, CELL_M, rng.uniform(35, 60), 3.5)
    edge = np.quantile(field, rng.uniform(0.7, 0.85))
    return rng.uniform(0.6, 0.95) * smoothstep(field, edge, edge + rng.uniform(0.1, 0.35))


def expose(rng, light, camera, band_shift, noise_scale=1.0):
    """What the sensor makes of the light of one band: blurred, shifted by up to a pixel, noisy reflectance."""
    seen = ndimage.gaussian_filter(light, camera.blur_px, mode="nearest", truncate=3)
    for axis, far in enumerate(band_shift):
        seen += np.float32(abs(far)) * (np.roll(seen, int(np.sign(far)), axis) - seen)
    deviation = camera.noise * noise_scale * np.sqrt(0.25 + 7.5 * np.maximum(seen, 0))
    return seen + deviation * rng.standard_normal(seen.shape, dtype=np.float32)


def band_shifts(rng, camera):
    """Shifts of five bands in pixels; one of them is the reference."""
    out = [tuple(np.round(rng.uniform(-1, 1, 2) * camera.shift_px, 2)) for _ in range(5)]
    out[rng.integers(5)] = (0.0, 0.0)
    return out


def sensor_values(rng, picture_bands, sensor, valid):
    """The numbers in the file for reflectances of the sensor's bands; valid is where it has data."""
    if sensor == "four":
        return [_counts12(b, valid) for b in picture_bands], gdal.GDT_UInt16
    if sensor == "five":
        return [np.where(valid, b, np.float32(-10000)) for b in picture_bands], gdal.GDT_Float32
    curve = rng.uniform(0.15, 0.45)
    out = []
    white = _white(picture_bands[:3], valid) * rng.uniform(0.95, 1.1)
    for i, band in enumerate(picture_bands):
        scale = white * rng.uniform(0.95, 1.05) if i < 3 else _white([band], valid)
        out.append(_display(band / scale, curve))
    return out, gdal.GDT_Byte


def _counts12(reflectance, valid):
    """Twelve bits in sixteen: reflectance 1 is 32768, in steps of 8; 0 is no data."""
    counts = np.clip(np.round(reflectance * 4096), 1, 8191) * 8
    return np.where(valid, counts, 0).astype(np.uint16)


def _white(bands, valid):
    """The reflectance that is shown nearly white."""
    sample = [b[::7, ::7][valid[::7, ::7]] for b in bands]
    return 1.15 * max(np.quantile(s, 0.985) for s in sample)


def _display(light, curve):
    """A display's tone curve: a power with some S on top, to bytes."""
    x = np.clip(light, 0, 1) ** (1 / 2.2)
    x = x + curve * (x * x * (3 - 2 * x) - x)
    return np.clip(np.round(255 * x), 0, 255).astype(np.uint8)


def write(path, arrays, kind, picture, zone, sensor, quality, valid):
    """A tiled GeoTIFF, as a stitcher leaves it."""
    options = ["TILED=YES", "BLOCKXSIZE=512", "BLOCKYSIZE=512", "NUM_THREADS=2"]
    if sensor == "colour":
        options += ["COMPRESS=JPEG", "PHOTOMETRIC=YCBCR", f"JPEG_QUALITY={quality}"]
    elif sensor == "five":
        options += ["COMPRESS=DEFLATE", "ZLEVEL=1", "PREDICTOR=3"]
    else:
        options += ["COMPRESS=DEFLATE", "ZLEVEL=1", "PREDICTOR=2"]
    if sensor == "cir":
        options += ["PHOTOMETRIC=RGB", "ALPHA=NO"]
    gdal.SetConfigOption("GDAL_TIFF_INTERNAL_MASK", "YES")
    target = gdal.GetDriverByName("GTiff").Create(str(path), picture.columns, picture.rows, len(arrays), kind, options)
    target.SetGeoTransform(picture.transform())
    reference = osr.SpatialReference()
    reference.ImportFromEPSG(32600 + zone)
    target.SetProjection(reference.ExportToWkt())
    for i, (values, band) in enumerate(zip(arrays, ORDER[sensor]), 1):
        out = target.GetRasterBand(i)
        out.SetDescription(matter.BANDS[band])
        if sensor == "four":
            out.SetNoDataValue(0)
        if sensor == "five":
            out.SetNoDataValue(-10000)
        out.WriteArray(values)
    if sensor in ("colour", "cir") and not valid.all():
        target.CreateMaskBand(gdal.GMF_PER_DATASET)
        target.GetRasterBand(1).GetMaskBand().WriteArray(valid.astype(np.uint8) * 255)
    target.FlushCache()
