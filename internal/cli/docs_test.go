package cli_test

import (
	"bufio"
	"io/fs"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"bittern/internal/cli"
)

// root is the module's folder, seen from this test.
const root = "../.."

// TestCommandsInTheDocsRun runs every command of every sh block in the README
// and the docs, in a folder that holds the program. The invented field is made
// small, and of make's long targets only the recipe is asked for.
func TestCommandsInTheDocsRun(t *testing.T) {
	if testing.Short() {
		t.Skip("runs every command of the docs")
	}
	dir := t.TempDir()
	build := exec.CommandContext(t.Context(), "go", "build", "-o", filepath.Join(dir, "bin", "bittern"), "./cmd/bittern")
	build.Dir = root
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	shell(t, dir, "bin/bittern demo --out demo --acres 4")
	ran := 0
	for _, doc := range documents(t) {
		for _, line := range commandsIn(t, doc) {
			target, isMake := strings.CutPrefix(line, "make ")
			switch {
			case isMake:
				shell(t, root, "make -n "+target)
			case strings.Contains(line, " serve "):
				serve(t, dir, line)
			default:
				shell(t, dir, line)
			}
			ran++
		}
	}
	if ran < 5 {
		t.Errorf("only %d commands in the docs", ran)
	}
}

func shell(t *testing.T, dir, line string) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "bash", "-euo", "pipefail", "-c", line)
	cmd.Dir = dir
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Errorf("%s: %v\n%s", line, err, out)
	}
}

// serve runs a command that goes on until it is stopped, and asks for the address
// that it prints.
func serve(t *testing.T, dir, line string) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "bash", "-c", "exec "+line)
	cmd.Dir = dir
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		t.Fatalf("%s: %v", line, err)
	}
	address := ""
	for lines := bufio.NewScanner(out); address == "" && lines.Scan(); {
		if strings.HasPrefix(lines.Text(), "http://127.0.0.1:") {
			address = lines.Text()
		}
	}
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, address, nil)
	if err != nil {
		t.Fatalf("%s printed no address: %v", line, err)
	}
	if res, err := http.DefaultClient.Do(req); err != nil || res.StatusCode != http.StatusOK {
		t.Errorf("%s: its address answers %v, %v", line, res, err)
	} else {
		_ = res.Body.Close()
	}
	if err := cmd.Process.Signal(os.Interrupt); err != nil {
		t.Error(err)
	}
	if err := cmd.Wait(); err != nil {
		t.Errorf("%s, stopped: %v", line, err)
	}
}

func documents(t *testing.T) []string {
	t.Helper()
	docs := []string{filepath.Join(root, "README.md")}
	err := filepath.WalkDir(filepath.Join(root, "docs"), func(path string, _ fs.DirEntry, err error) error {
		if filepath.Ext(path) == ".md" {
			docs = append(docs, path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return docs
}

// commandsIn lists the lines of the sh blocks of a Markdown file.
func commandsIn(t *testing.T, path string) []string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	inside := false
	for line := range strings.Lines(string(text)) {
		line = strings.TrimSpace(line)
		switch {
		case strings.HasPrefix(line, "```"):
			inside = line == "```sh"
		case inside && line != "" && !strings.HasPrefix(line, "#"):
			out = append(out, line)
		}
	}
	return out
}

func TestReferenceIsFresh(t *testing.T) {
	want, err := cli.Reference()
	if err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile(filepath.Join(root, "docs", "cli.md"))
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != want {
		t.Error("docs/cli.md is stale: make generate")
	}
}
