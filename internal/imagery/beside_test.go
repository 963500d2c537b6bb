package imagery_test

import (
	"bytes"
	"errors"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"bittern/internal/doubt"
	"bittern/internal/imagery"
	"bittern/internal/oracle"
)

func TestFilesBesideAPictureThatCannotBeUsedAreRefusedInOneSentence(t *testing.T) {
	dir := t.TempDir()
	cmd := exec.CommandContext(t.Context(), oracle.Python(t, "numpy", "osgeo.gdal"), filepath.Join("testdata", "beside.py"), dir)
	var errs bytes.Buffer
	cmd.Stderr = &errs
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v\n%s", err, errs.String())
	}
	n := 0
	for line := range strings.Lines(string(out)) {
		name, says, _ := strings.Cut(strings.TrimSpace(line), "\t")
		n++
		_, err := open(t, imagery.Options{}, filepath.Join(dir, name))
		var p *doubt.Problem
		if !errors.As(err, &p) {
			t.Errorf("%s: error %v is no problem", name, err)
			continue
		}
		if p.Kind != doubt.Input || !strings.Contains(p.Error(), says) || p.Remedy == "" || p.File == "" || strings.ContainsAny(p.Error(), "\n\x00") {
			t.Errorf("%s: %q, want a word of %q", name, p.Error(), says)
		}
	}
	if n < 25 {
		t.Errorf("only %d files", n)
	}
}
