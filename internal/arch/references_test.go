package arch_test

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestCitedKeysAreInTheReferences holds every key of docs/references.md that
// code or docs cite to its table.
func TestCitedKeysAreInTheReferences(t *testing.T) {
	const root = "../.."
	table, err := os.ReadFile(filepath.Join(root, "docs", "references.md"))
	if err != nil {
		t.Fatal(err)
	}
	cited := regexp.MustCompile(`docs/references\.md ([TRW][0-9]+(?:\.[0-9A-Z]+)?)`)
	found := 0
	err = filepath.WalkDir(root, func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() && entry.Name() == ".git" {
			return errOrSkip(err)
		}
		if ext := filepath.Ext(path); ext != ".go" && ext != ".md" {
			return nil
		}
		text, err := os.ReadFile(path)
		for _, m := range cited.FindAllStringSubmatch(string(text), -1) {
			found++
			if key := m[1]; !strings.Contains(string(table), "| "+key+" |") && !inRange(key) {
				t.Errorf("%s cites %s, which docs/references.md does not have", path, key)
			}
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if found < 10 {
		t.Errorf("only %d citations were found", found)
	}
}

func errOrSkip(err error) error {
	if err == nil {
		return filepath.SkipDir
	}
	return err
}

// inRange is for the keys that the table gives as one row, T10.1 to T10.10.
func inRange(key string) bool { return strings.HasPrefix(key, "T10.") }
