// Package golden compares bytes with files that were reviewed by a person. It
// is for tests only.
package golden

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"testing"
)

var update = flag.Bool("update", false, "rewrite golden files (the test still fails, so that the change is reviewed)")

// Equal fails the test unless got equals testdata/golden/name byte for byte. A
// missing golden file is a failure.
func Equal(tb testing.TB, name string, got []byte) {
	tb.Helper()
	path := filepath.Join("testdata", "golden", name)
	want, err := os.ReadFile(path)
	switch {
	case err == nil && bytes.Equal(got, want):
		return
	case *update:
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			tb.Fatal(err)
		}
		if err := os.WriteFile(path, got, 0o644); err != nil {
			tb.Fatal(err)
		}
		tb.Errorf("%s rewritten: review the difference, commit it, run again", path)
	case err != nil:
		tb.Errorf("%v (go test -update makes it)", err)
	default:
		tb.Errorf("%s: first difference at byte %d; got %d bytes, want %d", path, firstDifference(got, want), len(got), len(want))
	}
}

func firstDifference(a, b []byte) int {
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return i
		}
	}
	return min(len(a), len(b))
}
