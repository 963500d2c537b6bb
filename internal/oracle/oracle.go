// Package oracle finds the reference programs and the real data that tests
// compare with. It is for tests only.
package oracle

import (
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"testing"
)

// Need skips the test when program is not installed, and fails it when
// BITTERN_ORACLES is set to 1, as continuous integration does. It returns the
// program's path.
func Need(tb testing.TB, program string) string {
	tb.Helper()
	path, err := exec.LookPath(program)
	if err == nil {
		return path
	}
	if os.Getenv("BITTERN_ORACLES") == "1" {
		tb.Fatalf("%s is not installed, and BITTERN_ORACLES=1 says that it must be", program)
	}
	tb.Skipf("%s is not installed: outside check not run", program)
	return ""
}

// Python returns the interpreter of the system, which Debian's GDAL, NumPy and
// SciPy are installed for, after checking that it can import modules.
func Python(tb testing.TB, modules ...string) string {
	tb.Helper()
	const python = "/usr/bin/python3"
	for _, m := range modules {
		if err := exec.CommandContext(tb.Context(), python, "-c", "import "+m).Run(); err != nil {
			if os.Getenv("BITTERN_ORACLES") == "1" {
				tb.Fatalf("python module %s is not installed, and BITTERN_ORACLES=1 says that it must be", m)
			}
			tb.Skipf("python module %s is not installed: outside check not run", m)
		}
	}
	return python
}

// Data returns the path of a file or folder of the real test data, named
// relative to its root. The root is BITTERN_TESTDATA or ../shared/data beside
// the module. The test skips when there is none; BITTERN_TESTDATA set to
// something that is no folder fails it.
func Data(tb testing.TB, name string) string {
	tb.Helper()
	root := os.Getenv("BITTERN_TESTDATA")
	if root == "" {
		_, here, _, _ := runtime.Caller(0)
		root = filepath.Join(filepath.Dir(here), "..", "..", "..", "shared", "data")
		if _, err := os.Stat(root); err != nil {
			tb.Skip("no real test data beside the project: check not run")
		}
	} else if info, err := os.Stat(root); err != nil || !info.IsDir() {
		tb.Fatalf("BITTERN_TESTDATA is %q, which is not a folder", root)
	}
	path := filepath.Join(root, filepath.FromSlash(name))
	if _, err := os.Stat(path); err != nil {
		tb.Fatalf("the test data lacks %s: %v", name, err)
	}
	return path
}
