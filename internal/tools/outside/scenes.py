"""Folders of painted scenes, whichever painter paints them."""

import json
import os
import time
from pathlib import Path

VERSION = 2  # of scene.json, as score.py reads it


def painted(name, seed, folder, paint):
    """Returns the folder of a scene, which paint(out) fills, and describes for scene.json, unless it is there and whole."""
    out = Path(folder) / f"{name}-{seed}"
    done = out / "scene.json"
    if done.exists() and json.loads(done.read_text())["version"] == VERSION:
        return out
    out.mkdir(parents=True, exist_ok=True)
    started = time.time()
    scene = paint(out)
    scene["painted_s"] = round(time.time() - started, 1)
    partial = out / "scene.part"
    partial.write_text(json.dumps(scene, indent=1))
    os.replace(partial, done)
    return out
