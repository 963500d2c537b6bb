package app

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"bittern/internal/doubt"
	"bittern/internal/suspect"
	"bittern/internal/vector"
)

// earlierSuspects are the suspects of the day that the folder holds, so that
// letters stay with their ground.
func (r *run) earlierSuspects() ([]suspect.Earlier, error) {
	if r.folder.earlier == nil {
		return nil, nil
	}
	path := filepath.Join(r.Out, "data", "suspects.geojson")
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	layer, err := vector.ReadFile(path)
	if err != nil {
		return nil, &doubt.Problem{
			File: path, What: "the suspects of the earlier run cannot be read, so letters would not stay with their ground",
			Remedy: "give a new or empty folder with --out", Err: err,
		}
	}
	var out []suspect.Earlier
	for _, f := range layer.Features {
		letter := f.Properties.Text("letter")
		if letter == "" || f.Properties.Text("state") == "killed" {
			continue
		}
		outline, err := r.grid.FromLonLat(f.Polygons)
		if err != nil {
			return nil, &doubt.Problem{
				File: path, What: "its suspects lie nowhere near the field",
				Remedy: "give a new or empty folder with --out", Err: err,
			}
		}
		out = append(out, suspect.Earlier{ID: f.Properties.Text("id"), Letter: letter, Outline: outline})
	}
	return out, nil
}
