"""The classes of scenes, and the traits that a seed draws for one.

A scene is its class and its seed: all else follows from the two.
"""

import zlib
from dataclasses import dataclass, field

import numpy as np

from plants import Kind

SENSORS = ("four", "colour", "five", "cir")
FEET_M = 0.3048
SWATH_FT = 65.0
SKIP_FT = 7.0


@dataclass
class Growth:
    """Weeds of one fate: sizes of their patches in acres, plants for each square metre at most."""

    kind: Kind
    acres: list
    per_m2: float
    after: bool = True  # whether they stand on the day's flight
    before: bool = True  # and on the earlier one


@dataclass
class Camera:
    """What lies between the ground and the file. Deviations are relative unless said."""

    blur_px: float
    noise: float  # deviation in reflectance where it is 0.1
    shift_px: float  # of bands against each other, at most
    strip_gain: float
    colour_gain: float  # of a strip in one band
    vignette: float
    haze: float  # reflectance added in the blue
    seams: bool
    jpeg: int
    lines_m: float
    lines_heading: float  # radians from grid north


@dataclass
class Traits:
    """All that a scene is drawn from; lengths in metres, shares from 0 to 1."""

    name: str
    seed: int
    sensor: str
    acres: float
    pixel_m: float
    zone: int
    east: float
    north: float
    levees: str  # none, straight, contour
    checks: int
    creek: bool
    traps: bool
    trees: bool
    soil_contrast: float
    outline_error_m: float
    cover: float
    cover_waves: float
    rows_m: float  # of the drill; 0 when broadcast
    clumps: float
    rough: float  # deviation of ln light from leaf to leaf
    pale_waves: float
    tip_burn: float  # share of the crop's leaf that is dry
    young: float
    bright: float
    gaps: float
    tracks: bool
    cloud: bool
    camera: Camera
    growths: list = field(default_factory=list)
    lone_per_m2: float = 0.004
    question: str = "escapes"
    effect: str = ""  # pale, eaten, drift, fan, strip, untreated, no-nitrogen
    before: bool = False
    shift_m: tuple = (0.0, 0.0)
    skips: int = 0
    skip_heading: float = 0.0  # radians from grid north
    tell_passes: bool = False
    exit_code: int = 0


def _kinds(rng):
    """The fates of weeds after a contact herbicide, with this scene's shades of each."""
    tone = rng.uniform(0.5, 1.8)
    size = rng.uniform(0.16, 0.25)
    return {
        "burnt": Kind(size, rng.uniform(0.72, 0.88), 5, tone),
        "partly": Kind(size, rng.uniform(0.4, 0.62), 3, tone),
        "lush": Kind(size * 1.35, 0.03, 8, 1.0),
        "killed": Kind(size, 0.95, 20, rng.uniform(0.1, 1.2), dead=True),
    }


def _sizes(rng, count, low=0.03, high=0.5):
    """Acres of patches, many small and few large."""
    return list(np.exp(rng.uniform(np.log(low), np.log(high), count)))


def _escapes(rng, kinds, count=7, per_m2=None):
    """Mostly partly burnt patches, some burnt, now and then a green one."""
    split = rng.multinomial(count, (0.6, 0.28, 0.12))
    dense = per_m2 or rng.uniform(4.0, 7.5)
    growths = []
    for name, n in zip(("partly", "burnt", "lush"), split):
        if n:
            growths.append(Growth(kinds[name], _sizes(rng, n), dense * rng.uniform(0.8, 1.2)))
    if max(max(g.acres) for g in growths) < 0.2:
        growths[0].acres[0] = rng.uniform(0.2, 0.5)
    return growths


def _camera(rng, easy):
    """A camera as flown, or an easy one."""
    worse = 0.15 if easy else 1.0
    return Camera(
        blur_px=rng.uniform(0.45, 0.85), noise=worse * rng.uniform(0.001, 0.0035), shift_px=worse * rng.uniform(0.3, 1.0),
        strip_gain=worse * rng.uniform(0.008, 0.03), colour_gain=worse * rng.uniform(0.002, 0.008),
        vignette=worse * rng.uniform(0.02, 0.07), haze=worse * rng.uniform(0.004, 0.016),
        seams=not easy and rng.random() < 0.5, jpeg=95 if easy else int(rng.integers(85, 93)),
        lines_m=rng.uniform(14, 36), lines_heading=rng.uniform(0, np.pi))


def _base(name, seed, rng, sensor):
    """A believable field without weeds."""
    zone = int(rng.choice([10, 15, 16]))
    acres = rng.uniform(12, 13)
    return Traits(
        name, seed, sensor, acres, pixel_m=rng.uniform(0.076, 0.09), zone=zone,
        east=float(rng.integers(480_000, 620_000)), north=float(rng.integers(3_850_000, 4_350_000)),
        levees=str(rng.choice(["contour", "contour", "straight"])), checks=int(rng.integers(5, 8)),
        creek=bool(rng.random() < 0.5), traps=True, trees=True, soil_contrast=rng.uniform(0.6, 1),
        outline_error_m=rng.uniform(0.3, 1.0), cover=rng.uniform(0.60, 0.94), cover_waves=rng.uniform(0.12, 0.28),
        rows_m=float(rng.choice([0, 0.19, 0.25])), clumps=rng.uniform(0.4, 0.8), rough=rng.uniform(0.16, 0.30),
        pale_waves=rng.uniform(0.06, 0.16), tip_burn=rng.uniform(0.01, 0.08), young=rng.uniform(0, 1),
        bright=rng.uniform(0.85, 1.15), gaps=rng.uniform(0.2, 1.0), tracks=bool(rng.random() < 0.7), cloud=False,
        camera=_camera(rng, False))


def _easy(traits, rng):
    """Takes away what makes a field and a camera hard."""
    traits.levees, traits.traps, traits.trees, traits.tracks, traits.creek = "none", False, False, False, False
    traits.soil_contrast, traits.outline_error_m, traits.gaps, traits.lone_per_m2 = 0.1, 0.1, 0.0, 0.0
    traits.cover, traits.cover_waves, traits.pale_waves, traits.tip_burn = 0.95, 0.05, 0.03, 0.01
    traits.camera = _camera(rng, True)


def traits_of(name, seed):
    """The traits of the scene of a class and a seed."""
    rng = np.random.default_rng([zlib.crc32(name.encode()), seed])
    rank = (seed - 1) // 2  # odd and even seeds go round the sensors alike, each class in steps of its own
    step = 1 if name == "believable" else 1 + zlib.crc32(name.encode()) % 3
    traits = _base(name, seed, rng, SENSORS[rank * step % 4])
    kinds = _kinds(rng)
    CLASSES[name](traits, rng, kinds)
    return traits


def _believable(traits, rng, kinds):
    """Escapes after a contact herbicide, at times beside killed weeds."""
    traits.growths = _escapes(rng, kinds)
    if rng.random() < 0.4:
        traits.growths.append(Growth(kinds["killed"], _sizes(rng, 1, 0.05, 0.3), 4.0))


def _shade(traits, rng, kinds):
    """The same under broken cloud."""
    _believable(traits, rng, kinds)
    traits.cloud = True


def _no_levees(traits, rng, kinds):
    """The same without levees, with wheel tracks."""
    _believable(traits, rng, kinds)
    traits.levees, traits.tracks = "none", True


def _faint(traits, rng, kinds):
    """Light stands of weeds."""
    traits.growths = _escapes(rng, kinds, 6, rng.uniform(1.7, 2.6))


def _clean(traits, rng, kinds):
    """Nothing but lone weeds."""


def _clean_nitrogen(traits, rng, kinds):
    """Nothing short of nitrogen."""
    traits.question = "nitrogen"
    traits.sensor = ("four", "five")[(traits.seed - 1) // 2 % 2]


def _clean_insects(traits, rng, kinds):
    """Nothing eaten."""
    traits.question = "insects"


def _defoliation(traits, rng, kinds):
    """Eaten from the edges."""
    traits.question, traits.effect = "insects", "eaten"


def _two_dates(traits, rng, kinds):
    """The same with a flight of before."""
    _defoliation(traits, rng, kinds)
    _earlier(traits, rng)


def _earlier(traits, rng):
    """An earlier flight that lies up to some metres off."""
    traits.before, traits.shift_m = True, tuple(rng.normal(0, 1.3, 2))


def _nitrogen(traits, rng, kinds):
    """Patches short of nitrogen."""
    traits.question, traits.effect = "nitrogen", "pale"
    traits.sensor = ("four", "five", "cir")[(traits.seed - 1) // 2 % 3]
    traits.pale_waves *= 0.7


def _nitrogen_colour(traits, rng, kinds):
    """The same in colour alone, which must be refused."""
    _nitrogen(traits, rng, kinds)
    traits.sensor, traits.exit_code = "colour", 3


def _killed(traits, rng, kinds):
    """Killed ground beside escapes."""
    traits.growths = _escapes(rng, kinds, 4)
    traits.growths.append(Growth(kinds["killed"], _sizes(rng, 4, 0.15, 0.6), rng.uniform(3, 5)))


def _before(traits, rng, kinds):
    """Two flights: killed, still there, and green since."""
    _killed(traits, rng, kinds)
    traits.growths.append(Growth(kinds["lush"], _sizes(rng, 2, 0.08, 0.25), 4.0, before=False))
    _earlier(traits, rng)


def _skips(traits, rng, kinds):
    """Strips between passes; swath and heading are told, mapping lines lie across."""
    traits.growths = [Growth(kinds["partly"], _sizes(rng, 2, 0.05, 0.3), rng.uniform(2.5, 4))]
    traits.skips, traits.skip_heading = int(rng.integers(4, 7)), rng.uniform(0, np.pi)
    traits.tell_passes = True
    traits.camera.lines_heading = traits.skip_heading + rng.uniform(0.8, 2.3)


def _skips_blind(traits, rng, kinds):
    """The same, with nothing told."""
    _skips(traits, rng, kinds)
    traits.tell_passes = False


def _skips_lines(traits, rng, kinds):
    """Strips along mapping lines of the same spacing: not to be named."""
    _skips(traits, rng, kinds)
    _lines(traits, rng)


def _lines_clean(traits, rng, kinds):
    """Such lines without strips."""
    traits.skip_heading, traits.tell_passes = rng.uniform(0, np.pi), True
    _lines(traits, rng)


def _lines(traits, rng):
    """Mapping lines along the passes, one to a swath, and plain to see."""
    traits.camera.lines_m, traits.camera.lines_heading = SWATH_FT * FEET_M, traits.skip_heading
    traits.camera.strip_gain, traits.camera.vignette = rng.uniform(0.03, 0.05), rng.uniform(0.05, 0.09)


def _untreated(traits, rng, kinds):
    """One check without herbicide."""
    traits.effect, traits.checks = "untreated", max(traits.checks, 6)
    traits.growths = [Growth(kinds["partly"], _sizes(rng, 2), 3.5)]


def _no_nitrogen(traits, rng, kinds):
    """One check without nitrogen."""
    traits.effect, traits.question, traits.checks = "no-nitrogen", "nitrogen", max(traits.checks, 6)
    traits.sensor = ("four", "five", "cir")[(traits.seed - 1) // 2 % 3]


def _drift(traits, rng, kinds):
    """Injury that falls off from the west edge."""
    traits.effect = "drift"
    traits.growths = [Growth(kinds["partly"], _sizes(rng, 3, 0.06, 0.3), rng.uniform(3, 5))]


def _fan(traits, rng, kinds):
    """A fan of cold water from the inlet."""
    _drift(traits, rng, kinds)
    traits.effect = "fan"


def _plain(traits, rng, kinds):
    """Burnt patches on an easy field."""
    _easy(traits, rng)
    traits.growths = [Growth(kinds["burnt"], _sizes(rng, 5, 0.05, 0.5), 5.0)]


def _plain_clean(traits, rng, kinds):
    """An easy field without weeds."""
    _easy(traits, rng)


def _lush(traits, rng, kinds):
    """Green weeds that were not touched."""
    traits.growths = [Growth(kinds["lush"], _sizes(rng, 6, 0.05, 0.5), rng.uniform(3, 5))]


def _tiny(traits, rng, kinds):
    """A small plain field for the test of these programs; heavy patches, or none on even seeds."""
    _easy(traits, rng)
    traits.acres, traits.pixel_m, traits.sensor = 3.0, 0.08, "four"
    if traits.seed % 2:
        traits.growths = [Growth(kinds["burnt"], [0.25, 0.1], 6.0)]


CLASSES = {
    "believable": _believable, "shade": _shade, "no-levees": _no_levees, "faint": _faint, "lush": _lush,
    "killed": _killed, "before": _before, "clean": _clean, "clean-nitrogen": _clean_nitrogen,
    "clean-insects": _clean_insects, "defoliation": _defoliation, "two-dates": _two_dates, "nitrogen": _nitrogen,
    "nitrogen-colour": _nitrogen_colour, "skips": _skips, "skips-blind": _skips_blind, "skips-lines": _skips_lines,
    "lines-clean": _lines_clean, "untreated": _untreated, "no-nitrogen": _no_nitrogen, "drift": _drift, "fan": _fan,
    "plain": _plain, "plain-clean": _plain_clean, "tiny": _tiny,
}

# Scenes of each parity; the rest have two.
COUNTS = {"believable": 4, "tiny": 0}


def seeds(name, parity):
    """Seeds of a class for the table: 1, 3, 5, ... or 2, 4, 6, ..."""
    return [2 * k + (1 if parity == "odd" else 2) for k in range(COUNTS.get(name, 2))]
