package outside_test

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"bittern/internal/oracle"

	_ "bittern/internal/cli" // so that a result is kept only as long as the program it is of
)

// mark is what score.py says of one scene, as far as the test asks for it.
type mark struct {
	Seed    int      `json:"seed"`
	Exit    int      `json:"exit"`
	IoU     *float64 `json:"iou"`
	Killed  float64  `json:"killed_right_ac"`
	Dead    float64  `json:"killed_true_ac"`
	Patches int      `json:"patches"`
	FalseAc float64  `json:"false_ac"`
}

// TestTinyFields paints two fields of three acres: seed 1 has two heavy patches
// of burnt weeds, seed 2 has none.
func TestTinyFields(t *testing.T) {
	if testing.Short() {
		t.Skip("paints and reads two fields")
	}
	python := oracle.Python(t, "numpy", "scipy", "osgeo")
	marks := score(t, python, build(t), "plants", "tiny", "1,2")
	if len(marks) != 2 || marks[0].Exit != 0 || marks[1].Exit != 0 {
		t.Fatalf("marks: %+v, want two scenes that exit 0", marks)
	}
	weedy, clean := marks[0], marks[1]
	if weedy.IoU == nil || *weedy.IoU <= 0.5 || weedy.Patches != 2 {
		t.Errorf("two heavy patches on a plain field: %+v, want both counted and an IoU above 0.5", weedy)
	}
	if clean.IoU != nil || clean.FalseAc > 0 {
		t.Errorf("a clean field: %+v, want no false ground", clean)
	}
}

// TestFieldsOfOtherPainters paints a believable field of three acres by patchwork, with noise, haze, levees, wheel tracks and six
// patches of weeds; and one of nine acres by blades, leaf by leaf, with grass whose burnt tips are finer than a pixel, and a little that died.
func TestFieldsOfOtherPainters(t *testing.T) {
	if testing.Short() {
		t.Skip("paints and reads two fields")
	}
	python := oracle.Python(t, "numpy", "scipy", "osgeo")
	program := build(t)
	for _, c := range []struct {
		painter, class, seed string
		mostFalseAc          float64
	}{{"patchwork", "tiny", "3", 0.15}, {"blades", "believable", "5", 0.1}} {
		marks := score(t, python, program, c.painter, c.class, c.seed)
		if len(marks) != 1 || marks[0].Exit != 0 {
			t.Fatalf("%s: marks %+v, want one scene that exits 0", c.painter, marks)
		}
		if m := marks[0]; m.IoU == nil || *m.IoU <= 0.7 || m.FalseAc > c.mostFalseAc {
			t.Errorf("%s: %+v, want an IoU above 0.7 and at most %g false acre", c.painter, m, c.mostFalseAc)
		}
	}
}

// TestTinyPairOfPatchwork paints three acres twice, before the treatment and after, with weeds that died and weeds that lived.
func TestTinyPairOfPatchwork(t *testing.T) {
	if testing.Short() {
		t.Skip("paints and reads two flights")
	}
	python := oracle.Python(t, "numpy", "scipy", "osgeo")
	marks := score(t, python, build(t), "patchwork", "before", "1", "--acres", "3")
	if len(marks) != 1 || marks[0].Exit != 0 {
		t.Fatalf("marks: %+v, want one scene that exits 0", marks)
	}
	if m := marks[0]; m.IoU == nil || *m.IoU <= 0.7 || m.FalseAc > 0.15 || m.Killed < 0.7*m.Dead || m.Dead == 0 {
		t.Errorf("%+v, want an IoU above 0.7, at most 0.15 false acre, and 0.7 of the killed ground told", m)
	}
}

// build makes the program and returns its path.
func build(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "bittern")
	if out, err := exec.CommandContext(t.Context(), "go", "build", "-o", path, "bittern/cmd/bittern").CombinedOutput(); err != nil {
		t.Fatalf("build: %v\n%s", err, out)
	}
	return path
}

// score lets a painter paint scenes of a class, with more options, runs the program on them, and returns its marks in the order of seeds.
func score(t *testing.T, python, program, painter, class, seeds string, more ...string) []mark {
	t.Helper()
	readPainters(t)
	dir := t.TempDir()
	file := filepath.Join(dir, "marks")
	args := []string{
		"score.py", "--bittern", program, "--painter", painter,
		"--class", class, "--seeds", seeds, "--scenes", filepath.Join(dir, "scenes"), "--json", file,
	}
	cmd := exec.CommandContext(t.Context(), python, append(args, more...)...)
	cmd.Env = append(os.Environ(), "PYTHONDONTWRITEBYTECODE=1")
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("score.py: %v\n%s", err, out)
	}
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var marks []mark
	for _, line := range strings.Split(strings.TrimSpace(string(data)), "\n") {
		var m mark
		if err := json.Unmarshal([]byte(line), &m); err != nil {
			t.Fatalf("%v in %s", err, line)
		}
		marks = append(marks, m)
	}
	return marks
}

// readPainters opens what python runs, so that a result is kept only as long as that is the same.
func readPainters(t *testing.T) {
	t.Helper()
	modules, err := filepath.Glob("*.py")
	if err != nil || len(modules) == 0 {
		t.Fatalf("the painters: %d modules, %v", len(modules), err)
	}
	for _, m := range modules {
		if _, err := os.ReadFile(m); err != nil {
			t.Fatal(err)
		}
	}
}
