package typed

import (
	"embed"
	"slices"
	"strings"

	"bittern/internal/doubt"
)

//go:embed blank
var blanks embed.FS

// Blanks lists the names that Blank knows.
func Blanks() []string { return []string{"prices", "applicator", "products", "sightings"} }

// BlankFile is the name of the file that a blank is usually saved under.
func BlankFile(name string) string {
	if name == "sightings" {
		return "sightings.csv"
	}
	return name + ".toml"
}

// Blank returns a commented empty typed file: prices, applicator, products or
// sightings. It reads as "nothing given". No figure stands in it.
func Blank(name string) ([]byte, error) {
	if !slices.Contains(Blanks(), name) {
		return nil, &doubt.Problem{What: "there is no blank called " + name, Remedy: "ask for one of " + strings.Join(Blanks(), ", ")}
	}
	return blanks.ReadFile("blank/" + BlankFile(name))
}
