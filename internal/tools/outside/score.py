#!/usr/bin/python3
"""Runs a built bittern on painted scenes and holds its files against the truth.

    score.py --bittern bin/bittern --seeds odd|even|1,3 --class believable --scenes FOLDER [--table FILE] [--json FILE]
             [--painter plants|patchwork|blades]

Only the command line and the files it writes are used: suspects.geojson, skips.geojson and day.json. Areas are acres;
ground is compared on cells of half a metre. How each measure is made stands in docs/methods/outside.md.
"""

import argparse
import json
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from osgeo import gdal, ogr, osr
from scipy import ndimage

import blades
import patchwork
from classes import CLASSES, seeds
from fields import ACRE_M2, CELL_M
from paint import paint
from rule import best_rule

gdal.UseExceptions()
ogr.UseExceptions()

CELL_ACRES = CELL_M**2 / ACRE_M2
PATCH_ACRES = 0.025  # patches smaller than this are in no count
FALSE_SHARE = 0.2  # a suspect with less of its ground true or light is false

# Of each painter: what paints a scene, its classes for the table, and the seeds of a class there by parity.
PAINTERS = {
    "plants": (paint, [c for c in CLASSES if c != "tiny"], seeds),
    "patchwork": (patchwork.paint, [c for c in patchwork.CLASSES if c != "tiny"], patchwork.seeds),
    "blades": (blades.paint, list(blades.CLASSES), blades.seeds),
}


def run(bittern, scene, folder, out):
    """Runs the job on a scene as a grower would; exit code, wall seconds, what it said."""
    command = [bittern, "run", "--boundary", folder / "field.geojson", "--imagery", folder / "flight.tif", "--out", out]
    for name, value in scene["options"].items():
        command += [f"--{name}", folder / value if name in ("before", "marks") else value]
    started = time.time()
    done = subprocess.run([str(c) for c in command], capture_output=True, text=True, check=False)
    return done.returncode, time.time() - started, done.stderr.strip()


def shapes(path, scene, keep):
    """Features of a GeoJSON file that keep accepts, each as a mask on the cells with its properties."""
    east, north, rows, columns = scene["cells"]
    target = osr.SpatialReference()
    target.ImportFromEPSG(32600 + scene["zone"])
    found = []
    source = ogr.Open(str(path))
    layer = source.GetLayer(0)
    degrees = osr.SpatialReference()
    degrees.ImportFromEPSG(4326)
    degrees.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    change = osr.CoordinateTransformation(degrees, target)
    for feature in layer:
        properties = feature.items()
        if not keep(properties) or feature.geometry() is None:
            continue
        geometry = feature.geometry().Clone()
        geometry.Transform(change)
        found.append((_burn(geometry, target, (east, north, rows, columns)), properties))
    return found


def _burn(geometry, reference, cells):
    """The cells whose centre a geometry holds."""
    east, north, rows, columns = cells
    memory = ogr.GetDriverByName("Memory").CreateDataSource("")
    layer = memory.CreateLayer("", reference)
    feature = ogr.Feature(layer.GetLayerDefn())
    feature.SetGeometry(geometry)
    layer.CreateFeature(feature)
    raster = gdal.GetDriverByName("MEM").Create("", columns, rows, 1)
    raster.SetGeoTransform((east, CELL_M, 0, north, 0, -CELL_M))
    raster.SetProjection(reference.ExportToWkt())
    gdal.RasterizeLayer(raster, [1], layer, burn_values=[1])
    return raster.ReadAsArray() > 0


def ground_marks(told, truth):
    """IoU, recall, precision, false acres and bias of told ground; light ground counts neither way."""
    true, light = truth["true"], truth["light"]
    counted = told & ~light
    hit, both = (counted & true).sum(), (counted | true).sum()
    area = true.sum()
    return {
        "iou": hit / both if area else None,
        "recall": hit / area if area else None,
        "precision": hit / counted.sum() if area and counted.sum() else None,
        "false_ac": float((counted & ~true).sum() * CELL_ACRES),
        "bias": float(counted.sum() / area - 1) if area else None,
        "true_ac": float(area * CELL_ACRES),
    }


def patch_marks(told, suspects, truth, field_acres):
    """Patches found at half of their area, and false suspects for each 25 acres."""
    labels, count = ndimage.label(truth["true"], np.ones((3, 3)))
    sizes = np.bincount(labels.ravel(), minlength=count + 1) * CELL_ACRES
    hits = np.bincount(labels[told], minlength=count + 1) * CELL_ACRES
    large = np.nonzero(sizes[1:] >= PATCH_ACRES)[0] + 1
    good = truth["true"] | truth["light"]
    false = sum((mask & good).sum() < FALSE_SHARE * mask.sum() for mask, _ in suspects if mask.any())
    return {
        "patches": len(large),
        "found": int((hits[large] >= 0.5 * sizes[large]).sum()),
        "false_25": float(false * 25 / field_acres),
        "suspects": len(suspects),
    }


def killed_marks(killed, suspects, truth):
    """Acres of killed ground: true, told, told rightly, and in suspects."""
    true = truth["killed"]
    if not true.any():
        return {"killed_told_ac": float(killed.sum() * CELL_ACRES)}
    return {
        "killed_true_ac": float(true.sum() * CELL_ACRES),
        "killed_told_ac": float(killed.sum() * CELL_ACRES),
        "killed_right_ac": float((killed & ndimage.binary_dilation(true, iterations=3)).sum() * CELL_ACRES),
        "killed_in_suspects_ac": float((true & suspects).sum() * CELL_ACRES),
    }


def skip_marks(day, lines, scene, truth):
    """Verdict on skips, how many of the true strips are named, and false ones."""
    told = scene["told"]
    out = {"verdict": day["skips"]["verdict"], "strips_true": told["skips"], "strips_named": len(day["skips"]["strips"])}
    if day["skips"]["heading_deg"] is not None and told["skips"]:
        off = abs(day["skips"]["heading_deg"] - told["heading_deg"]) % 180
        out["heading_off_deg"] = min(off, 180 - off)
    near = ndimage.binary_dilation(truth["strips"], iterations=3)
    right = [m for m, _ in lines if m.any() and (m & near).sum() > 0.5 * m.sum()]
    labels, count = ndimage.label(near)
    held = set()
    for mask in right:
        held |= set(np.unique(labels[mask & near]))
    out["strips_right"] = min(len(held - {0}), told["skips"])
    out["strips_false"] = len(lines) - len(right)
    return out


def _thick_lines(path, scene):
    """Lines of skips.geojson as masks a metre wide."""
    found = shapes(path, scene, lambda _: True)
    return [(ndimage.binary_dilation(m), p) for m, p in found]


def check_marks(day, checks, scene, truth):
    """Whether the check that stands apart is told, and how many others are."""
    apart = [c["id"] for c in day["checks"] if c["standing"] and c["standing"]["apart"]]
    want = truth["check"] == scene["told"]["apart"] if scene["told"]["apart"] else np.zeros_like(truth["true"])
    right = 0
    for mask, properties in checks:
        if str(properties["id"]) in [str(a) for a in apart] and (mask & want).sum() > 0.5 * mask.sum():
            right += 1
    looks = [c["standing"]["look"] for c in day["checks"] if c["standing"] and c["standing"]["apart"]]
    return {"apart_right": right, "apart_false": len(apart) - right, "apart_looks": looks}


def trend_marks(day, scene):
    """Whether the trend is named from where it starts, and its half-distance over the true one."""
    want = scene["told"]["trend"]
    named = [t for t in day["trends"] if want and t["from"] == want["from"]]
    ratio = None
    if named and named[0]["half_distance_ft"]:
        ratio = named[0]["half_distance_ft"] / want["half_distance_ft"]
    return {"trend": bool(named) if want else None, "trend_false": len(day["trends"]) - len(named), "half_ratio": ratio}


def hold(name, seed, args):
    """Paints a scene, runs the job on it and marks what it says."""
    painter = PAINTERS[args.painter][0]
    folder = painter(name, seed, args.scenes, args.acres) if args.acres else painter(name, seed, args.scenes)
    scene = json.loads((folder / "scene.json").read_text())
    out = Path(tempfile.mkdtemp(prefix="outside-")) / "day"
    code, seconds, said = run(args.bittern, scene, folder, out)
    row = {"class": name, "seed": seed, "sensor": scene["sensor"], "exit": code, "exit_right": code == scene["exit_code"],
           "seconds": round(seconds, 1), "said": said}
    try:
        if code == 0:
            truth = dict(np.load(folder / "truth.npz"))
            row |= marks(out, scene, truth)
            if args.rule:
                row |= best_rule(folder / "flight.tif", scene, truth)
    finally:
        shutil.rmtree(out.parent)
    return row


def marks(out, scene, truth):
    """All marks of a day's folder."""
    data = out / "data"
    day = json.loads((data / "day.json").read_text())
    everything = shapes(data / "suspects.geojson", scene, lambda _: True)
    suspects = [s for s in everything if s[1]["state"] != "killed"]
    told = _union([m for m, _ in suspects], truth)
    killed = _union([m for m, p in everything if p["state"] == "killed"], truth)
    row = ground_marks(told, truth) | patch_marks(told, suspects, truth, scene["field_acres"])
    row |= killed_marks(killed, told, truth)
    row |= skip_marks(day, _thick_lines(data / "skips.geojson", scene), scene, truth)
    row |= check_marks(day, shapes(data / "checks.geojson", scene, lambda _: True), scene, truth)
    row |= trend_marks(day, scene)
    row["on_structure_ac"] = float((told & truth["structure"]).sum() * CELL_ACRES)
    row["left_out_ac"] = sum(r["acres"] for r in day["left_out"])
    row["field_acres"] = scene["field_acres"]
    return row


def _union(masks, truth):
    """All masks together, inside the field as drawn."""
    out = np.zeros(truth["true"].shape, bool)
    for mask in masks:
        out |= mask
    return out & truth["field"]


COLUMNS = (
    ("IoU", "iou", 2), ("recall", "recall", 2), ("precision", "precision", 2), ("false ac", "false_ac", 2),
    ("false /25 ac", "false_25", 1), ("bias", "bias", 2),
)


def table(rows, every):
    """Rows of a table in Markdown: means by class, or every scene."""
    head = ["class", "scenes" if not every else "seed, sensor"] + [c[0] for c in COLUMNS]
    head += ["patches", "killed true/told/right/in suspects", "strips named of true (false)", "check, trend", "exit", "s", "rule IoU"]
    lines = ["| " + " | ".join(head) + " |", "|" + " --- |" * len(head)]
    groups = {}
    for row in rows:
        groups.setdefault((row["class"], row["seed"] if every else 0), []).append(row)
    for (name, _), group in groups.items():
        second = f"{group[0]['seed']} {group[0]['sensor']}" if every else str(len(group))
        lines.append("| " + " | ".join([name, second] + _cells(group)) + " |")
    return "\n".join(lines)


def _cells(group):
    """A table row's figures: means of those scenes where a figure exists, sums of counts."""
    cells = [_mean(group, key, digits) for _, key, digits in COLUMNS]
    patches = _total(group, "patches")
    cells.append(f"{_total(group, 'found')}/{patches}" if patches else "-")
    killed = "-"
    if any(r.get("killed_true_ac") for r in group):
        keys = ("killed_true_ac", "killed_told_ac", "killed_right_ac", "killed_in_suspects_ac")
        killed = " / ".join(_mean(group, k, 2) for k in keys)
    elif any(r.get("killed_told_ac", 0) > 0.005 for r in group):
        killed = f"0 / {_mean(group, 'killed_told_ac', 2)}"
    cells += [killed, _strips(group), _apart(group)]
    right = sum(r["exit_right"] for r in group)
    cells.append("as due" if right == len(group) else f"{right} of {len(group)} as due")
    return cells + [_mean(group, "seconds", 1), _mean(group, "rule_iou", 2)]


def _strips(group):
    """Strips named of the true ones, false ones, and the verdicts."""
    true, named = _total(group, "strips_true"), _total(group, "strips_named")
    verdicts = sorted({r["verdict"] for r in group if "verdict" in r})
    if not true and not named and verdicts in ([], ["none"]):
        return "-"
    return f"{_total(group, 'strips_right')}/{true} ({_total(group, 'strips_false')}), {', '.join(verdicts)}"


def _apart(group):
    """Checks that stand apart and trends: how many were told, and how many more."""
    parts = []
    told = [r for r in group if r["class"] in ("untreated", "no-nitrogen", "nonitrogen") and "apart_right" in r]
    if told:
        parts.append(f"check {_total(told, 'apart_right')}/{len(told)}")
    if wrong := _total(group, "apart_false"):
        parts.append(f"{wrong} other checks")
    trends = [r for r in group if r.get("trend") is not None]
    if trends:
        parts.append(f"trend {sum(r['trend'] for r in trends)}/{len(trends)}, half-distance x {_mean(trends, 'half_ratio', 2)}")
    if wrong := _total(group, "trend_false"):
        parts.append(f"{wrong} other trends")
    return ", ".join(parts) or "-"


def _mean(group, key, digits):
    """The mean of the scenes that have a figure."""
    values = [r[key] for r in group if r.get(key) is not None]
    return f"{np.mean(values):.{digits}f}" if values else "-"


def _total(group, key):
    """The sum over scenes."""
    return sum(r.get(key) or 0 for r in group)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--bittern", required=True, help="the built program")
    parser.add_argument("--seeds", default="odd", help="odd, even, or seeds with commas")
    parser.add_argument("--painter", choices=list(PAINTERS), default="plants", help="what paints missing scenes")
    parser.add_argument("--class", dest="names", help="classes with commas; if left out, all in the painter's table")
    parser.add_argument("--scenes", required=True, help="folder of scenes of one painter; made and used again")
    parser.add_argument("--acres", type=float, help="size of fields that patchwork and blades paint, instead of their own")
    parser.add_argument("--every", action="store_true", help="a row for each scene")
    parser.add_argument("--rule", action="store_true", help="also what one simple rule reaches")
    parser.add_argument("--table", help="file for the table")
    parser.add_argument("--json", help="file for all marks of all scenes, a line each")
    args = parser.parse_args()
    if args.acres and args.painter == "plants":
        parser.error("--acres is for fields that patchwork and blades paint")
    _, names, listed = PAINTERS[args.painter]
    if args.names:
        names = args.names.split(",")
    rows = []
    for name in names:
        chosen = listed(name, args.seeds) if args.seeds in ("odd", "even") else [int(s) for s in args.seeds.split(",")]
        for seed in chosen:
            rows.append(hold(name, seed, args))
            print(_line(rows[-1]), file=sys.stderr, flush=True)
            if args.json:
                Path(args.json).write_text("\n".join(json.dumps(r, default=float) for r in rows) + "\n")
    text = table(rows, args.every)
    if args.table:
        Path(args.table).write_text(text + "\n")
    print(text)


def _line(row):
    """One scene in a line, for whoever waits."""
    return f"{row['class']} {row['seed']} {row['sensor']}: exit {row['exit']} {row['said']} " + " | ".join(_cells([row]))


if __name__ == "__main__":
    sys.exit(main())
