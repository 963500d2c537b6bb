package typed

import (
	"fmt"
	"io"
	"path/filepath"

	toml "github.com/pelletier/go-toml/v2"

	"bittern/internal/atomicfile"
)

// Asked is what a day was asked, as the day page keeps it beside the day: the
// options of `bittern run`. What was not given is empty or nil.
type Asked struct {
	Field       string `toml:"field,omitempty" json:"field"`
	Question    string `toml:"question,omitempty" json:"question"`
	Flown       string `toml:"flown,omitempty" json:"flown"`
	Treated     string `toml:"treated,omitempty" json:"treated"`
	BeforeFlown string `toml:"before_flown,omitempty" json:"before_flown"`
	Units       string `toml:"units,omitempty" json:"units"`

	SwathFt         *float64 `toml:"swath_ft,omitempty" json:"swath_ft"`
	SprayHeadingDeg *float64 `toml:"spray_heading_deg,omitempty" json:"spray_heading_deg"`

	// Files: a path that is not absolute starts at the folder of the asked file.
	Boundary    string   `toml:"boundary,omitempty" json:"boundary"`
	Imagery     []string `toml:"imagery,omitempty" json:"imagery"`
	Bands       []string `toml:"bands,omitempty" json:"bands"`
	Before      string   `toml:"before,omitempty" json:"before"`
	Levees      string   `toml:"levees,omitempty" json:"levees"`
	Marks       string   `toml:"marks,omitempty" json:"marks"`
	Strip       string   `toml:"strip,omitempty" json:"strip"`
	Prices      string   `toml:"prices,omitempty" json:"prices"`
	Products    string   `toml:"products,omitempty" json:"products"`
	Sightings   string   `toml:"sightings,omitempty" json:"sightings"`
	Applicators []string `toml:"applicators,omitempty" json:"applicators"`
}

// ReadAsked reads an asked file.
func ReadAsked(path string) (Asked, error) {
	var a Asked
	data, err := read(path)
	if err != nil {
		return a, err
	}
	return a, decode(path, data, &a)
}

// Write writes a to path, whole or not at all.
func (a Asked) Write(path string) error {
	text, err := toml.Marshal(a)
	if err != nil {
		return fmt.Errorf("writing what was asked: %w", err)
	}
	return atomicfile.Write(path, func(w io.Writer) error {
		_, err := w.Write(text)
		return err
	})
}

// From is a with its paths joined to dir where they are not absolute.
func (a Asked) From(dir string) Asked {
	join := func(path string) string {
		if path == "" || filepath.IsAbs(path) {
			return path
		}
		return filepath.Join(dir, filepath.FromSlash(path))
	}
	all := func(paths []string) []string {
		out := make([]string, len(paths))
		for i, p := range paths {
			out[i] = join(p)
		}
		return out
	}
	for _, p := range []*string{&a.Boundary, &a.Before, &a.Levees, &a.Marks, &a.Strip, &a.Prices, &a.Products, &a.Sightings} {
		*p = join(*p)
	}
	a.Imagery, a.Applicators = all(a.Imagery), all(a.Applicators)
	return a
}

// Sheet writes a typed file from keys and values, after it was read back by the
// same rules as a typed one. name is prices.toml, products.toml or an
// applicator's.
func Sheet(path, kind string, values map[string]any) error {
	text, err := toml.Marshal(values)
	if err != nil {
		return fmt.Errorf("writing %s: %w", filepath.Base(path), err)
	}
	switch name := filepath.Base(path); kind {
	case "prices":
		_, err = Prices(name, text)
	case "products":
		_, err = Products(name, text)
	case "applicator":
		_, err = Applicator(name, text)
	default:
		return fmt.Errorf("there is no typed file of kind %q", kind)
	}
	if err != nil {
		return err
	}
	return atomicfile.Write(path, func(w io.Writer) error {
		_, err := w.Write(text)
		return err
	})
}
