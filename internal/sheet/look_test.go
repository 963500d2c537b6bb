package sheet_test

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"bittern/internal/sheet"
)

func TestLook(t *testing.T) {
	dir := os.Getenv("LOOK")
	if dir == "" {
		t.Skip()
	}
	for name, f := range map[string]sheet.FieldSheet{"full": fullField(9, 37), "seven": fullField(5, 4), "clean": cleanField(), "long": longField(), "tiny": tinyField()} {
		out, _ := os.Create(filepath.Join(dir, name+".pdf"))
		s := time.Now()
		if err := sheet.Field(out, f); err != nil {
			t.Fatal(err)
		}
		t.Log(name, time.Since(s))
		out.Close()
	}
	for name, j := range map[string]sheet.JobSheet{"jfull": fullJob(), "jcrowded": crowdedJob(), "jdraft": draftJob(), "jslim": slimJob()} {
		out, _ := os.Create(filepath.Join(dir, name+".pdf"))
		s := time.Now()
		if err := sheet.Job(out, j); err != nil {
			t.Fatal(err)
		}
		t.Log(name, time.Since(s))
		out.Close()
		out, _ = os.Create(filepath.Join(dir, name+"-own.png"))
		s = time.Now()
		if err := sheet.JobPNG(out, j); err != nil {
			t.Fatal(err)
		}
		t.Log(name, "png", time.Since(s))
		out.Close()
	}
}
