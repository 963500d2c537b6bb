package imagery

import (
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// names are the bands that are used, in the order they are listed in, with
// the wavelengths in nm that count as the band and the one that is preferred
// where a camera has several.
//
// The ranges keep clear of one another; between them a band is not named.
func names() []bandRange {
	return []bandRange{
		{"blue", 430, 500, 475},
		{"green", 520, 590, 560},
		{"red", 620, 690, 665},
		{"rededge", 695, 755, 720},
		{"nir", 765, 1000, 840},
	}
}

type bandRange struct {
	name            string
	from, to, ideal float64 // nm
}

// isBand reports whether name is a band that is used.
func isBand(name string) bool { return rank(name) < len(names()) }

// rank is the place of a band in the order they are listed in.
func rank(name string) int {
	i := slices.IndexFunc(names(), func(b bandRange) bool { return b.name == name })
	if i < 0 {
		return len(names())
	}
	return i
}

// ofWavelength is the band at nm, or "".
func ofWavelength(nm float64) string {
	for _, b := range names() {
		if nm >= b.from && nm <= b.to {
			return b.name
		}
	}
	return ""
}

// fromIdeal is how far nm lies from the wavelength preferred for a band; far
// when it is not known.
func fromIdeal(name string, nm float64) float64 {
	if i := rank(name); i < len(names()) && nm > 0 {
		return math.Abs(nm - names()[i].ideal)
	}
	return math.Inf(1)
}

// unused marks a band that is known and of no use here.
const unused = "-"

// words are the spellings that are certain, without spaces and numbers.
func words(s string) string {
	switch s {
	case "blue", "b", "blu":
		return "blue"
	case "green", "g", "grn", "gre":
		return "green"
	case "red", "r":
		return "red"
	case "rededge", "re", "reg", "rededgeband":
		return "rededge"
	case "nir", "nearinfrared", "nearir", "infrared", "nearinfra", "nearinfrad":
		return "nir"
	case "alpha", "mask", "opacity", "transparency", "panchro", "panchromatic", "pan", "thermal", "lwir", "swir",
		"coastal", "coastalblue", "yellow", "dsm", "elevation", "height":
		return unused
	}
	return ""
}

// ofName is the band that a band's name tells, with the wavelength in it or
// 0; "" when it tells none for certain.
func ofName(s string) (name string, nm float64) {
	var kept []string
	for _, w := range splitWords(s) {
		if v, err := strconv.ParseFloat(w, 64); err == nil {
			if v >= 380 && v <= 2500 {
				nm = v
			}
			continue
		}
		switch w {
		case "band", "channel", "nm", "reflectance", "radiance", "corrected", "calibrated", "ortho", "orthomosaic", "mosaic", "index", "dn":
		default:
			kept = append(kept, w)
		}
	}
	name = words(strings.Join(kept, ""))
	if len(kept) == 0 && nm > 0 {
		name = ofWavelength(nm)
	}
	return name, nm
}

// splitWords splits a name at everything but letters and digits, and between
// letters and digits.
func splitWords(s string) []string {
	return regexp.MustCompile(`[a-z]+|[0-9]+(\.[0-9]+)?`).FindAllString(strings.ToLower(s), -1)
}

// ofFileName is the band that the last word of a file's name tells, or "".
func ofFileName(file string) string {
	stem, _, _ := strings.Cut(file, ".")
	var letters []string
	for _, w := range splitWords(stem) {
		if w[0] > '9' && w != "nm" {
			letters = append(letters, w)
		}
	}
	for n := min(2, len(letters)); n > 0; n-- {
		if last := strings.Join(letters[len(letters)-n:], ""); len(last) > 1 {
			if name := words(last); isBand(name) {
				return name
			}
		}
	}
	return ""
}
