package arch_test

import (
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestOnlyTheTightRoomIsUnsafe keeps assembly and package unsafe in the one
// room whose tests hold them to plain Go.
func TestOnlyTheTightRoomIsUnsafe(t *testing.T) {
	found := 0
	for _, dir := range []string{"../../internal", "../../cmd"} {
		err := filepath.WalkDir(dir, func(path string, entry fs.DirEntry, err error) error {
			if err != nil || entry.IsDir() && entry.Name() == "node_modules" {
				return errOrSkip(err)
			}
			path = filepath.ToSlash(path)
			ext := filepath.Ext(path)
			if entry.IsDir() || ext != ".go" && ext != ".s" || strings.HasSuffix(path, "_test.go") {
				return nil
			}
			text, err := os.ReadFile(path)
			if err != nil || ext == ".go" && !strings.Contains(string(text), `"unsafe"`) {
				return err
			}
			if found++; !strings.HasPrefix(path, "../../internal/tight/") {
				t.Errorf("%s is assembly or uses package unsafe: only internal/tight may", path)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if found < 4 {
		t.Errorf("only %d files of the room were found", found)
	}
}
