package geotiff

import (
	"encoding/xml"
	"math"
	"slices"
	"strconv"
	"strings"
)

// An item is one statement of the metadata tag.
type item struct {
	Name   string `xml:"name,attr"`
	Sample string `xml:"sample,attr"`
	Role   string `xml:"role,attr"`
	Domain string `xml:"domain,attr"`
	Value  string `xml:",chardata"`
}

type metadata struct {
	XMLName xml.Name `xml:"GDALMetadata"`
	Items   []item   `xml:"Item"`
}

// bandWords sets names, colours and wavelengths of the bands from the
// metadata tag. Metadata that does not parse says nothing.
func (im *Image) bandWords(text string) {
	var m metadata
	if text == "" || im.packed != nil && im.packed.packing == packedTable || xml.Unmarshal([]byte(text), &m) != nil {
		return
	}
	units := make([]string, im.Bands)
	waves := make([]item, im.Bands)
	var listed []string // wavelengths of all bands
	for _, it := range m.Items {
		if it.Sample == "" {
			listed = im.pictureWords(it, units, listed)
			continue
		}
		band, err := strconv.Atoi(it.Sample)
		if err != nil || band < 0 || band >= im.Bands {
			continue
		}
		value := strings.TrimSpace(unescape(it.Value))
		switch key := plain(it.Name); {
		case it.Role == "description":
			im.BandNames[band] = value
		case it.Role == "colorinterp":
			im.Colors[band] = colorName(value)
		case it.Role == "scale" || it.Role == "offset":
			im.scaleWords(band, it.Role, value)
		case it.Role == "unittype":
			im.Units[band] = value
		case key == "wavelengthunits" || key == "wavelengthunit":
			units[band] = value
		case isWavelength(key):
			waves[band] = it
		}
	}
	for b, value := range listed {
		if waves[b].Value == "" {
			waves[b] = item{Name: "wavelength", Value: value}
		}
	}
	for b, it := range waves {
		if it.Value != "" {
			im.Wavelengths[b] = nanometres(it, units[b])
		}
	}
}

// Describe sets what a statement beside the file says of band b, from 0: role
// "description", "colorinterp", "scale", "offset" or "unittype", or a name such
// as "wavelength". What says nothing of use is left.
func (im *Image) Describe(b int, role, name, value, unit string) {
	value = strings.TrimSpace(value)
	switch {
	case b < 0 || b >= im.Bands || value == "":
	case role == "description":
		im.BandNames[b] = value
	case role == "colorinterp":
		im.Colors[b] = colorName(value)
		im.Alpha = slices.Index(im.Colors, "alpha")
	case role == "unittype":
		im.Units[b] = value
	case role == "scale" || role == "offset":
		im.scaleWords(b, role, value)
	case isWavelength(plain(name)):
		if nm := nanometres(item{Name: name, Value: value}, unit); nm > 0 {
			im.Wavelengths[b] = nm
		}
	}
}

// scaleWords keeps a band's scale or offset. One that is no number, and a
// scale of 0, say nothing.
func (im *Image) scaleWords(band int, role, value string) {
	v, err := strconv.ParseFloat(value, 64)
	switch {
	case err != nil || math.IsNaN(v) || math.IsInf(v, 0):
	case role == "offset":
		im.Offsets[band] = v
	case v != 0:
		im.Scales[band] = v
	}
}

// pictureWords takes what a statement about the whole picture says of its
// bands: lists of names and of wavelengths, or the name of band N. It returns
// the list of wavelengths, listed where it says none.
func (im *Image) pictureWords(it item, units, listed []string) []string {
	value, key := strings.TrimSpace(unescape(it.Value)), plain(it.Name)
	list := strings.Split(strings.Trim(value, "{} \n"), ",")
	switch n, err := strconv.Atoi(strings.TrimPrefix(key, "band")); {
	case err == nil && strings.HasPrefix(key, "band") && n >= 1 && n <= im.Bands:
		if im.BandNames[n-1] == "" {
			im.BandNames[n-1] = value
		}
	case key == "bandnames" && len(list) == im.Bands:
		for b, name := range list {
			im.BandNames[b] = strings.TrimSpace(name)
		}
	case key == "wavelengthunits":
		for b := range units {
			units[b] = value
		}
	case isWavelength(key) && len(list) == im.Bands:
		return list
	}
	return listed
}

// unescape undoes the second of two layers of escapes: the GDAL project's
// files escape a value before it goes into XML, which escapes it again.
func unescape(s string) string {
	return strings.NewReplacer("&amp;", "&", "&lt;", "<", "&gt;", ">", "&quot;", `"`, "&apos;", "'").Replace(s)
}

// escape is the inverse of unescape.
func escape(s string) string {
	return strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;").Replace(s)
}

// plain is a name in lower case without spaces, dashes and underscores.
func plain(name string) string {
	return strings.NewReplacer(" ", "", "_", "", "-", "").Replace(strings.ToLower(name))
}

func isWavelength(key string) bool {
	key = strings.TrimSuffix(strings.TrimSuffix(key, "um"), "nm")
	switch key {
	case "wavelength", "centralwavelength", "centerwavelength", "centrewavelength":
		return true
	}
	return false
}

// nanometres reads a wavelength. Its unit is what the file says, else what
// the name ends in, else the only one that makes sense: no camera band lies
// at 30 micrometres or at 30 nanometres.
func nanometres(it item, unit string) float64 {
	number, rest, _ := strings.Cut(strings.TrimSpace(it.Value), " ")
	v, err := strconv.ParseFloat(number, 64)
	if err != nil || !(v > 0) || v > 1e6 {
		return 0
	}
	unit = plain(unit + rest)
	key := plain(it.Name)
	switch {
	case strings.HasPrefix(unit, "nano") || unit == "nm" || strings.HasSuffix(key, "nm"):
		return v
	case strings.HasPrefix(unit, "micro") || unit == "um" || unit == "\u00b5m" || strings.HasSuffix(key, "um") || v < 30:
		return v * 1000
	}
	return v
}

// colorName is the colour of the metadata tag in our words.
func colorName(s string) string {
	switch s = plain(s); s {
	case "undefined":
		return ""
	case "grey":
		return "gray"
	}
	return s
}

// bandColors sets the colours that the photometric interpretation and the
// alpha sample tell.
func (im *Image) bandColors(photometric uint64) {
	switch photometric {
	case photoRGB, photoYCbCr, photoPalette:
		copy(im.Colors, []string{"red", "green", "blue"})
	case photoBlackIsZero, photoWhiteIsZero:
		im.Colors[0] = "gray"
	}
	if im.Alpha >= 0 {
		im.Colors[im.Alpha] = "alpha"
	}
}

// parseNoData reads the no-data tag: a number in text. What is no number
// means none.
func parseNoData(text string) *float64 {
	text = strings.TrimSpace(strings.ReplaceAll(text, ",", "."))
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return nil
	}
	return &v
}
