#!/usr/bin/python3
"""Paints invented rice fields as a drone's mosaic would show them, plants first, with the truth beside the picture.

    blades.py CLASS SEED FOLDER

Leaves are drawn as bent blades on a fine grid, lit by the sun with shadow and sky light, laid over soil, mud, water and
straw, and then seen through blurred optics, a mosaic's lines, noise and a file format. Local coordinates are metres east
(x) and south (y) of the picture's upper left corner.
"""
import os
os.environ.setdefault("OMP_NUM_THREADS", "1")
import json
import sys
import zlib
from pathlib import Path

import numpy as np
from osgeo import gdal, ogr, osr
from scipy import ndimage

gdal.UseExceptions()
ogr.UseExceptions()

CLASSES = ("believable", "clean", "killed", "faint", "colour", "nolevees", "shade", "traps")
ACRE = 4046.8564224
CELL = 0.5
Q = 0.25        # coarse grid of the ground's fields, m
G = 0.025       # fine grid that is rendered, m
T = 0.02        # grid of the canopy tiles, m
ROW = 0.19      # drill row, m
BANDS = ("blue", "green", "red", "rededge", "nir")
# Leaf and ground reflectance: blue, green, red, red edge, near infrared.
R = {k: np.array(v, np.float32) for k, v in {
    "rice": (.040, .100, .048, .235, .50), "rich": (.034, .078, .037, .195, .53), "pale": (.052, .150, .088, .325, .49),
    "old": (.075, .170, .170, .340, .46), "tan": (.120, .190, .270, .350, .42), "bleached": (.28, .37, .385, .45, .52),
    "red": (.050, .072, .120, .270, .46), "brown": (.055, .085, .120, .175, .26), "grey": (.115, .145, .170, .21, .29),
    "c4": (.050, .135, .075, .295, .47), "sedge": (.050, .145, .080, .31, .49), "broad": (.042, .105, .055, .26, .55),
    "straw": (.20, .275, .345, .39, .46), "soil": (.115, .155, .20, .235, .285), "clay": (.10, .125, .15, .17, .21),
    "silt": (.20, .25, .30, .33, .38), "water": (.050, .062, .056, .038, .022), "muddy": (.065, .095, .105, .085, .05),
    "gravel": (.19, .22, .24, .26, .29), "levee": (.050, .120, .080, .27, .44)}.items()}
SUNLIGHT = np.array((.72, .80, .84, .88, .91), np.float32)
SCATTER = np.array((.01, .05, .02, .20, .46), np.float32)


def seeds(name, parity):
    """Seeds of a class."""
    return [1, 3, 5, 7] if parity == "odd" else [2, 4, 6, 8]


def sensor_of(name, seed):
    """Which camera flew."""
    turn = {1: "four", 5: "four", 3: "colour", 7: "five", 2: "four", 4: "colour", 6: "four", 8: "five"}
    if name == "colour":
        return "colour"
    if name == "nolevees":
        return "five"
    if name in ("killed", "faint"):
        return {1: "four", 3: "five", 5: "four", 7: "five", 2: "five", 4: "four", 6: "five", 8: "four"}.get(seed, "four")
    if name == "shade":
        return "four8" if seed % 8 in (3, 7, 4, 0) else "four"
    return turn.get(seed, "four")


# ---------------------------------------------------------------- noise and shapes

def waves(rng, shape, metres, octaves=1):
    """Smooth noise of unit spread at a scale, on the coarse grid."""
    out = np.zeros(shape, np.float32)
    for o in range(octaves):
        step = max(metres / 2.0**o / Q / 2, 1.0)
        small = rng.standard_normal((int(shape[0] / step) + 5, int(shape[1] / step) + 5))
        a, b = rng.uniform(0, 1, 2)
        rows = np.arange(shape[0]) / step + 1 + a
        cols = np.arange(shape[1]) / step + 1 + b
        small = ndimage.spline_filter(small, 3)
        part = _cubic(_cubic(small, rows, 0), cols, 1)
        out += part.astype(np.float32) / 1.6**o
    return (out - out.mean()) / (out.std() + 1e-9)


def _cubic(a, at, axis):
    """Cubic B-spline along one axis."""
    i = np.floor(at).astype(int)
    f = at - i
    w = ((1 - f)**3 / 6, (3 * f**3 - 6 * f**2 + 4) / 6, (-3 * f**3 + 3 * f**2 + 3 * f + 1) / 6, f**3 / 6)
    out = 0
    for k in range(4):
        part = np.take(a, np.clip(i - 1 + k, 0, a.shape[axis] - 1), axis=axis)
        out = out + part * (w[k][:, None] if axis == 0 else w[k][None])
    return out


def inside(polygon, X, Y):
    """Points inside a polygon, and their distance from its sides (negative outside)."""
    hit = np.zeros(X.shape, bool)
    near = np.full(X.shape, 1e9, np.float32)
    for (ax, ay), (bx, by) in zip(polygon, np.roll(polygon, -1, 0)):
        cross = (ay > Y) != (by > Y)
        with np.errstate(divide="ignore", invalid="ignore"):
            at = (bx - ax) * (Y - ay) / (by - ay) + ax
        hit ^= cross & (X < at)
        dx, dy = bx - ax, by - ay
        t = np.clip(((X - ax) * dx + (Y - ay) * dy) / (dx * dx + dy * dy), 0, 1)
        near = np.minimum(near, np.hypot(X - ax - t * dx, Y - ay - t * dy).astype(np.float32))
    return np.where(hit, near, -near)


def blob(rng, X, Y, cx, cy, acres, edge, long=1.0, turn=None):
    """A ragged patch: 1 in the middle, falling over a few metres."""
    radius = np.sqrt(acres * ACRE / np.pi)
    turn = rng.uniform(0, np.pi) if turn is None else turn
    c, s = np.cos(turn), np.sin(turn)
    u = ((X - cx) * c + (Y - cy) * s) / np.sqrt(long)
    v = (-(X - cx) * s + (Y - cy) * c) * np.sqrt(long)
    rag = waves(rng, X.shape, max(radius * .9, 3)) * .28 + waves(rng, X.shape, 3.5) * min(.9 / radius, .2)
    r = np.hypot(u, v) / radius + rag
    return (1 / (1 + np.exp(np.clip((r - 1) * radius / edge, -30, 30)))).astype(np.float32)


def path_distance(rng, X, Y, points, wobble, scale=12):
    """Distance from a bent line."""
    out = np.full(X.shape, 1e9, np.float32)
    wx, wy = waves(rng, X.shape, scale) * wobble, waves(rng, X.shape, scale) * wobble
    for (ax, ay), (bx, by) in zip(points[:-1], points[1:]):
        dx, dy = bx - ax, by - ay
        t = np.clip(((X + wx - ax) * dx + (Y + wy - ay) * dy) / (dx * dx + dy * dy + 1e-9), 0, 1)
        out = np.minimum(out, np.hypot(X + wx - ax - t * dx, Y + wy - ay - t * dy))
    return out


# ---------------------------------------------------------------- leaves

def blades(rng, base_u, base_v, count, length, bend, step, az=None, base_h=0.0, start=(4, 28)):
    """Points along bent leaves: where, how high, how lit by angles. One row a leaf, one column a point."""
    n = len(base_u) * count
    bu, bv = np.repeat(base_u, count), np.repeat(base_v, count)
    ln = length[0] + (length[1] - length[0]) * rng.beta(2.2, 1.8, n)
    a = rng.uniform(0, 2 * np.pi, n) if az is None else az(n)
    p0 = np.radians(rng.uniform(*start, n))
    p1 = p0 + np.radians(rng.uniform(*bend, n))
    k = int(np.ceil(length[1] / step))
    f = (np.arange(k) + .5) / k
    phi = (p0[:, None] + (p1 - p0)[:, None] * f[None]**1.3).astype(np.float32)
    ds = (ln / k)[:, None].astype(np.float32)
    r = np.cumsum(np.sin(phi) * ds, 1)
    z = np.cumsum(np.cos(phi) * ds, 1)
    roll = rng.normal(0, .45, n).astype(np.float32)
    tint = rng.random(n).astype(np.float32)
    hb = np.repeat(np.broadcast_to(base_h, base_u.shape), count).astype(np.float32)
    return {"bu": bu, "bv": bv, "ca": np.cos(a).astype(np.float32), "sa": np.sin(a).astype(np.float32), "phi": phi, "r": r,
            "z": z + hb[:, None], "roll": roll, "tint": tint, "f": f, "n": n, "k": k}


def facing(b, sun):
    """How squarely the sun meets each leaf point: reflected, or let through."""
    su, sv, sz = sun
    ca, sa, cr, sr = b["ca"][:, None], b["sa"][:, None], np.cos(b["roll"])[:, None], np.sin(b["roll"])[:, None]
    cp, sp = np.cos(b["phi"]), np.sin(b["phi"])
    nz = sp * cr
    dot = (-cp * ca * cr + sa * sr) * su + (-cp * sa * cr - ca * sr) * sv + nz * sz
    dot = np.where(nz < 0, -dot, dot)
    return np.where(dot < 0, -.85 * dot, dot).astype(np.float32)


def shadowed(h, sun, cm, wrap=True):
    """Share of the sun that taller neighbours take, on a height grid of cm per pixel."""
    su, sv, sz = sun
    flat = np.hypot(su, sv)
    slope = sz / flat
    deep = np.zeros(h.shape, np.float32)
    for k in (2, 4, 7, 11, 16, 23, 32):
        a, b = int(round(k * sv / flat / cm)), int(round(k * su / flat / cm))
        if wrap:
            q = np.roll(h, (-a, -b), (0, 1))
        else:
            q = ndimage.shift(h, (-a, -b), order=0)
        deep += .42 * np.clip((q - k / 100 * slope - h - .005) / .05, 0, 1)
    return np.clip(deep, 0, .9)


def canopy(rng, sun, broadcast, plants_m2, length, bend, levels, az=None, leaves=8, start=(4, 28)):
    """Wrapping tiles of one canopy at rising cover: records of 8 bytes, and the cover of each level."""
    side = 64 * ROW
    n = int(plants_m2 * side * side)
    pu = rng.uniform(0, side, n)
    pv = rng.uniform(0, side, n)
    if not broadcast:
        pv = (np.floor(pv / ROW) + .5) * ROW + rng.normal(0, .016, n)
        gap = ndimage.gaussian_filter(rng.standard_normal((64, 600)), (0, 3), mode="wrap")
        gap = gap[np.clip((pv / ROW).astype(int), 0, 63) % 64, (pu / side * 600).astype(int) % 600] / gap.std()
        rank = np.argsort(np.argsort(-gap + rng.normal(0, 1.1, n))) / n
    else:
        lump = ndimage.gaussian_filter(rng.standard_normal((400, 400)), 4, mode="wrap")
        lump = lump[(pv / side * 400).astype(int) % 400, (pu / side * 400).astype(int) % 400] / lump.std()
        rank = np.argsort(np.argsort(-lump + rng.normal(0, 1.3, n))) / n
    tall = np.clip(rng.normal(1, .1, n), .7, 1.3)
    b = blades(rng, pu, pv, leaves, length, bend, .011, az, start=start)
    grow = np.repeat(tall, leaves)[:, None].astype(np.float32)
    b["r"] *= grow
    b["z"] *= grow
    light = facing(b, sun).ravel()
    order = np.argsort((np.clip(b["z"] / b["z"].max(), 0, 1) * 65535).astype(np.uint16).ravel(), kind="stable")
    lf = (order // b["k"]).astype(np.int32)
    r, z, light = b["r"].ravel()[order], b["z"].ravel()[order], light[order]
    # tips and edges of the leaf carry the tint of the leaf; its outer part is told apart for tip burn
    tip = np.tile((b["f"] > .6), b["n"])[order]
    rank_leaf = np.repeat(rank, leaves)
    px = int(round(side / .01))
    half = px // 2
    bu, bv, ca, sa = (b[k].astype(np.float32) for k in ("bu", "bv", "ca", "sa"))
    rough = ndimage.gaussian_filter(rng.standard_normal((half, half)), 1.2, mode="wrap")
    rough = np.clip(128 + 45 * rough / rough.std(), 0, 255).astype(np.uint8)
    stub = np.zeros((px, px), np.float32)
    m = int(side * side * 28)
    su, sv, sa2 = rng.uniform(0, side, m), rng.uniform(0, side, m), rng.uniform(0, np.pi, m)
    sl = rng.uniform(.04, .22, m)
    for f in np.linspace(-.5, .5, 18):
        stub[((sv + f * sl * np.sin(sa2)) * 100).astype(int) % px, ((su + f * sl * np.cos(sa2)) * 100).astype(int) % px] = 1
    stub = stub.reshape(half, 2, half, 2).mean((1, 3))
    out, covers, lights = [], [], []
    sz = sun[2]
    for density, scale in levels:
        keep = (rank_leaf < density)[lf]
        k = np.nonzero(keep)[0]
        l = lf[k]
        iu = ((bu[l] + scale * r[k] * ca[l]) * 100).astype(np.int32) % px
        iv = ((bv[l] + scale * r[k] * sa[l]) * 100).astype(np.int32) % px
        at = iv * px + iu
        top = np.full(px * px, -1, np.int32)
        top[at] = k
        has = top >= 0
        t = np.where(has, top, 0)
        h = np.where(has, z[t] * scale, 0).reshape(px, px).astype(np.float32)
        D = np.where(has, light[t], sz).reshape(px, px) / sz
        V = 1 - shadowed(h, sun, 1.0)
        mean = ndimage.uniform_filter(h, 15, mode="wrap")
        A = np.clip(.55 + .45 * (h - mean) / (mean + .05), .18, 1)
        has2 = has.reshape(px, px).astype(np.float32)

        def down(a, w=None):
            a = a if w is None else a * w
            return a.reshape(half, 2, half, 2).mean((1, 3))

        F = down(has2)
        w = np.maximum(F, 1e-6)
        rec = np.zeros((half, half, 8), np.uint8)
        rec[..., 0] = F * 255
        rec[..., 1] = np.clip(down(D * V, has2) / w * 150, 0, 255)
        rec[..., 2] = np.clip(down(A, has2) / w * 255, 0, 255)
        bare = np.maximum(1 - F, 1e-6)
        rec[..., 3] = np.clip(np.where(F < .99, down(V, 1 - has2) / bare, .3) * 255, 0, 255)
        rec[..., 4] = np.clip(down(h, has2) / w * 200, 0, 255)
        pick = t.reshape(px, px)[::2, ::2]
        alt = t.reshape(px, px)[1::2, 1::2]
        pick = np.where(has2[::2, ::2] > 0, pick, alt)
        tint = b["tint"][lf[pick]]
        rec[..., 5] = np.clip(np.where(tip[pick], tint, .5 + tint * .5) * 255, 0, 255)
        rec[..., 6] = stub * 255
        rec[..., 7] = rough
        out.append(rec.reshape(-1, 8).copy().view(np.uint64).ravel())
        covers.append(float(F.mean()))
        top_ = F > .5
        lights.append((float((down(D * V, has2) / w)[top_].mean()), float((down(A, has2) / w)[top_].mean())) if top_.any() else (1, 1))
    return np.concatenate(out), np.array(covers), half, lights


STAMP = 60


def stamps(rng, sun, kind, burn, count, look, crop_h, bands, kd, ka, light_c):
    """Pictures of single weeds: layers cover, height, shadow cast, alive, then light by band."""
    n, fine = STAMP, 3
    px = n * fine
    g = G / fine
    out = np.zeros((count, 4 + len(bands), n, n), np.float32)
    sz = sun[2]
    for i in range(count):
        c = n * G / 2 + rng.uniform(-.01, .01, 2)
        show = look["show"]
        vary = np.exp(rng.normal(0, .08))
        if kind in ("grass", "bleach"):
            til = rng.integers(2, 8)
            spread = rng.uniform(.02, .10)
            bu, bv = c[0] + rng.normal(0, spread, til), c[1] + rng.normal(0, spread, til)
            size = rng.uniform(.75, 1.2)
            b = blades(rng, bu, bv, int(rng.integers(5, 9)), (.22 * size, .46 * size), (20, 95), .008,
                       base_h=crop_h * rng.uniform(.0, .35) + look["over"] * rng.uniform(.2, 1.3), start=(8, 45))
            green = R["rice"] + show * (R["c4"] - R["rice"])
        elif kind == "sedge":
            til = rng.integers(3, 9)
            bu, bv = c[0] + rng.normal(0, .08, til), c[1] + rng.normal(0, .08, til)
            b = blades(rng, bu, bv, int(rng.integers(6, 11)), (.18, .36), (15, 80), .008,
                       base_h=crop_h * rng.uniform(.2, .6) + look["over"] * rng.uniform(.2, 1), start=(15, 60))
            green = R["rice"] + show * (R["sedge"] - R["rice"])
        elif kind == "mat":
            m = int(rng.integers(60, 180))
            spread = rng.uniform(.10, .24)
            bu, bv = c[0] + rng.normal(0, spread, m), c[1] + rng.normal(0, spread, m)
            b = blades(rng, bu, bv, 1, (.03, .07), (0, 40), .008,
                       base_h=crop_h * rng.uniform(.7, 1.0) + look["over"] * rng.uniform(.1, .7) + rng.normal(0, .03, m),
                       start=(40, 100))
            green = R["rice"] + show * (R["broad"] - R["rice"])
        else:  # dead: collapsed
            til = rng.integers(3, 9)
            bu, bv = c[0] + rng.normal(0, .10, til), c[1] + rng.normal(0, .10, til)
            b = blades(rng, bu, bv, int(rng.integers(6, 12)), (.2, .48), (10, 40), .008,
                       base_h=rng.uniform(.02, .12), start=(60, 95))
            mix = rng.random()
            green = R["brown"] + mix * (R["grey"] - R["brown"])
        light = facing(b, sun)
        order = np.argsort(b["z"].ravel(), kind="stable")
        lf = order // b["k"]
        top = np.full(px * px, -1, np.int64)
        wide = {"mat": ((0, 0), (1, 0), (0, 1), (-1, 0), (0, -1), (1, 1), (-1, -1), (2, 0), (0, 2)),
                "sedge": ((0, 0),)}.get(kind, ((0, 0), (1, 0)) if rng.random() < .6 else ((0, 0), (1, 0), (0, 1)))
        U = ((b["bu"][:, None] + b["r"] * b["ca"][:, None]) / g).astype(int).ravel()[order]
        W = ((b["bv"][:, None] + b["r"] * b["sa"][:, None]) / g).astype(int).ravel()[order]
        for du, dv in wide:
            u, v = U + du, W + dv
            ok = (u >= 0) & (u < px) & (v >= 0) & (v < px)
            top[v[ok] * px + u[ok]] = order[ok]
        has = top >= 0
        t = np.where(has, top, 0)
        leaf = t // b["k"]
        along = b["f"][t % b["k"]]
        # how much of each leaf is spoiled, from the tip inward; some leaves whole, some not at all
        own = np.clip(rng.normal(burn, .28, b["n"]), 0, 1)
        speckle = rng.random(px * px) < .5
        if kind == "mat":
            bad = rng.random(px * px) < np.clip(own[leaf], 0, 1) * .9
            spoil = np.where((b["tint"][leaf] < .5)[:, None], R["red"], R["brown"] if rng.random() < .6 else R["old"])
        elif kind == "bleach":
            bad = (along > 1 - own[leaf] * 1.1) & (speckle | (b["tint"][leaf] < .6))
            spoil = np.where((b["tint"][leaf] < .5)[:, None], R["bleached"] * .6 + R["pale"] * .4, R["pale"] * .6 + R["old"] * .4)
        elif kind == "dead":
            bad = b["tint"][leaf] < .3
            spoil = np.broadcast_to(R["tan"] * .75, (px * px, 5))
        else:
            bad = along > 1 - own[leaf]
            spoil = np.where((b["tint"][leaf] < .6)[:, None], R["tan"], R["old"] * .6 + R["brown"] * .4)
        spoil = green + (.55 + .45 * show) * (spoil - green) if kind != "dead" else spoil
        if kind in ("grass", "bleach", "sedge"):
            has = has & ~(bad & (rng.random(px * px) < .30))
        margin = ((along > .85 - own[leaf]) & ~bad)[:, None]  # yellow between burnt and green
        colour = np.where(bad[:, None], spoil, np.where(margin & (kind != "dead"), green * .55 + R["old"] * .45, green)) * vary
        D = light.ravel()[t] / sz
        D = D * light_c[0] * look["bright"] / max(float((light / sz).mean()) * .8, .1)
        h = np.where(has, b["z"].ravel()[t], 0).reshape(px, px).astype(np.float32)
        V = 1 - .8 * shadowed(h, sun, g * 100, False).ravel()
        has2 = has.astype(np.float32)

        def down(a):
            return (a * has2).reshape(n, fine, n, fine).mean((1, 3))

        F = down(has2)
        w = np.maximum(F, 1e-6)
        out[i, 0] = F
        out[i, 1] = down(h.ravel()) / w
        if kind != "dead":
            drop = max(look["over"] * .9 + .08, .05)
            su, sv, _ = sun
            s = ndimage.shift(F, (-sv / sz * drop / G, -su / sz * drop / G), order=1)
            s2 = ndimage.shift(F, (-sv / sz * drop * .4 / G, -su / sz * drop * .4 / G), order=1)
            out[i, 2] = np.clip(ndimage.gaussian_filter(s * .5 + s2 * .5, 1.2) * .8, 0, .8)
            out[i, 3] = 1
        A = light_c[1] * 1.05 if kind != "dead" else .45
        for j, band in enumerate(bands):
            rad = colour[:, band] * (kd[band] * D * V + ka[band] * A)
            out[i, 4 + j] = down(rad) / w
    return out


# ---------------------------------------------------------------- the ground

def outline(rng, acres):
    """An irregular field outline in metres around 0, 0."""
    n = rng.integers(5, 9)
    turn = rng.uniform(0, 2 * np.pi)
    a = (np.arange(n) + rng.uniform(-.22, .22, n)) / n * 2 * np.pi + turn
    box = rng.uniform(.75, 1.25)
    rad = rng.uniform(.82, 1.1, n)
    p = np.stack([np.cos(a) * rad * box, np.sin(a) * rad / box], 1)
    if rng.random() < .6:  # four-sided with a bite or a bent side
        q = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)], float) * (box, 1 / box)
        q += rng.uniform(-.16, .16, q.shape)
        side = rng.integers(4)
        m = (q[side] * .5 + q[(side + 1) % 4] * .5) * rng.uniform(.82, 1.08)
        m2 = (q[side] * .25 + q[(side + 1) % 4] * .75) * rng.uniform(.92, 1.08)
        q = np.insert(q, side + 1, [m, m2], 0)
        c, s = np.cos(turn), np.sin(turn)
        p = q @ np.array([(c, -s), (s, c)])
    area = .5 * abs(np.sum(p[:, 0] * np.roll(p[:, 1], -1) - np.roll(p[:, 0], -1) * p[:, 1]))
    return p * np.sqrt(acres * ACRE / area)


class Ground:
    """Fields of a scene on the coarse grid."""


def lay(name, seed, rng, acres=None):
    """All that a scene is, before the camera."""
    s = Ground()
    s.sensor = sensor_of(name, seed)
    drawn = rng.uniform(9, 12.5)
    acres = acres or drawn
    poly = outline(rng, acres)
    margin = rng.uniform(7, 12)
    lo, hi = poly.min(0) - margin, poly.max(0) + margin
    s.poly = poly - lo
    s.wide, s.high = hi - lo
    shape = (int(s.high / Q) + 2, int(s.wide / Q) + 2)
    Y, X = np.mgrid[:shape[0], :shape[1]].astype(np.float32) * Q
    s.X, s.Y, s.shape = X, Y, shape
    bent = waves(rng, shape, 25) * .35
    d = inside(s.poly, X, Y) + bent
    s.d = d
    field = d > 0
    s.field = field
    s.cover0 = rng.uniform(.75, .965)
    if name == "clean":
        s.cover0 = rng.uniform(.75, .95)
    s.heading = rng.uniform(0, np.pi)
    s.broadcast = rng.random() < .25
    c, sn = np.cos(s.heading), np.sin(s.heading)
    U, V = X * c + Y * sn, -X * sn + Y * c
    s.elev = np.radians(rng.uniform(42, 66))
    az = np.radians(rng.uniform(115, 245))
    s.sun = (np.sin(az) * np.cos(s.elev), -np.cos(az) * np.cos(s.elev), np.sin(s.elev))
    lean = rng.normal(0, 1, 3)

    # levees and checks from an invented lie of the land
    fall = rng.uniform(0, 2 * np.pi)
    kind = "none" if name == "nolevees" else rng.choice(["contour", "contour", "contour", "straight", "none"])
    if name == "killed" and kind == "none":
        kind = "contour"
    s.levee_kind = str(kind)
    high = X * np.cos(fall) + Y * np.sin(fall)
    if kind == "contour":
        high = high + waves(rng, shape, 110) * rng.uniform(6, 13) + waves(rng, shape, 40) * 1.0
    check = np.ones(shape, int)
    levee = np.zeros(shape, np.float32)
    ditch = np.zeros(shape, np.float32)
    grassy = rng.random() < .65
    s.levee_grassy = bool(grassy)
    if kind != "none":
        lo_h, hi_h = high[field].min(), high[field].max()
        count = rng.integers(2, 5)
        cuts = lo_h + (hi_h - lo_h) * (np.arange(count) + 1 + rng.uniform(-.25, .25, count)) / (count + 1)
        gy, gx = np.gradient(high, Q)
        steep = np.maximum(np.hypot(gx, gy), .35)
        width = rng.uniform(1.2, 4.0)
        dw = rng.uniform(.6, 1.2)
        for cut in cuts:
            off = (high - cut) / steep
            check += off > 0
            w = width * (1 + waves(rng, shape, 12) * .12)
            levee = np.maximum(levee, np.clip((w / 2 - np.abs(off)) / .3 + .5, 0, 1))
            if rng.random() < .8:
                ditch = np.maximum(ditch, np.clip((dw / 2 - np.abs(off + w / 2 + dw / 2 + .1)) / .25 + .5, 0, 1))
    ditch = ditch * (1 - levee) * field
    levee = levee * field
    # outside: perimeter levee, road, neighbour ground
    ring = np.clip((.2 - d) / .4 + .5, 0, 1)
    road = ((d < -rng.uniform(2, 3.5)) & (d > -rng.uniform(6, 8))).astype(np.float32)
    far = d < -7
    # things in the field's edge
    solid = np.zeros(shape, bool)
    pond = np.zeros(shape, np.float32)
    pad = np.zeros(shape, np.float32)
    corner = s.poly[rng.integers(len(s.poly))]
    middle = s.poly.mean(0)
    if rng.random() < .7:
        p = corner + (middle - corner) * rng.uniform(.02, .08)
        pad = blob(rng, X, Y, p[0], p[1], rng.uniform(.01, .03), .35)
    if rng.random() < .35:
        e = rng.integers(len(s.poly))
        p = (s.poly[e] + s.poly[(e + 1) % len(s.poly)]) / 2
        p = p + (middle - p) * rng.uniform(0, .08)
        pond = blob(rng, X, Y, p[0], p[1], rng.uniform(.03, .09), .4)
    solid |= (pad > .4) | (pond > .4)

    # trees at an edge, with their shadow
    crown = np.zeros(shape, np.float32)
    shade = np.zeros(shape, np.float32)
    trees = 0 if rng.random() < .45 and name != "shade" else int(rng.integers(3, 14))
    if name == "shade":
        trees = int(rng.integers(9, 20))
    e = rng.integers(len(s.poly))
    if trees:
        side = [(i, np.dot((s.poly[i] + s.poly[(i + 1) % len(s.poly)]) / 2 - middle, s.sun[:2])) for i in range(len(s.poly))]
        if name == "shade" or rng.random() < .5:
            e = max(side, key=lambda q: q[1])[0]
    a, b2 = s.poly[e], s.poly[(e + 1) % len(s.poly)]
    along0 = rng.uniform(.05, .6)
    lumps = waves(rng, shape, 1.4) * .5 + waves(rng, shape, .7) * .4
    for _ in range(trees):
        f = along0 + rng.uniform(0, .4)
        p = a + (b2 - a) * f
        out = (p - middle) / np.hypot(*(p - middle))
        p = p + out * rng.uniform(-.5, 6.5)
        rad, tall = rng.uniform(1.8, 4.5), rng.uniform(6, 13)
        r = np.hypot(X - p[0], Y - p[1]) / rad + lumps * .10
        dome = np.sqrt(np.clip(1 - r**2, 0, 1))
        lit = .55 + .45 * ((X - p[0]) * s.sun[0] + (Y - p[1]) * s.sun[1]) / rad + lumps * .16
        crown = np.where((r < 1) & (dome > 0), np.clip(lit, .15, 1.2), crown)
        reach = tall / np.tan(s.elev)
        hx, hy = -s.sun[0] / np.cos(s.elev), -s.sun[1] / np.cos(s.elev)
        t = np.clip(((X - p[0]) * hx + (Y - p[1]) * hy) / reach, .25, 1)
        rr = np.hypot(X - p[0] - t * reach * hx, Y - p[1] - t * reach * hy) / (rad * (1 - .25 * (t - .4))) + lumps * .12
        shade = np.maximum(shade, np.clip((1 - rr) * rad / .8, 0, 1) * .93)
    shade = np.where(crown > 0, 0, shade)
    if name == "shade":
        cx, cy = middle + rng.normal(0, 40, 2)
        cloud = blob(rng, X, Y, cx, cy, rng.uniform(1.5, 3), 7, rng.uniform(1, 1.8))
        shade = np.maximum(shade, cloud * rng.uniform(.5, .75))
    solid |= crown > 0
    structure = (levee > .5) | (ditch > .5) | solid | (ring > .5) | (d < .15)
    crop = ~structure

    # the crop's own unevenness
    cover = s.cover0 + waves(rng, shape, rng.uniform(30, 60)) * rng.uniform(.015, .045) + waves(rng, shape, 9) * .02 + waves(rng, shape, 2.2) * rng.uniform(.015, .04) + waves(rng, shape, .9) * rng.uniform(.02, .045)
    vig = waves(rng, shape, rng.uniform(35, 70)) * rng.uniform(.10, .25) + waves(rng, shape, 11) * .09 + waves(rng, shape, 2.5) * rng.uniform(.06, .14) + waves(rng, shape, .9) * rng.uniform(.05, .15)
    vig += rng.uniform(-.15, .35)
    burnleaf = (.02 + np.abs(waves(rng, shape, 45)) * rng.uniform(.01, .035)) * np.exp(waves(rng, shape, 6) * .4 + waves(rng, shape, 1.1) * rng.uniform(.3, .7))
    wet = np.clip(.5 + rng.normal(0, .25) + waves(rng, shape, 30) * .25 + waves(rng, shape, 5) * .15, 0, 1)
    flooded = rng.random() < .4
    water = np.clip((.75 if flooded else rng.uniform(-.4, .15)) + waves(rng, shape, 22) * .25 + waves(rng, shape, 3) * .12, 0, 1)
    for k in np.unique(check[field]):
        cover[check == k] += rng.normal(0, .012)
        vig[check == k] += rng.normal(0, .09)
        wet[check == k] = np.clip(wet[check == k] + rng.normal(0, .12), 0, 1)
    s.flooded = bool(flooded)
    straw = np.clip(.15 + waves(rng, shape, 15) * .12, 0, 1)
    soilmix = np.clip(.5 + waves(rng, shape, 40) * .3 + rng.normal(0, .2), 0, 1)
    # edges: thin on the outer metre, richer in overlaps at the ends
    cover -= np.clip(1 - d / rng.uniform(1, 2.5), 0, 1) * rng.uniform(.05, .3)
    if kind != "none":
        near = ndimage.distance_transform_edt((levee + ditch) < .5) * Q
        cover -= np.clip(1 - near / 1.0, 0, 1) * rng.uniform(.05, .25)
        vig -= np.clip(1 - near / rng.uniform(1.5, 4), 0, 1) * rng.uniform(-.1, .35)
    lap = rng.uniform(6, 13)
    if rng.random() < .6:
        vig += .35 * np.clip(1 - np.abs(d - lap) / 1.3, 0, 1) * (waves(rng, shape, 30) > -.3)
    # spread streaks along the drill heading
    gapn = rng.uniform(12, 21)
    strength = rng.choice([0, .08, .18])
    vig += strength * np.cos(2 * np.pi * (V + waves(rng, shape, 60) * .8) / gapn + rng.uniform(0, 6))
    for _ in range(int(rng.integers(0, 3))):
        at = rng.uniform(V[field].min(), V[field].max())
        vig += .5 * np.clip(1 - np.abs(V - at) / rng.uniform(.5, 1.2), 0, 1) * (waves(rng, shape, 80) > -.2)
    # wheel tracks
    for _ in range(int(rng.integers(1, 4))):
        at = rng.uniform(V[field].min() + 8, V[field].max() - 8)
        for side in (-1, 1):
            off = np.abs(V - at - side * 1.1 + waves(rng, shape, 40) * .12)
            cover -= np.clip((.32 - off) / .12 + .5, 0, 1) * rng.uniform(.12, .45)
    s.rows = np.clip(rng.normal(0, .025, 8192), -.3, .1).astype(np.float32)
    if rng.random() < .7:
        for _ in range(int(rng.integers(1, 4))):
            s.rows[int(rng.integers(0, 8192))::int(rng.choice([32, 48, 63]))] -= rng.uniform(.03, .2)

    def spot(away=6.0, tries=200):
        """A place on crop ground."""
        ok = crop & (d > away)
        if kind != "none":
            ok &= ~ndimage.binary_dilation(structure & field, iterations=4)
        at = np.argwhere(ok)
        y, x = at[rng.integers(len(at))]
        return x * Q, y * Q

    # plain troubles, in every scene
    def thin(n, acres, deep):
        for _ in range(n):
            x, y = spot(2)
            m = blob(rng, X, Y, x, y, rng.uniform(*acres), rng.uniform(.6, 2.5), rng.uniform(1, 2.5))
            cover[...] -= m * rng.uniform(*deep)
            wet[...] = np.clip(wet + m * rng.uniform(-.3, .3), 0, 1)

    def seep(n):
        for _ in range(n):
            x, y = spot(1)
            m = blob(rng, X, Y, x, y, rng.uniform(.02, .12), 1.6, rng.uniform(1.2, 4), fall + np.pi / 2)
            cover[...] -= m * rng.uniform(.03, .2)
            vig[...] -= m * rng.uniform(.2, .7)
            wet[...] = np.clip(wet + m, 0, 1)
            water[...] = np.clip(water + m * rng.uniform(0, .6), 0, 1)

    def yellow(n):
        for _ in range(n):
            x, y = spot(2)
            m = blob(rng, X, Y, x, y, rng.uniform(.03, .25), rng.uniform(1.5, 4), rng.uniform(1, 2))
            vig[...] -= m * rng.uniform(.25, .7)
            burnleaf[...] += m * rng.uniform(0, .05)

    heavy = name in ("clean", "traps")
    thin(int(rng.integers(1, 4)) + 3 * heavy, (.01, .12), (.08, .35))
    seep(int(rng.integers(0, 2)) + heavy)
    yellow(int(rng.integers(1, 4)) + heavy)
    lodge = np.zeros(shape, np.float32)
    other = np.zeros(shape, np.float32)
    heap = np.zeros(shape, np.float32)
    silt = np.zeros(shape, np.float32)
    s.oddities = []
    if heavy:
        for _ in range(int(rng.integers(1, 4))):
            x, y = spot(5)
            lodge = np.maximum(lodge, blob(rng, X, Y, x, y, rng.uniform(.01, .08), .5, rng.uniform(1, 3)))
        if rng.random() < .6:
            x, y = spot(3)
            other = np.clip((V - y * c + x * sn) * np.sign(rng.normal()) / .4, 0, 1) * 1.0
            far_side = other[field].mean()
            if far_side > .5:
                other = 1 - other
            s.oddities.append("variety")
        for _ in range(int(rng.integers(1, 4))):
            x, y = spot(2)
            pts = [(x, y)]
            ang = rng.uniform(0, 2 * np.pi)
            for _ in range(5):
                ang += rng.normal(0, .6)
                pts.append((pts[-1][0] + 11 * np.cos(ang), pts[-1][1] + 11 * np.sin(ang)))
            off = path_distance(rng, X, Y, pts, 1.2)
            m = np.clip((rng.uniform(.2, .4) - off) / .2 + .5, 0, 1)
            cover -= m * rng.uniform(.2, .6)
            wet = np.clip(wet + .4 * m, 0, 1)
        for _ in range(int(rng.integers(1, 3))):
            x, y = spot(2)
            m = blob(rng, X, Y, x, y, rng.uniform(.01, .07), .8, 2)
            silt = np.maximum(silt, m)
            cover -= m * rng.uniform(.1, .4)
        for _ in range(int(rng.integers(3, 12))):
            x, y = spot(1)
            heap = np.maximum(heap, blob(rng, X, Y, x, y, rng.uniform(.0004, .002), .25, rng.uniform(1, 3)))
        for _ in range(int(rng.integers(2, 7))):
            x, y = spot(2)
            m = blob(rng, X, Y, x, y, rng.uniform(.001, .012), .35, rng.uniform(1, 2.5))
            cover -= m * rng.uniform(.3, .8)
            water = np.clip(water + m, 0, 1)
        thin(3, (.02, .2), (.1, .3))
        s.oddities += ["lodged", "trails", "silt", "heaps", "puddles"]

    # weeds
    s.weeds = []          # (stamp set, density field)
    s.patches = []
    alive = np.zeros(shape, np.float32)
    kinds = list(rng.choice(["grass", "grass", "grass", "grass", "mat", "sedge", "bleach"], 2))
    if rng.random() < .55:
        kinds[1] = kinds[0]
    s.kinds = [str(k) for k in kinds]
    show = rng.uniform(.35, .9)
    dense = rng.uniform(.135, .23)
    over = rng.uniform(.03, .12)
    if name == "faint":
        show, dense, over = rng.uniform(.3, .6), rng.uniform(.11, .13), rng.uniform(.03, .09)
    if s.sensor == "colour":  # sharpened pictures show single leaves more plainly
        show *= .72
    s.look = {"show": float(show), "over": float(over), "dense": float(dense), "bright": float(rng.uniform(.92, 1.12))}
    uneven = np.exp(waves(rng, shape, 1.6) * .45 + waves(rng, shape, 4.5) * .3 - .14)
    if name != "clean":
        goal = rng.uniform(.035, .085) * acres
        laid = 0
        sizes = []
        while laid < goal and len(sizes) < 12:
            a = float(np.clip(np.exp(rng.normal(np.log(.09), .85)), .02, .6))
            sizes.append(a)
            laid += a
        if len(sizes) < 3:
            sizes += [.04, .06]
        for i, a in enumerate(sizes):
            x, y = spot(2 + 8 * a)
            f = blob(rng, X, Y, x, y, a * 1.15, rng.uniform(.5, 1.3), rng.uniform(1, 2.2),
                     s.heading if rng.random() < .3 else None)
            k = kinds[i % 2]
            level = 0 if rng.random() < .14 else int(rng.integers(1, 4))
            goal_c = dense * np.exp(rng.normal(0, .15)) * (1.25 if level == 0 and name != "faint" else 1)
            if name == "faint":
                goal_c = dense * np.exp(rng.normal(0, .06))
            lam = f * goal_c * np.clip(uneven, .4, 2.0)
            s.weeds.append(((k, level), lam))
            s.patches.append({"acres": a, "kind": str(k), "burn": level, "cover": float(goal_c)})
            alive = np.maximum(alive, f)
        s.weeds.append(((kinds[0], 2), np.clip(np.exp(waves(rng, shape, 14) * 1.0 - 6.2), 0, .012) * rng.uniform(.3, 1)))
        cover -= alive * rng.uniform(0, .08)
        vig += alive * rng.normal(0, .08)
    killed = np.zeros(shape, np.float32)
    n_killed = int(rng.integers(4, 8)) if name == "killed" else int(rng.integers(0, 3)) if name not in ("clean",) else 0
    for i in range(n_killed):
        x, y = spot(3)
        a = rng.uniform(.05, .35) if name == "killed" else rng.uniform(.02, .12)
        if name == "killed" and s.patches and i % 2 == 0:
            at = np.argwhere((alive > .5) & crop & (d > 3))
            yy, xx = at[rng.integers(len(at))]
            ang = rng.uniform(0, 2 * np.pi)
            x2, y2 = xx * Q + np.cos(ang) * 16, yy * Q + np.sin(ang) * 16
            if 0 < int(y2 / Q) < shape[0] and 0 < int(x2 / Q) < shape[1] and crop[int(y2 / Q), int(x2 / Q)]:
                x, y = x2, y2
        f = blob(rng, X, Y, x, y, a, rng.uniform(.6, 1.6), rng.uniform(1, 2))
        if name != "killed":
            f = f * (alive < .2)
        else:
            f = f * np.clip(1 - alive * 1.2, 0, 1)
        opened = rng.uniform(.14, .32) if name != "killed" else rng.uniform(.16, .4)
        cover -= f * opened * np.clip(uneven, .5, 1.6)
        s.weeds.append((("dead", 0), f * rng.uniform(.55, .95) * np.clip(uneven, .5, 1.5)))
        wet = np.clip(wet + .3 * f, 0, 1)
        killed = np.maximum(killed, f)
    for i, (key, lam) in enumerate(s.weeds):
        s.weeds[i] = (key, lam * ((levee < .3) & (ditch < .3) & ~solid & (d > .1)))

    # levee, ditch, ring, road, far ground
    grass = np.maximum(levee, np.clip(ring, 0, 1))
    patchy = np.clip(.62 + waves(rng, shape, 3) * .25 + waves(rng, shape, .8) * .12, 0, 1)
    gcover = np.clip(patchy if grassy else patchy * .35, 0, 1)
    gcover = np.where((d < 0) & ~far, np.clip(patchy * .9, 0, 1), gcover)
    gcover = np.where(far, np.clip(.8 + .1 * waves(rng, shape, 10), 0, 1), gcover)
    gcover = np.where(road > 0, np.clip(waves(rng, shape, 1.5) * .2 - .05, 0, 1), gcover)
    gcover = np.where((pad > .5) | (pond > .5), .02, gcover)
    grass = np.where((pad > .5) | (pond > .5), 1, grass)
    cover = np.clip(cover, .02, .985)
    cover = np.where(ditch > .5, np.clip(patchy * .35, 0, 1), cover)
    cover = np.where(heap > .5, .05, cover)
    s.grass = grass.astype(np.float32)
    s.cover = np.where(grass > .5, gcover, cover).astype(np.float32)
    s.vig = vig.astype(np.float32)
    s.vig[grass > .5] = waves(rng, shape, 4)[grass > .5] * .35 - .15
    s.burnleaf = np.clip(burnleaf + (grass > .5) * .10, 0, .4).astype(np.float32)
    dry = (grass > .5) | (road > 0)
    s.wet = np.where(dry, np.clip(.1 + .15 * waves(rng, shape, 4), 0, 1), wet).astype(np.float32)
    s.wet = np.where(ditch > .5, .9, s.wet).astype(np.float32)
    s.water = np.where(dry, 0, np.maximum(water, ditch * (.9 if rng.random() < .6 else .3))).astype(np.float32)
    s.water = np.maximum(s.water, (pond > .5) * 1.0).astype(np.float32)
    s.straw = np.clip(np.maximum(straw, heap * 1.6), 0, 1.6).astype(np.float32)
    s.gravel = np.maximum(pad * (pad > .3), road * rng.uniform(.2, .9)).astype(np.float32)
    s.silt, s.soilmix, s.shade, s.crown = silt, soilmix.astype(np.float32), shade.astype(np.float32), crown
    s.lodge, s.other = lodge, other.astype(np.float32)
    s.structure, s.check = structure, np.where(field, check, 0)
    s.wander = (waves(rng, shape, 30) * rng.uniform(.01, .06)).astype(np.float32)
    s.acres = acres
    s.rgb_gain = rng.uniform(.9, 1.1, 3)
    del lean
    return s


# ---------------------------------------------------------------- the camera

LEVELS = ((0, 1), (.08, .65), (.17, .7), (.28, .75), (.40, .8), (.54, .84), (.70, .9), (.85, .95), (1, 1), (1, 1.15), (1, 1.35))


def render(s, rng):
    """The mosaic's bands as reflectance, and living and dead weeds' share of each cell."""
    bands = {"four": (1, 2, 3, 4), "four8": (1, 2, 3, 4), "colour": (2, 1, 0), "five": (0, 1, 2, 3, 4)}[s.sensor]
    nb = len(bands)
    clear = rng.uniform(-.05, .06)
    kd = np.clip(SUNLIGHT + clear, .5, .95)
    sky = 1 - kd
    ka = sky + SCATTER
    c, sn = np.cos(s.heading), np.sin(s.heading)
    sun_t = (s.sun[0] * c + s.sun[1] * sn, -s.sun[0] * sn + s.sun[1] * c, s.sun[2])
    size = rng.uniform(.85, 1.15)
    rice, cov, half, lights = canopy(rng, sun_t, s.broadcast, 125, (.18 * size, .42 * size), (25, 105), LEVELS)
    turf, cov2, _, _ = canopy(rng, sun_t, True, 110, (.10, .34), (15, 120), LEVELS, leaves=7, start=(5, 60))
    lean = rng.uniform(0, 2 * np.pi)
    flat, _, _, _ = canopy(rng, sun_t, s.broadcast, 125, (.2, .45), (5, 30), ((1, 1.2),), az=lambda n: rng.normal(lean, .35, n), start=(60, 85))
    tile = np.concatenate([rice, turf, flat])
    nlev = len(LEVELS)
    page = half * half
    crop_h = .30 * size
    sets, area = {}, {}
    for key in sorted({k for k, _ in s.weeds}):
        kind, level = key
        burn = (.05, .25, .4, .55)[level]
        st = stamps(rng, s.sun, kind, burn, 36, s.look, crop_h, bands, kd, ka, lights[8])
        sets[key] = st
        area[key] = st[:, 0].sum((1, 2)).mean() * G * G
    # strew
    px_, py_, pk, pi = [], [], [], []
    keys = list(sets)
    for key, lam in s.weeds:
        seen = .85 if key[0] != "dead" else .8
        rate = -np.log(1 - np.clip(lam, 0, .9)) / (area[key] * seen) * Q * Q
        cnt = rng.poisson(rate)
        at = np.argwhere(cnt > 0)
        n = cnt[at[:, 0], at[:, 1]]
        at = np.repeat(at, n, 0)
        py_.append((at[:, 0] + rng.random(len(at))) * Q)
        px_.append((at[:, 1] + rng.random(len(at))) * Q)
        pk.append(np.full(len(at), keys.index(key)))
        pi.append(rng.integers(0, 36, len(at)))
    px_, py_, pk, pi = (np.concatenate(a) if a else np.zeros(0) for a in (px_, py_, pk, pi))
    order = rng.permutation(len(px_))
    px_, py_, pk, pi = px_[order], py_[order], pk[order].astype(int), pi[order].astype(int)

    pixel = float(np.round(rng.uniform(.05, .065), 4))
    s.pixel = pixel
    nr, nc = int(s.high / pixel), int(s.wide / pixel)
    out = np.zeros((nb, nr, nc), np.float32)
    cr, cc = int(s.high / CELL) + 1, int(s.wide / CELL) + 1
    acc = np.zeros((3, cr * cc), np.float64)
    # flight lines: where each strip's picture sits a little wrong
    line_dir = rng.uniform(0, np.pi)
    line_gap = rng.uniform(11, 22)
    lc, ls = np.cos(line_dir), np.sin(line_dir)
    table = rng.uniform(-1, 1, (64, 2)) * rng.uniform(.5, 1.6)
    band_off = np.rint(rng.uniform(-1, 1, (nb, 2)) * (0 if s.sensor == "colour" else rng.uniform(.3, 1.3))).astype(int)
    seam = waves(rng, s.shape, 6) * .8

    # levels by cover
    lev_f = np.interp(s.cover, cov, np.arange(nlev)).astype(np.float32)
    lev_g = np.interp(s.cover, cov2, np.arange(nlev)).astype(np.float32)
    s.lev = np.where(s.grass > .5, lev_g, lev_f).astype(np.float32)
    dlev = np.clip(1 / np.gradient(cov), 0, 25)
    row_gain = float(np.interp(s.cover0, cov, dlev))
    names = ("lev", "vig", "burnleaf", "wet", "water", "straw", "grass", "shade", "crown", "lodge", "other", "wander", "gravel", "silt", "soilmix")
    stack = np.stack([getattr(s, k).astype(np.float32) for k in names] + [seam.astype(np.float32)])
    jump = rng.integers(0, 1 << 20, (4096, 2))
    glint = np.array((1, .98, .96, .94, .92), np.float32) * rng.choice([.0, .01, .03, .06])
    wmix = rng.uniform(0, 1)
    waterc = R["water"] * (1 - wmix) + R["muddy"] * wmix + glint
    cls = R["rice"] * np.exp(rng.normal(0, .06, 5)).astype(np.float32)
    BR, BC, HALO = 176, 640, 6
    for r0 in range(0, nr, BR):
        r1 = min(r0 + BR, nr)
        for c0 in range(0, nc, BC):
            c1 = min(c0 + BC, nc)
            y0, x0 = int(r0 * pixel / G) - HALO, int(c0 * pixel / G) - HALO
            ny, nx = int(r1 * pixel / G) - y0 + HALO, int(c1 * pixel / G) - x0 + HALO
            y = ((np.arange(ny) + y0 + .5) * G).astype(np.float32)
            x = ((np.arange(nx) + x0 + .5) * G).astype(np.float32)
            iy = np.clip(y / Q, 0, s.shape[0] - 1.001)
            ix = np.clip(x / Q, 0, s.shape[1] - 1.001)
            a0, b0 = iy.astype(int), ix.astype(int)
            wy, wx = (iy - a0).astype(np.float32), (ix - b0).astype(np.float32)
            lo_r, hi_r, lo_c, hi_c = a0[0], a0[-1] + 2, b0[0], b0[-1] + 2
            sub = stack[:, lo_r:hi_r, lo_c:hi_c]
            f = {}
            for i, k in enumerate(names + ("seam",)):
                p = sub[i]
                if k not in ("lev",) and p.max() == p.min():
                    f[k] = float(p.flat[0])
                    continue
                q = p[a0 - lo_r] * (1 - wy)[:, None] + p[a0 - lo_r + 1] * wy[:, None]
                f[k] = q[:, b0 - lo_c] * (1 - wx) + q[:, b0 - lo_c + 1] * wx
            u = x[None] * np.float32(c) + y[:, None] * np.float32(sn)
            v = -x[None] * np.float32(sn) + y[:, None] * np.float32(c) + f["wander"]
            vg = np.floor(v / np.float32(ROW * 6)).astype(np.int32)
            ug = np.floor(u / np.float32(2.9) + (vg * 618 % 1000) / np.float32(1000)).astype(np.int32)
            h = (ug * 7919 + vg * 104729) & 4095
            row = s.rows[np.floor(v / np.float32(ROW)).astype(np.int32) & 8191] if not s.broadcast else 0
            level = f["lev"] + row * np.float32(row_gain) * (f["lev"] > 1) * (f["grass"] < .5)
            tu = (np.floor(u / np.float32(T)).astype(np.int32) + jump[h, 0].astype(np.int32)) % half
            tv = (np.floor(v / np.float32(T)).astype(np.int32) + (jump[h, 1] * 19).astype(np.int32)) % half
            # dither between levels in lumps of plants
            lump = ((h ^ (tu >> 3) * 131 ^ (tv >> 3) * 17) & 63).astype(np.float32) / 64 - .5
            li = np.clip(np.rint(level + lump * .9), 0, nlev - 1).astype(np.int32)
            g = f["grass"] > .5
            g = np.broadcast_to(g, li.shape)
            li = np.where(g, li + nlev, li)
            if np.any(f["lodge"]):
                li = np.where(f["lodge"] > .5, 2 * nlev, li)
            rec = tile[li * page + tv * half + tu].view(np.uint8).reshape(ny, nx, 8)
            F = rec[..., 0].astype(np.float32) * (1 / 255)
            D = rec[..., 1].astype(np.float32) * (1 / 150)
            A = rec[..., 2].astype(np.float32) * (1 / 255)
            Dg = rec[..., 3].astype(np.float32) * (1 / 255)
            hc = rec[..., 4].astype(np.float32) * (1 / 200)
            tint = rec[..., 5].astype(np.float32) * (1 / 255)
            stub = rec[..., 6].astype(np.float32) * (1 / 255)
            rough = (rec[..., 7].astype(np.float32) - 128) * (1 / 128)
            if np.any(f["lodge"]):
                D = np.where(f["lodge"] > .5, D * .72, D)
            crown = f["crown"]
            tree = np.any(crown)
            if tree:
                isc = crown > .02
                F = np.where(isc, np.clip(F + .5, 0, 1), F)
                D = np.where(isc, D * crown, D)
            open_ = np.clip(1.05 - f["lev"] * np.float32(.085), .25, 1)
            # weeds over and under
            weeds = None
            near = np.nonzero((px_ > x[0] - 1) & (px_ < x[-1] + 1) & (py_ > y[0] - 1) & (py_ < y[-1] + 1))[0]
            if len(near):
                weeds = np.zeros((4 + nb, ny + 2 * STAMP, nx + 2 * STAMP), np.float32)
                for j in near:
                    st = sets[keys[pk[j]]][pi[j]]
                    yy = int((py_[j] / G) - y0) - STAMP // 2 + STAMP
                    xx = int((px_[j] / G) - x0) - STAMP // 2 + STAMP
                    if yy < 0 or xx < 0 or yy + STAMP > weeds.shape[1] or xx + STAMP > weeds.shape[2]:
                        continue
                    dst = weeds[:, yy:yy + STAMP, xx:xx + STAMP]
                    np.maximum(dst[2], st[2], out=dst[2])
                    win = st[0] * (st[1] + .3) > dst[0] * (dst[1] + .3)
                    for layer in (0, 1, 3):
                        np.copyto(dst[layer], st[layer], where=win)
                    np.copyto(dst[4:], st[4:], where=win[None])
                weeds = weeds[:, STAMP:-STAMP, STAMP:-STAMP]
                over = np.clip((weeds[1] - hc + .03) * (1 / .08), 0, 1)
                vis = weeds[0] * (1 - F * (1 - over))
                if not np.isscalar(f["grass"]) and np.any(g):
                    vis = np.where(g, 0, vis)
                if tree:
                    vis = np.where(isc, 0, vis)
                live = vis * weeds[3]
                lit = 1 - weeds[2]
                D = D * lit
                Dg = Dg * lit
                inner = slice(HALO, ny - HALO), slice(HALO, nx - HALO)
            else:
                inner = slice(HALO, ny - HALO), slice(HALO, nx - HALO)
                live = vis = None
            cell = ((y[inner[0]] / CELL).astype(int) * cc)[:, None] + (x[inner[1]] / CELL).astype(int)[None]
            okc = (y[inner[0]] >= 0)[:, None] & (x[inner[1]] >= 0)[None]
            cell = np.where(okc, np.clip(cell, 0, cr * cc - 1), cr * cc - 1)
            acc[2] += np.bincount(cell.ravel(), minlength=cr * cc)
            if vis is not None:
                acc[0] += np.bincount(cell.ravel(), live[inner].ravel(), cr * cc)
                acc[1] += np.bincount(cell.ravel(), (vis - live)[inner].ravel(), cr * cc)
            sh = f["shade"]
            if np.any(sh):
                cut = 1 - .93 * sh
                D, Dg = D * cut, Dg * cut
            wetp = np.clip(f["wet"] + rough * np.float32(.22), 0, 1)
            wat = np.clip((f["water"] + rough * np.float32(.12) - .5) * 7 + .5, 0, 1)
            burnt = np.clip((f["burnleaf"] * np.float32(1.15) - tint) * 30, 0, 1) * .85
            strawp = np.clip(stub * f["straw"] * 3 + np.clip((f["straw"] - .8) * 3, 0, 1), 0, 1)
            vigp = np.clip(f["vig"] + (tint - .6) * np.float32(.5), -1.2, 1.2)
            up, dn = np.clip(vigp, 0, 1.2), np.clip(-vigp, 0, 1.2)
            rl = (1 + rough * np.float32(.16)) * (1 - wat) + wat
            gl = Dg * rl
            strips = (x[None] * np.float32(lc) + y[:, None] * np.float32(ls) + f["seam"]) / np.float32(line_gap)
            for j, band in enumerate(bands):
                base = cls[band] + up * (R["rich"][band] - R["rice"][band]) + dn * (R["pale"][band] - R["rice"][band])
                if np.any(f["other"]):
                    base = base + f["other"] * (.012, .022, .016, .04, -.03)[band]
                if np.any(g):
                    base = np.where(g, base + (R["levee"][band] - R["rice"][band]), base)
                if tree:
                    base = np.where(isc, R["rich"][band] * .9, base)
                base = base + burnt * (R["tan"][band] - base)
                soil = R["clay"][band] + f["soilmix"] * (R["soil"][band] - R["clay"][band])
                if np.any(f["gravel"]):
                    soil = soil + f["gravel"] * (R["gravel"][band] - soil)
                if np.any(f["silt"]):
                    soil = soil + f["silt"] * (R["silt"][band] - soil)
                soil = soil * (1 - np.float32(.52) * wetp)
                soil = soil + strawp * (R["straw"][band] - soil)
                soil = soil + wat * (waterc[band] - soil)
                k1, k2 = kd[band], ka[band]
                under = soil * (k1 * gl + (sky[band] + SCATTER[band] * .7) * open_)
                rad = under + F * (base * (k1 * D + k2 * A) - under)
                if vis is not None:
                    wr = weeds[4 + j]
                    if np.any(sh):
                        wr = wr * (1 - .93 * sh * (k1 / (k1 + k2 * .9)))
                    rad = rad + vis * (wr - rad)
                # optics
                rad[1:-1] = rad[1:-1] * .5 + (rad[:-2] + rad[2:]) * .25
                rad[:, 1:-1] = rad[:, 1:-1] * .5 + (rad[:, :-2] + rad[:, 2:]) * .25
                my = ((np.arange(r0, r1) + .5) * pixel / G).astype(int) - y0
                mx = ((np.arange(c0, c1) + .5) * pixel / G).astype(int) - x0
                st_id = np.floor(strips[np.ix_(my, mx)]).astype(int) & 63
                oy = np.rint(table[st_id, 0]).astype(int) + band_off[j, 0]
                ox = np.rint(table[st_id, 1]).astype(int) + band_off[j, 1]
                out[j, r0:r1, c0:c1] = rad[np.clip(my[:, None] + oy, 0, ny - 1), np.clip(mx[None] + ox, 0, nx - 1)]
    share = acc[:2] / np.maximum(acc[2], 1)
    s.line = (lc, ls, line_gap, seam)
    return out, bands, share.reshape(2, cr, cc), len(px_)


def expose(s, out, bands, rng):
    """Blur, haze, lines of the mosaic, noise; then numbers as the camera's software writes them."""
    nb, nr, nc = out.shape
    lc, ls, gap, seam = s.line
    soft = rng.uniform(.35, .62)
    gain_t = rng.normal(0, rng.uniform(.004, .018), (64, nb)) + rng.normal(0, rng.uniform(.004, .02), (64, 1))
    slope = rng.normal(0, rng.uniform(.004, .02), nb)
    haze = np.array((.018, .010, .006, .004, .003)) * rng.uniform(.3, 1.6)
    iy = np.clip((np.arange(nr) * s.pixel / Q).astype(int), 0, s.shape[0] - 1)
    ix = np.clip((np.arange(nc) * s.pixel / Q).astype(int), 0, s.shape[1] - 1)
    pos = (np.arange(nc, dtype=np.float32) * s.pixel)[None] * np.float32(lc) + (np.arange(nr, dtype=np.float32) * s.pixel)[:, None] * np.float32(ls)
    pos = (pos + seam[np.ix_(iy, ix)]) / np.float32(gap)
    sid = np.floor(pos).astype(np.int16)
    frac = (pos - sid - np.float32(.5)).astype(np.float32)
    del pos
    # blended over a share of the line
    w = np.clip((np.abs(frac) - .42) / .16, 0, .5).astype(np.float32)
    nb_id = (sid + np.sign(frac).astype(np.int16)) & 63
    sid &= 63
    drift = waves(rng, s.shape, 70) * rng.uniform(.003, .012)
    for j, band in enumerate(bands):
        img = ndimage.gaussian_filter(out[j], soft)
        gains = gain_t[:, j].astype(np.float32)
        gain = gains[sid] * (1 - w) + gains[nb_id] * w + slope[j] * frac * (1 - 2 * w) + drift[np.ix_(iy, ix)]
        img = img * (1 + gain) + haze[band]
        img += (rng.standard_normal(img.shape, np.float32) * np.sqrt(np.maximum(img, 1e-4) * rng.uniform(2e-5, 8e-5)))
        out[j] = img
    return out


def write(s, out, bands, folder, zone, east, north, rng):
    """flight.tif."""
    names = [{0: "blue", 1: "green", 2: "red", 3: "red edge", 4: "near infrared"}[b] for b in bands]
    nb, nr, nc = out.shape
    hole = None
    iy = np.clip((np.arange(nr) * s.pixel / Q).astype(int), 0, s.shape[0] - 1)
    ix = np.clip((np.arange(nc) * s.pixel / Q).astype(int), 0, s.shape[1] - 1)
    opts = ["TILED=YES", "BLOCKXSIZE=256", "BLOCKYSIZE=256"]
    nodata = None
    if s.sensor == "colour":
        mix = np.array([(1.22, -.20, -.02), (-.12, 1.22, -.10), (-.02, -.18, 1.20)], np.float32)
        lin = np.maximum(np.tensordot(mix, out, 1), 0)
        mean = np.percentile(lin[1], 50)
        wb = np.array((1.05, 1.0, 1.05), np.float32) * s.rgb_gain.astype(np.float32)
        k = .165 * rng.uniform(.85, 1.25) / mean
        img = np.clip(lin * wb[:, None, None] * k, 0, 4)
        img = img / (1 + .25 * img**2)  # shoulder
        img = np.clip(img, 0, 1)**(1 / 2.2)
        amount = rng.uniform(.2, .6)
        for j in range(3):
            img[j] += amount * (img[j] - ndimage.gaussian_filter(img[j], 1.0))
        data = np.clip(img * 255 + rng.standard_normal(img.shape, np.float32) * .9, 0, 255).round().astype(np.uint8)
        quality = int(rng.integers(88, 93))
        opts += ["COMPRESS=JPEG", "PHOTOMETRIC=YCBCR", f"JPEG_QUALITY={quality}"]
        kind = gdal.GDT_Byte
    else:
        if rng.random() < .6:
            hole = s.d[np.ix_(iy, ix)] < -(5.5 + 1.5 * np.sin(s.X[np.ix_(iy, ix)] / 5))
        if s.sensor == "five":
            data = np.maximum(out, 1e-4, out=out)
            kind, nodata = gdal.GDT_Float32, -10000.0
            opts += ["COMPRESS=DEFLATE", "PREDICTOR=3", "ZLEVEL=1"]
        else:
            cal = np.exp(rng.normal(0, .05, nb)).astype(np.float32)[:, None, None]
            if s.sensor == "four8":
                top = np.percentile(out, 99.9, axis=(1, 2)).astype(np.float32)[:, None, None]
                scale = 235 / np.maximum(top, .30)  # one range for the visible bands, the same for infrared
                scale[:2] = min(scale[0], scale[1]) * 1.6
                data = np.clip(out * cal * scale, 1, 255).round().astype(np.uint8)
                kind = gdal.GDT_Byte
            else:
                data = np.clip(out * cal * rng.choice([10000, 32768, 50000]), 1, 65535).round().astype(np.uint16)
                kind = gdal.GDT_UInt16
            nodata = 0
            opts += ["COMPRESS=DEFLATE", "PREDICTOR=2", "ZLEVEL=1"]
        if hole is not None:
            data[:, hole] = nodata
    ds = gdal.GetDriverByName("GTiff").Create(str(folder / "flight.tif"), nc, nr, nb, kind, opts)
    ref = osr.SpatialReference()
    ref.ImportFromEPSG(32600 + zone)
    ds.SetProjection(ref.ExportToWkt())
    ds.SetGeoTransform((east, s.pixel, 0, north, 0, -s.pixel))
    for j in range(nb):
        band = ds.GetRasterBand(j + 1)
        band.SetDescription(names[j])
        if nodata is not None and hole is not None:
            band.SetNoDataValue(nodata)
        band.WriteArray(data[j])
    ds.FlushCache()
    return hole


def paint(name, seed, scenes, acres=None):
    """Makes a scene, or finds it made; acres instead of those that the seed draws."""
    folder = Path(scenes) / f"{name}-{seed}"
    if all((folder / f).exists() for f in ("flight.tif", "truth.npz", "field.geojson", "scene.json")):
        return folder
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng([zlib.crc32(name.encode()), seed, 44])
    zone = int(rng.choice([15, 16]))
    east, north = float(rng.integers(300, 700) * 1000 + rng.integers(0, 900)), float(rng.integers(3700, 4050) * 1000 + rng.integers(0, 900))
    s = lay(name, seed, rng, acres)
    out, bands, share, plants = render(s, rng)
    out = expose(s, out, bands, rng)
    write(s, out, bands, folder, zone, east, north, rng)
    del out
    cr, cc = share.shape[1:]
    # boundary as drawn
    n = len(s.poly)
    drawn = []
    for i in range(n):
        a, b = s.poly[i], s.poly[(i + 1) % n]
        drawn.append(a)
        if np.hypot(*(b - a)) > 90:
            drawn.append((a + b) / 2)
    drawn = np.array(drawn)
    ang = rng.uniform(0, 2 * np.pi, len(drawn))
    drawn = drawn + np.stack([np.cos(ang), np.sin(ang)], 1) * rng.uniform(.3, 1.5, len(drawn))[:, None]
    cy, cx = np.mgrid[:cr, :cc].astype(np.float32) * CELL + CELL / 2
    field = inside(drawn, cx, cy) > 0
    ref, deg = osr.SpatialReference(), osr.SpatialReference()
    ref.ImportFromEPSG(32600 + zone)
    deg.ImportFromEPSG(4326)
    deg.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    change = osr.CoordinateTransformation(ref, deg)
    ring = [change.TransformPoint(east + float(x), north - float(y))[:2] for x, y in drawn]
    ring.append(ring[0])
    area = .5 * sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(ring[:-1], ring[1:]))
    if area < 0:
        ring = ring[::-1]
    (folder / "field.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": [
        {"type": "Feature", "properties": {"name": f"{name} {seed}"},
         "geometry": {"type": "Polygon", "coordinates": [[[round(a, 8), round(b, 8)] for a, b in ring]]}}]}))

    def coarse(a):
        iy = np.clip(((np.arange(cr) + .5) * CELL / Q).astype(int), 0, s.shape[0] - 1)
        ix = np.clip(((np.arange(cc) + .5) * CELL / Q).astype(int), 0, s.shape[1] - 1)
        return a[np.ix_(iy, ix)]

    structure = coarse(s.structure)
    crop = field & ~structure
    weight = ndimage.gaussian_filter(crop.astype(np.float32), 1.1)
    mean = [np.where(crop, ndimage.gaussian_filter(np.where(crop, a, 0), 1.1) / np.maximum(weight, .2), 0) for a in share]
    true = _pieces(ndimage.binary_opening(mean[0] >= .08, np.ones((2, 2))), 80) & crop
    true = _pieces(_fill(true, 12) & crop, 80)
    killed = _pieces((mean[1] >= .10) & ~true & crop, 16)
    light = (ndimage.binary_dilation(true, iterations=2) | (mean[0] > .02)) & ~true
    np.savez_compressed(folder / "truth.npz", true=true, light=light, killed=killed, structure=structure, field=field,
                        strips=np.zeros_like(true), check=coarse(s.check).astype(np.int16),
                        weeds=mean[0].astype(np.float16), dead=mean[1].astype(np.float16))
    acres = field.sum() * CELL**2 / ACRE
    (folder / "scene.json").write_text(json.dumps({
        "class": name, "seed": seed, "sensor": s.sensor, "zone": zone, "cells": [east, north, cr, cc],
        "field_acres": round(float(acres), 4), "exit_code": 0,
        "options": {"question": "escapes", "flown": "2026-07-14", "treated": "2026-07-03"},
        "told": {"skips": 0, "heading_deg": None, "apart": None, "trend": None},
        "about": {"pixel_m": s.pixel, "cover": s.cover0, "levees": s.levee_kind, "grassy": s.levee_grassy, "flooded": s.flooded,
                  "broadcast": bool(s.broadcast), "kinds": s.kinds if name != "clean" else [], "look": s.look, "patches": s.patches,
                  "oddities": s.oddities, "plants": int(plants), "true_acres": float(true.sum() * CELL**2 / ACRE),
                  "killed_acres": float(killed.sum() * CELL**2 / ACRE), "light_acres": float(light.sum() * CELL**2 / ACRE),
                  "true_pieces": int(ndimage.label(true, np.ones((3, 3)))[1])}}, indent=1))
    return folder


def _pieces(mask, cells):
    """Without pieces smaller than so many cells."""
    labels, count = ndimage.label(mask, np.ones((3, 3)))
    sizes = np.bincount(labels.ravel(), minlength=count + 1)
    keep = sizes >= cells
    keep[0] = False
    return keep[labels]


def _fill(mask, cells):
    """With small holes filled."""
    return ~_pieces(~mask, cells)


def main():
    name, seed, scenes = sys.argv[1:]
    if name not in CLASSES:
        sys.exit(f"no class {name}; there are {', '.join(CLASSES)}")
    print(paint(name, int(seed), scenes))


if __name__ == "__main__":
    main()
