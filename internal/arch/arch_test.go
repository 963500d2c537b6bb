package arch_test

import (
	"encoding/json"
	"errors"
	"io"
	"os/exec"
	"strings"
	"testing"
)

const module = "bittern/"

// rooms is the diagram of docs/ARCHITECTURE.md, lowest first. A room may import
// rooms of lower lines only: never one of its own line, never a higher one.
var rooms = [][]string{
	{"unit", "stat", "progress", "atomicfile", "doubt", "tight", "heap"},
	{"geo"},
	{"crs"},
	{"grid"},
	{"raster"},
	{"geotiff"},
	{"vector"},
	{"invent"},
	{"imagery"},
	{"index"},
	{"cells", "picture"},
	{"structure", "register"},
	{"norm"},
	{"suspect", "skip"},
	{"block"},
	{"reckon"},
	{"job"},
	{"sheet", "export"},
	{"typed"},
	{"question"},
	{"app"},
	{"web"},
	{"cli"},
}

// outside are packages that nothing of the program may import: programs and
// what only tests use.
var outside = map[string]bool{"arch": true, "oracle": true, "golden": true, "tools": true}

func TestImportsGoDownwards(t *testing.T) {
	line := map[string]int{}
	for i, names := range rooms {
		for _, name := range names {
			line[name] = i
		}
	}
	out, err := exec.CommandContext(t.Context(), "go", "list", "-json=ImportPath,Imports", module+"internal/...").Output()
	if err != nil {
		t.Fatal(err)
	}
	for dec := json.NewDecoder(strings.NewReader(string(out))); ; {
		var pkg struct {
			ImportPath string
			Imports    []string
		}
		if err := dec.Decode(&pkg); errors.Is(err, io.EOF) {
			return
		} else if err != nil {
			t.Fatal(err)
		}
		check(t, line, pkg.ImportPath, pkg.Imports)
	}
}

func check(t *testing.T, line map[string]int, path string, imports []string) {
	t.Helper()
	name := room(path)
	from, placed := line[name]
	if !placed && !outside[name] {
		t.Errorf("%s is in no room: add it to rooms and to docs/ARCHITECTURE.md", path)
	}
	for _, imp := range imports {
		if !strings.HasPrefix(imp, module) {
			continue
		}
		to := room(imp)
		switch {
		case to == name || outside[name]:
		case outside[to]:
			t.Errorf("%s imports %s, which is for tests only", path, imp)
		case line[to] >= from:
			t.Errorf("%s imports %s, which does not lie below it", path, imp)
		}
	}
}

// room is the first path element below internal.
func room(path string) string {
	name, _, _ := strings.Cut(strings.TrimPrefix(path, module+"internal/"), "/")
	return name
}
