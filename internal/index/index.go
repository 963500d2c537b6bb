// Package index is the published indices: formulas over the bands of a
// picture, the picture that shows one, and the colours it is shown in.
//
// The formulas are those of docs/references.md, T1; they hold for reflectance
// from 0 to 1. Those that are ratios of the bands alone are the same for any
// number that is in proportion to it.
package index

import (
	"math"
	"slices"
)

// Values are what one pixel reflects, 0 to 1.
type Values struct{ Blue, Green, Red, RedEdge, NIR float64 }

// of returns the value of a band by its name.
func (v *Values) of(band string) *float64 {
	switch band {
	case "blue":
		return &v.Blue
	case "green":
		return &v.Green
	case "red":
		return &v.Red
	case "rededge":
		return &v.RedEdge
	default:
		return &v.NIR
	}
}

// Set sets what is reflected in a band by its name.
func (v *Values) Set(band string, to float64) { *v.of(band) = to }

// An Index is a published formula over bands.
type Index struct {
	Name    string   // as it is typed, "ndvi"
	Title   string   // as it is published, "NDVI"
	Formula string   // over B, G, R, E (red edge) and N (near infrared)
	Source  string   // where it was published
	Bands   []string // that it needs, in the order blue, green, red, rededge, nir

	// Absolute says that a constant of the formula stands beside the bands, so
	// that the index changes when all bands are multiplied by a number.
	Absolute bool

	formula func(v Values) float64
}

// Value is the index of one pixel. It is not a number where the index has
// none: where a band it needs is not a number or below 0, and where the
// formula divides by 0.
func (x Index) Value(v Values) float64 {
	for _, band := range x.Bands {
		if !(*v.of(band) >= 0) {
			return math.NaN()
		}
	}
	y := x.formula(v)
	if math.IsInf(y, 0) {
		return math.NaN()
	}
	return y
}

// Named finds an index by the name that is typed.
func Named(name string) (Index, bool) {
	i := slices.IndexFunc(All(), func(x Index) bool { return x.Name == name })
	if i < 0 {
		return Index{}, false
	}
	return All()[i], true
}

// Names lists the names that may be typed.
func Names() []string {
	var names []string
	for _, x := range All() {
		names = append(names, x.Name)
	}
	return names
}

// difference is the normalised difference of two bands.
func difference(a, b float64) float64 { return (a - b) / (a + b) }

// excess is the excess of green and that of red, of the shares that the bands
// have of their sum.
func excess(v Values) (green, red float64) {
	sum := v.Red + v.Green + v.Blue
	r, g, b := v.Red/sum, v.Green/sum, v.Blue/sum
	return 2*g - r - b, float64(1.4*r) - g
}

// All lists the indices, in the order of docs/references.md, T1.
func All() []Index {
	return []Index{
		{
			Name: "ndvi", Title: "NDVI", Formula: "(N-R)/(N+R)", Source: "Rouse et al. 1974",
			Bands: []string{"red", "nir"}, formula: func(v Values) float64 { return difference(v.NIR, v.Red) },
		},
		{
			Name: "gndvi", Title: "GNDVI", Formula: "(N-G)/(N+G)", Source: "Gitelson, Kaufman and Merzlyak 1996",
			Bands: []string{"green", "nir"}, formula: func(v Values) float64 { return difference(v.NIR, v.Green) },
		},
		{
			Name: "bndvi", Title: "BNDVI", Formula: "(N-B)/(N+B)", Source: "Wang et al. 2007",
			Bands: []string{"blue", "nir"}, formula: func(v Values) float64 { return difference(v.NIR, v.Blue) },
		},
		{
			Name: "ndre", Title: "NDRE", Formula: "(N-E)/(N+E)", Source: "Gitelson and Merzlyak 1994; Barnes et al. 2000",
			Bands: []string{"rededge", "nir"}, formula: func(v Values) float64 { return difference(v.NIR, v.RedEdge) },
		},
		{
			Name: "savi", Title: "SAVI", Formula: "1.5(N-R)/(N+R+0.5)", Source: "Huete 1988", Absolute: true,
			Bands: []string{"red", "nir"}, formula: func(v Values) float64 { return 1.5 * (v.NIR - v.Red) / (v.NIR + v.Red + 0.5) },
		},
		{
			Name: "osavi", Title: "OSAVI", Formula: "(N-R)/(N+R+0.16)", Source: "Rondeaux, Steven and Baret 1996, without their factor of 1.16", Absolute: true,
			Bands: []string{"red", "nir"}, formula: func(v Values) float64 { return (v.NIR - v.Red) / (v.NIR + v.Red + 0.16) },
		},
		{
			Name: "msavi2", Title: "MSAVI2", Formula: "(2N+1-sqrt((2N+1)^2-8(N-R)))/2", Source: "Qi et al. 1994", Absolute: true,
			Bands: []string{"red", "nir"}, formula: func(v Values) float64 {
				a := 2*v.NIR + 1
				return (a - math.Sqrt(float64(a*a)-8*(v.NIR-v.Red))) / 2
			},
		},
		{
			Name: "exg", Title: "ExG", Formula: "2g-r-b, of shares of R+G+B", Source: "Woebbecke et al. 1995",
			Bands: []string{"blue", "green", "red"}, formula: func(v Values) float64 { g, _ := excess(v); return g },
		},
		{
			Name: "exr", Title: "ExR", Formula: "1.4r-g, of shares of R+G+B", Source: "Meyer, Hindman and Laksmi 1998",
			Bands: []string{"blue", "green", "red"}, formula: func(v Values) float64 { _, r := excess(v); return r },
		},
		{
			Name: "exgr", Title: "ExGR", Formula: "ExG-ExR", Source: "Meyer and Camargo Neto 2008",
			Bands: []string{"blue", "green", "red"}, formula: func(v Values) float64 { g, r := excess(v); return g - r },
		},
		{
			Name: "vari", Title: "VARI", Formula: "(G-R)/(G+R-B)", Source: "Gitelson et al. 2002",
			Bands: []string{"blue", "green", "red"}, formula: func(v Values) float64 { return (v.Green - v.Red) / (v.Green + v.Red - v.Blue) },
		},
		{
			Name: "gli", Title: "GLI", Formula: "(2G-R-B)/(2G+R+B)", Source: "Louhaichi, Borman and Johnson 2001",
			Bands: []string{"blue", "green", "red"}, formula: func(v Values) float64 { return difference(2*v.Green, v.Red+v.Blue) },
		},
		{
			Name: "ngrdi", Title: "NGRDI", Formula: "(G-R)/(G+R)", Source: "Tucker 1979",
			Bands: []string{"green", "red"}, formula: func(v Values) float64 { return difference(v.Green, v.Red) },
		},
		{
			Name: "cigreen", Title: "CIgreen", Formula: "N/G-1", Source: "Gitelson, Gritz and Merzlyak 2003",
			Bands: []string{"green", "nir"}, formula: func(v Values) float64 { return v.NIR/v.Green - 1 },
		},
		{
			Name: "cire", Title: "CIred-edge", Formula: "N/E-1", Source: "Gitelson, Gritz and Merzlyak 2003",
			Bands: []string{"rededge", "nir"}, formula: func(v Values) float64 { return v.NIR/v.RedEdge - 1 },
		},
		{
			Name: "ndwi", Title: "NDWI", Formula: "(G-N)/(G+N)", Source: "McFeeters 1996",
			Bands: []string{"green", "nir"}, formula: func(v Values) float64 { return difference(v.Green, v.NIR) },
		},
	}
}
