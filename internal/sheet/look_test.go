package sheet_test

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"bittern/internal/sheet"
)

// TestSamplesCanBeLookedAt writes every sample into the folder that
// BITTERN_LOOK names: a sheet is only done when a person has looked at it.
func TestSamplesCanBeLookedAt(t *testing.T) {
	dir := os.Getenv("BITTERN_LOOK")
	if dir == "" {
		t.Skip("BITTERN_LOOK names no folder to write samples into")
	}
	write := func(name string, data []byte) {
		name = strings.NewReplacer(" ", "-", ",", "").Replace(name)
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for name, f := range fieldSamples() {
		write("field-"+name+".pdf", fieldPDF(t, f))
	}
	for name, j := range jobSamples() {
		write("job-"+name+".pdf", jobPDF(t, j))
		write("job-"+name+".png", jobPNG(t, j))
	}
	var buf bytes.Buffer
	if err := sheet.FieldPNG(&buf, fullField(9, 37), 100); err != nil {
		t.Fatal(err)
	}
	write("field-nine-suspects.png", buf.Bytes())
}
