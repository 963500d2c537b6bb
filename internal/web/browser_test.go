package web_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"bittern/internal/oracle"
)

// TestDistIsFresh: the committed page is what its sources build to.
func TestDistIsFresh(t *testing.T) {
	node := oracle.Need(t, "node")
	needModules(t)
	out := t.TempDir()
	run(t, node, "node_modules/typescript/bin/tsc", "--noEmit")
	run(t, node, "build.mjs", out)
	for _, name := range []string{"index.html", "page.css", "page.js"} {
		want, errA := os.ReadFile(filepath.Join(out, name))
		got, errB := os.ReadFile(filepath.Join("dist", name))
		if errA != nil || errB != nil || !bytes.Equal(want, got) {
			t.Errorf("dist/%s is stale: run go generate ./internal/web (%v, %v)", name, errA, errB)
		}
	}
}

// TestPageInABrowser runs the page in Debian's Chromium.
func TestPageInABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("runs several whole days in a browser")
	}
	node := oracle.Need(t, "node")
	oracle.Need(t, "chromium")
	needModules(t)
	program := filepath.Join(t.TempDir(), "bittern")
	if out, err := exec.CommandContext(t.Context(), "go", "build", "-o", program, "bittern/cmd/bittern").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	t.Setenv("BITTERN_PROGRAM", program)
	pair := t.TempDir()
	twoFlights(t, pair, 6)
	t.Setenv("BITTERN_PAIR", pair)
	run(t, node, "--test", "e2e/page.test.mjs")
}

// needModules skips where the page's development modules are not installed.
func needModules(t *testing.T) {
	t.Helper()
	if _, err := os.Stat("ui/node_modules/esbuild"); err == nil {
		return
	}
	if os.Getenv("BITTERN_ORACLES") == "1" {
		t.Fatal("the page's modules are not installed: run make oracles")
	}
	t.Skip("the page's modules are not installed: outside check not run")
}

func run(t *testing.T, program string, args ...string) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), program, args...)
	cmd.Dir = "ui"
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	t.Logf("%s", out)
}
