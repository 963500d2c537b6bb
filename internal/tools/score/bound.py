"""A bound: a random forest that is trained on the truth itself.

usage: bound.py FOLDER          (files of `score -features FOLDER`)
       bound.py FOLDER OTHER    (the forest's second kind, below)

For every scene a forest of 40 trees (scikit-learn) learns from every second
strip of 30 m across the picture and is scored on the other strips, by the same
measures as the page's: ground of the truth below what is worth acting on is
neither right nor wrong. The threshold is the one that its own strips like best;
chances are averaged over 1.5 m. Cells within 4.5 m of a seam between strips are
in neither half, as the features reach that far.

With two folders gradient-boosted trees learn from all scenes of the first that are
asked for escapes, sensor by sensor, and are scored on those of the second, which
they have not seen: what one rule for all fields could reach if it took any form.
"""
import glob, json, sys
import numpy as np
from sklearn.ensemble import HistGradientBoostingClassifier, RandomForestClassifier

STRIP, KEEP_OFF = 60, 9  # cells of 0.5 m


def load(path):
    with open(path, "rb") as f:
        head = json.loads(f.readline())
        data = np.frombuffer(f.read(), "<f4").reshape(-1, 3 + head["features"])
    return head, data[:, 0].astype(int), data[:, 1].astype(int), data[:, 2], data[:, 3:]


def smooth(col, row, p, half=1):
    plane, count = (np.zeros((row.max() + 1 + 2 * half, col.max() + 1 + 2 * half)) for _ in range(2))
    plane[row + half, col + half], count[row + half, col + half] = p, 1
    total, n = np.zeros(len(p)), np.zeros(len(p))
    for dy in range(2 * half + 1):
        for dx in range(2 * half + 1):
            total += plane[row + dy, col + dx]
            n += count[row + dy, col + dx]
    return total / n


def scores(truth, mark):
    hit = np.sum((truth == 1) & mark)
    wrong = np.sum((truth == 0) & mark)
    every = np.sum(truth == 1)
    return hit, wrong, every


def main(folder):
    print("| class | sensor | seed | IoU | recall | precision | false ac |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for path in sorted(glob.glob(folder + "/*.cells"), key=lambda p: int(p.split("-")[-1].split(".")[0])):
        head, col, row, truth, x = load(path)
        if not (truth == 1).any():
            continue
        strip, off = (col // STRIP) % 2, col % STRIP
        clear = (off >= KEEP_OFF) & (off < STRIP - KEEP_OFF)
        hit = wrong = every = 0
        looked = 0
        for side in (0, 1):
            train = (strip == side) & clear & (truth >= 0)
            yes, no = np.flatnonzero(train & (truth == 1)), np.flatnonzero(train & (truth == 0))
            if len(yes) < 50:
                continue
            rng = np.random.default_rng(side)
            pick = np.concatenate([rng.choice(yes, min(len(yes), 4000), False), rng.choice(no, min(len(no), 12000), False)])
            forest = RandomForestClassifier(40, min_samples_leaf=4, max_features="sqrt", n_jobs=1, random_state=side)
            # Chances of the true mixture, not of the sample's.
            weight = np.where(truth[pick] == 1, len(yes) / min(len(yes), 4000), len(no) / min(len(no), 12000))
            forest.fit(x[pick], truth[pick] == 1, sample_weight=weight)
            p = smooth(col, row, forest.predict_proba(x)[:, 1])
            best, at = -1.0, 0.5
            mine = (strip == side) & clear
            # Out of its own sample: the strips' cells that it did not learn from.
            mine[pick] = False
            for t in np.arange(0.1, 0.95, 0.05):
                h, w, e = scores(truth[mine], p[mine] > t)
                if e + w > 0 and h / (e + w) > best:
                    best, at = h / (e + w), t
            test = (strip != side) & clear
            h, w, e = scores(truth[test], p[test] > at)
            hit, wrong, every, looked = hit + h, wrong + w, every + e, looked + np.sum(test)
        if every == 0:
            continue
        # False acres of the whole field, the seams between strips added by their share.
        acres = wrong * head["acres_per_cell"] * len(truth) / max(looked, 1)
        print(f"| {head['class']} | {head['sensor']} | {head['seed']} | {hit / (every + wrong):.2f} | {hit / every:.2f} | {hit / max(hit + wrong, 1):.2f} | {acres:.3f} |", flush=True)


# Asked other questions, or so unlike the rest that they would be learnt instead.
APART = ("defoliation", "two-dates", "nitrogen", "plain", "lush")
YES, NO = 3000, 12000  # cells that a scene teaches by
AT = 0.4  # chance from which a cell is marked; not tuned


def scenes(folder):
    paths = {}
    for path in glob.glob(folder + "/*.cells"):
        with open(path, "rb") as f:
            head = json.loads(f.readline())
        if not head["class"].startswith(APART):
            paths.setdefault(head["sensor"], []).append((head["seed"], path))
    return {sensor: [p for _, p in sorted(found)] for sensor, found in sorted(paths.items())}


def in_own_scatter(x):
    """Features beside themselves in the field's own middle and spread."""
    low, middle, high = np.quantile(x[::7], [0.16, 0.5, 0.84], axis=0)
    return np.hstack([x, (x - middle) / np.maximum(high - low, 1e-6)]).astype("<f4")


def taught(paths):
    rng = np.random.default_rng(1)
    xs, ys, weights = [], [], []
    for path in paths:
        _, _, _, truth, x = load(path)
        yes, no = np.flatnonzero(truth == 1), np.flatnonzero(truth == 0)
        n, m = min(len(yes), YES), min(len(no), NO)
        pick = np.concatenate([rng.choice(yes, n, False), rng.choice(no, m, False)])
        xs.append(in_own_scatter(x)[pick])
        ys.append(truth[pick] == 1)
        weights.append(np.where(truth[pick] == 1, len(yes) / max(n, 1), len(no) / max(m, 1)))
    trees = HistGradientBoostingClassifier(max_iter=150, learning_rate=0.1, max_leaf_nodes=24, min_samples_leaf=60, l2_regularization=1.0, random_state=1)
    return trees.fit(np.vstack(xs), np.concatenate(ys), sample_weight=np.concatenate(weights))


def across(folder, other):
    print("| class | sensor | seed | IoU | recall | precision | false ac |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    tests = scenes(other)
    for sensor, paths in scenes(folder).items():
        trees = taught(paths)
        for path in tests.get(sensor, []):
            head, col, row, truth, x = load(path)
            mark = smooth(col, row, trees.predict_proba(in_own_scatter(x))[:, 1]) > AT
            hit, wrong, every = scores(truth, mark)
            found = [f"{v:.2f}" for v in (hit / (every + wrong), hit / every, hit / max(hit + wrong, 1))] if every else ["-"] * 3
            print(f"| {head['class']} | {head['sensor']} | {head['seed']} | {' | '.join(found)} | {wrong * head['acres_per_cell']:.3f} |", flush=True)


if len(sys.argv) == 3:
    across(sys.argv[1], sys.argv[2])
else:
    main(sys.argv[1])
